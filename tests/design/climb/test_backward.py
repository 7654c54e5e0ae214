"""Ordinary questions asked backward: all are answered, the answer works, and the next harder fails as named."""

from __future__ import annotations

import math
import os
import random
from dataclasses import replace

import pytest

from gradehaul.design.climb.backward import GRADE_STEP, highest_rise, shortest_length, smallest_radius, steepest_grade
from gradehaul.design.climb.helix import refuse_low, usual_build
from gradehaul.design.climb.helix_known import HelixGiven, helix_of
from gradehaul.design.climb.hill import judged_rails
from gradehaul.design.climb.incline import Bend, InclineGiven, incline_of
from gradehaul.design.climb.steps import steps_of
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.check import check
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan

EXAMPLES = int(os.environ.get("GRADEHAUL_BACKWARD_EXAMPLES", "3"))
"""Questions of each kind; more than the ordinary run asks by this variable."""

STOCK = {"N": (0.10, 0.11, 0.03, 0.08), "HO": (0.40, 0.20, 0.10, 0.15), "O": (1.6, 0.40, 0.40, 0.30)}
"""Masses, kg, and lengths, m, of a locomotive and of a car."""
RADII = {"in": [15, 16.5, 18, 20, 22, 24, 26.5, 28, 30, 33, 36, 40], "mm": [350, 400, 438, 500, 555, 600, 750, 1000]}
FIND = ("radius", "grade", "length", "rise")


def stock_of(scale: str, unit: str, pull: float, cars: int) -> Plan:
    mass, length, car_mass, car_length = STOCK[scale]
    return read_plan(
        f'scale = "{scale}"\nunit = "{unit}"\nrailhead.A = 0\n'
        'line.L = { from = "A", to = "B", track = [{ straight = 900 }] }\nroute.Up = { from = "A", to = "B" }\n'
        f'[loco.tank]\nmass = "{mass} kg"\nlength = "{length} m"\n'
        f'pull = {{ clean = "{pull * mass} kgf", treated = "{0.8 * pull * mass} kgf" }}\n'
        f'[car.box]\nmass = "{car_mass} kg"\nlength = "{car_length} m"\n'
        f'[train.local]\nroute = "Up"\nconsist = ["tank", "{cars} box"]\n'
    )


def questions():
    draws = random.Random(7)
    for find in FIND:
        for number in range(EXAMPLES):
            scale = draws.choice(list(STOCK))
            unit = ("in", "mm")[number % 2]
            radii = [
                r
                for r in RADII[unit]
                if (r * (25.4 if unit == "in" else 1)) > 20 * {"N": 9, "HO": 16.5, "O": 32}[scale]
            ]
            yield (
                find,
                scale,
                unit,
                draws.choice(radii),
                draws.choice([0.2, 0.24, 0.3, 0.4]),
                draws.randint(1, 6),
                number,
            )


def works(hill_text: str, rails) -> dict[str, str]:
    return {t.rail: t.verdict.outcome for t in check(read_plan(hill_text)).trains if t.rail in rails}


@pytest.mark.parametrize(("find", "scale", "unit", "radius", "pull", "cars", "number"), [*questions()])
def test_the_answer_works_and_the_next_harder_fails_as_named(find, scale, unit, radius, pull, cars, number) -> None:
    stock = stock_of(scale, unit, pull, cars)
    rails = judged_rails(stock, None)
    assert rails == ("treated", "treated fresh")
    steps, meters = steps_of(unit), 0.0254 if unit == "in" else 0.001
    build = usual_build(stock.scale)
    high = build.clear + build.structure
    turns = (0.5, 0.75, 2.0, 3.5)[number % 4]
    bends = (Bend(radius * meters, math.pi / 2),) if number % 3 else ()
    compensated = bool(bends) and number % 2 == 0

    def forward(step: float):
        """The design with one more step of what was found, as a forward question gives it."""
        if find == "radius":
            return helix_of(replace(wishes, radius=found.design.radius - step * steps.length), build, unit)
        if find == "grade":
            return helix_of(replace(wishes, grade=found.design.grade + step * GRADE_STEP), build, unit)
        if find == "length":
            return incline_of(replace(asked, length=found.design.length - step * steps.length), stock)
        return incline_of(replace(asked, rise=found.design.rise + step * steps.rise), stock)

    try:
        if find == "radius":
            wishes = HelixGiven(rise_per_turn=1.3 * high, turns=turns)
            found = smallest_radius(wishes, build, stock, rails=rails)
        elif find == "grade":
            wishes = HelixGiven(radius=radius * meters, turns=turns)
            found = steepest_grade(wishes, build, stock, rails=rails)
        elif find == "length":
            asked = InclineGiven(rise=high, bends=bends, compensated=compensated)
            found = shortest_length(asked, stock, train=None, rails=rails)
        else:
            asked = InclineGiven(length=6 * radius * meters, bends=bends, compensated=compensated)
            found = highest_rise(asked, stock, train=None, rails=rails)
    except DesignError as error:
        refused(find, error, stock, build, rails, radius * meters, turns, bends, compensated)
        return
    assert set(works(forward(0).hill(stock).text, rails).values()) == {"climbs"}
    if find in ("radius", "grade"):
        refuse_low(forward(0), stock)
    stop = found.stops
    if stop.reason == "limit":
        assert find == "radius"
        assert found.design.radius == pytest.approx(5 * stock.scale.gauge, abs=steps.length)
    elif stop.reason == "train":
        outcomes = works(forward(1).hill(stock).text, rails)
        assert outcomes[stop.rail] in ("marginal", "stalls")
        assert f"{'stalls' if outcomes[stop.rail] == 'stalls' else 'is marginal'} on {stop.rail} rail" in stop.words
    elif stop.reason == "head room":
        with pytest.raises(DesignError, match="the deck above leaves"):
            refuse_low(forward(1), stock)
    else:
        with pytest.raises(DesignError) as refusal:
            forward(1)
        assert refusal.value.wrong == stop.words


def refused(find, error, stock, build, rails, radius, turns, bends, compensated) -> None:
    """Hold a refusal against a walk over many designs: none of them works."""
    assert find in ("grade", "rise"), error
    for share in range(1, 50):
        try:
            if find == "grade":
                design = helix_of(HelixGiven(radius=radius, turns=turns, grade=share * 2e-3), build)
                refuse_low(design, stock)
            else:
                asked = InclineGiven(
                    rise=share * 6 * radius * 2e-3, length=6 * radius, bends=bends, compensated=compensated
                )
                design = incline_of(asked, stock)
        except DesignError:
            continue
        assert set(works(design.hill(stock).text, rails).values()) != {"climbs"}, (str(error), share)
