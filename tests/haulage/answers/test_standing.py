"""Cars that roll off, against a walk in small steps that adds up the height lost and what resistance takes of it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.haulage.answers.berths import Roll, rolls
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.text import check_page

RESISTANCE = 0.008
STEP = 0.001

Track = tuple[int, int]
"""Length in cm, and grade in permille."""

tracks = st.lists(st.tuples(st.integers(10, 150), st.integers(-40, 40)), min_size=1, max_size=3)


def line(before: list[Track], berth: list[Track], after: list[Track]) -> str:
    rows = [
        f'{{ straight = {length / 100}, grade = "{grade} permille"{more} }}'
        for part, more in ((before, ""), (berth, ', berth = "Siding"'), (after, ""))
        for length, grade in part
    ]
    return f"""
scale = "HO"
unit = "m"
railhead.A = 0
line.Main = {{ from = "A", to = "B", track = [{", ".join(rows)}] }}
"""


def found(text: str, berth: str = "Siding") -> dict[str, Roll]:
    layout = Layout(read_plan(text))
    each = rolls(layout.movements, layout.alignment, layout.plan.berths[berth], layout.clear[berth], RESISTANCE)
    return {roll.toward: roll for roll in each}


def walked(run: list[Track], first: int, count: int) -> tuple[float, bool] | None:
    """Roll a car from every place of a berth by steps, the first `first` cm of a run left out; the furthest run."""
    grades = [grade / 1000 for length, grade in run for _ in range(length * 10)]
    best: tuple[float, bool] | None = None
    last = 10 * (first + count)
    for start in range(10 * first, last):
        if -grades[start] <= RESISTANCE * (1 + 1e-9) or (best is not None and start % 10):
            continue
        left, here = 0.0, start
        while here < len(grades):
            left -= (grades[here] + RESISTANCE) * STEP
            if left < 0:
                break
            here += 1
        run_off = here == len(grades)
        best = max(best or (0.0, False), ((here - start) * STEP, run_off), key=lambda each: (each[1], each[0]))
    return best


@given(tracks, tracks, tracks)
@settings(max_examples=25, deadline=None)
def test_the_furthest_run_each_way(before, berth, after) -> None:
    rolling = found(line(before, berth, after))
    forward = [*before, *berth, *after]
    backward = [(length, -grade) for length, grade in reversed(forward)]
    standing = sum(length for length, _ in berth)
    for toward, run, behind in (("B", forward, before), ("A", backward, after)):
        by_steps = walked(run, sum(length for length, _ in behind), standing)
        assert (toward in rolling) == (by_steps is not None)
        if by_steps is None:
            continue
        roll = rolling[toward]
        length, run_off = by_steps
        if (roll.end == toward) == run_off:
            assert roll.length == pytest.approx(length, abs=0.03)
        else:  # all but spent at the very end
            assert roll.length == pytest.approx(length, abs=0.2)


def test_a_car_on_a_slope_runs_until_the_height_it_lost_is_spent() -> None:
    # 2 % over 1 m is 20 mm; 8 mm go on the way, and the other 12 mm last 1.5 m on the level
    (roll,) = found(line([], [(100, -20)], [(300, 0)])).values()
    assert (roll.toward, roll.length, roll.track, roll.end) == ("B", pytest.approx(2.5), "Main:2", None)
    (roll,) = found(line([], [(100, -20)], [(100, 0)])).values()
    assert (roll.length, roll.end) == (pytest.approx(2.0), "B")
    assert found(line([], [(100, -8)], [(100, -30)])) == {}


def test_a_hump_lets_cars_off_both_ways_and_a_sag_holds_them() -> None:
    assert found(line([(50, 0)], [(40, 20), (40, -20)], [(50, 0)])).keys() == {"A", "B"}
    both = found(line([(50, 0)], [(40, -20), (40, 20)], [(50, 0)]))
    assert both["B"].length < 0.8
    assert both["B"].end is both["A"].end is None


FORK = """
scale = "HO"
unit = "m"
railhead.A = 0
line.Yard = { from = "A", to = "J", berth = "Siding", track = [{ straight = 1, grade = "-2 %" }] }
line.Short = { from = "J", to = "B", track = [{ straight = 1, grade = "3 %" }] }
line.Long = { from = "J", to = "C", runs = "backward", track = [{ straight = 3, rise = 0 }] }
turnout.J = { toe = "Yard", legs = ["Short", "Long"] }
"""


def test_where_track_divides_the_further_way_counts_and_rules_of_running_do_not() -> None:
    (roll,) = found(FORK).values()
    assert (roll.length, roll.track) == (pytest.approx(2.5), "Long:1")


def test_rolling_is_told_in_every_form() -> None:
    text = FORK + 'car.ore = { mass = "100 g", length = 0.1, rolling = "2 %" }\n'
    answer = check(read_plan(text))
    (berth,) = answer.berths
    assert berth.cars_stay == {"ore": False}
    assert [roll.toward for roll in berth.rolls["ore"]] == ["J"]
    (told,) = answer.to_dict()["berths"]
    assert told["rolls"] == {
        "ore": [{"toward": "J", "runs_m": pytest.approx(2.5), "stops_on": "Long:1", "end_of_track": None}]
    }
    page = " ".join(check_page(answer, units_of("m"), (), ["berths"]).text().split())
    assert (
        "ore parked in Siding would roll toward J: 2.500 m, and stops on Long:1; parked, it starts on about 2.50 %"
        in page
    )
    assert "2.50 % (assumed, on average); once moved it may keep rolling on more than 0.80 %" in page
    assert "Block the wheels" in page
    free = check(read_plan(text.replace('rolling = "2 %"', 'rolling = "1 %", starting = "1.5 %"')))
    page = " ".join(check_page(free, units_of("m"), (), ["berths"]).text().split())
    assert "; it starts by itself on more than 1.50 % (on average), and may keep rolling on more than 0.40 %" in page
