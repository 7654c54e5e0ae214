"""What to do about trains that do not climb, for a person."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.show.base.page import Page
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import DOES
from gradehaul.treatment.helping import Help, Obstacle
from gradehaul.treatment.ways_over import Doubling, Undivided, WaysOver

HOW_HELPED = (
    "A helper comes on and goes off while the train stands with its head at the joint. A train on a drop needs a "
    "guard beside the rail, whoever pulls it."
)
"""What holds for every helper."""


def add_ways_over(page: Page, ways: Sequence[WaysOver], units: UnitFormat) -> None:
    """Add the ways over the hill for every train that needs them."""
    page.heading("Ways over the hill")
    if not ways:
        page.line("No judged train needs one.", indent=2)
        return
    for way in ways:
        page.line(
            (way.train, "bold"),
            f" {DOES[way.outcome][0]} on rail {way.rail}, with {_cars(way.cars)}.",
            indent=2,
        )
        for line in way_lines(way, units):
            page.line(line, indent=4)
    page.line(HOW_HELPED, indent=2)


def way_lines(way: WaysOver, units: UnitFormat) -> list[str]:
    """Return in a sentence each what gets a train over: cars left behind, doubling, a helper, leg by leg."""
    legs = dict.fromkeys(each.leg for each in way.help)
    helped = [_help([each for each in way.help if each.leg == leg], leg, units) for leg in legs]
    return [_leave(way), _double(way.double), *(line for lines in helped for line in lines)]


def best_way(way: WaysOver) -> str:
    """Return the one way over that keeps most of a train together: a helper, two parts, or cars left behind.

    A train of which at most a third is left behind needs nothing else (our own choice).
    """
    if way.leave is not None and 3 * way.leave <= way.cars:
        return _short_leave(way)
    helper = next((each for each in way.help if each.enough and each.obstacle is None), None)
    if helper is not None and all(each.leg == helper.leg for each in way.help):
        where = " and ".join(f"from {each.on} to {each.off}" for each in helper.districts)
        return f"add {helper.loco} at the {helper.where} {where}."
    if isinstance(way.double, Doubling):
        return f"take it over in two parts, first {_cars(way.double.front)}, then {way.double.rear}."
    if way.leave is not None:
        return _short_leave(way)
    return "no helper is enough, and its locomotives do not climb alone."


def _short_leave(way: WaysOver) -> str:
    return f"leave {way.leave} of its {_cars(way.cars)} behind."


def _cars(count: int) -> str:
    return "1 car" if count == 1 else f"{count} cars"


def _leave(way: WaysOver) -> str:
    if way.leave is None:
        return "Leaving cars does not help: the locomotives do not climb alone."
    left = way.cars - way.leave
    rest = (
        "the locomotives climb alone" if left == 0 else "the other climbs" if left == 1 else f"the other {left} climb"
    )
    return f"Leave {way.leave} of its cars behind, from the tail: {rest}."


_NO_DOUBLING: dict[Undivided, str] = {
    "order": "its locomotives are not all ahead of its cars.",
    "pull": "no split leaves two parts that climb.",
    "foot": "no berth holds the second part where the route begins.",
    "summit": "no berth holds both parts and the locomotives where the route ends.",
    "through": "the route, or a way round the train on it, runs again through a berth in which a part would stand.",
    "return": "no way leads the locomotives back to the second part past the first.",
}

_NO_HELP: dict[Obstacle, str] = {
    "start": "No helper can come on, since the train fails before all of it stands on the route",
    "room": "Too long together for the tail or berth that must hold both",
    "on": "Cannot come on, with no track to wait on out of the train's way",
    "off": "Cannot get out of the train's way",
}


def _double(double: Doubling | Undivided) -> str:
    if not isinstance(double, Doubling):
        return f"Do not double it: {_NO_DOUBLING[double]}"
    return (
        f"Double it, that is, take it over in two parts: first {_cars(double.front)}, then {double.rear}. The berths "
        "hold both parts, and the locomotives can get back to the second."
    )


def _help(help_: Sequence[Help], leg: int, units: UnitFormat) -> list[str]:
    """Return what helpers do on a leg of a route with reversals, or on a route without, where the leg is 0."""
    where = " and ".join(
        f"{each.on} to {each.off} (head from {units.length(each.on_at)} to {units.length(each.off_at)})"
        for each in help_[0].districts
    )
    lines = [f"Helper district on leg {leg}: {where}." if leg else f"Helper district: {where}."]
    free = [each for each in help_ if each.obstacle is None]
    for words, found in (
        ("Enough as a helper", [each for each in free if each.enough]),
        ("Not enough as a helper", [each for each in free if not each.enough]),
        *((words, [each for each in help_ if each.obstacle == kind]) for kind, words in _NO_HELP.items()),
    ):
        if found:
            lines.append(f"{words}: {', '.join(f'{each.loco} at the {each.where}' for each in found)}.")
    return lines
