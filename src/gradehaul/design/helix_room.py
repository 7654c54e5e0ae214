"""The head room of a helix: whether stock on each turn clears the deck above, and the least rise that lets it."""

from __future__ import annotations

from dataclasses import replace

from gradehaul.design.helix import Build, Helix, turn_length
from gradehaul.design.steps import steps_of
from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan
from gradehaul.quantities import describe


def refuse_low(helix: Helix, stock: Plan) -> None:
    """Refuse a helix in which the deck of a turn is lower than stock on the turn below needs.

    Raises
    ------
    DesignError
        It is too low; the message has the rise per turn that would do.
    """
    if not helix.stacked or clears(helix, stock):
        return
    unit, build = stock.unit, helix.build
    left = helix.clear_left(helix.vertical(stock))
    enough = lowest_rise_per_turn(helix.radius, build, stock)
    raise DesignError(
        f"the deck above leaves {describe(max(left, 0.0), 'length', unit)} over the railhead where it is least, "
        f"and stock needs {describe(build.clear, 'length', unit)}",
        found=f"rise per turn {describe(helix.rise_per_turn, 'length', unit)}, of which track, roadbed and deck take "
        f"{describe(build.structure, 'length', unit)}",
        write=f"a rise per turn of {describe(enough, 'length', unit)} or more, or a thinner deck",
    )


def clears(helix: Helix, stock: Plan) -> bool:
    """Tell whether stock on each turn clears the deck above it, to a thousandth of a millimeter."""
    return not helix.stacked or helix.clear_left(helix.vertical(stock)) >= helix.build.clear - 1e-6


def lowest_rise_per_turn(radius: float, build: Build, stock: Plan) -> float:
    """Return the least rise per turn, m, in whole steps, that leaves the clear height.

    Raises
    ------
    DesignError
        No rise per turn under three times what it takes leaves it.
    """
    turn = turn_length(build, radius)
    step = steps_of(stock.unit).rise
    enough = max(1, round((build.clear + build.structure) / step))
    for count in range(enough, 3 * enough):
        # two turns of a climb as even as that of many
        helix = replace(_two_turns(radius, build), rise=count * step * _two_turns(radius, build).length / turn)
        if clears(helix, stock):
            return count * step
    raise DesignError(
        "no rise per turn leaves the clear height", write="a larger radius, shorter sides or a shorter --vertical-curve"
    )


def _two_turns(radius: float, build: Build) -> Helix:
    return Helix(radius, 2.0, 1.0, build)
