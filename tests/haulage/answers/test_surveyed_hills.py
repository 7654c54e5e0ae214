"""Surveys in check: where a hill that stands is steeper than the plan that trains are judged by."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from checked import check
from gradehaul.plan import read_plan

HILL = """
scale = "HO"
unit = "m"
railhead.Foot = 0
line.Bank = { from = "Foot", to = "Top", track = [{ straight = 2, rise = 0 }, { straight = 2, grade = "2 %" }] }
loco.tank = { mass = "0.3 kg", length = 0.2, pull.clean = "0.6 N" }
"""


def doubts(heights: list[list[float]], name: str = "Bank") -> list[str]:
    survey = f'[survey.{name}]\nreading = "0.5 mm"\nheights = {heights}\n'
    return [str(note) for note in check(read_plan(HILL + survey)).doubts]


@settings(max_examples=20, deadline=None, derandomize=True)
@given(st.lists(st.integers(-12, 12), min_size=5, max_size=5))
def test_the_worst_of_any_two_readings_is_named_with_both_grades(errors: list[int]) -> None:
    places = [0.0, 1.0, 2.0, 3.0, 4.0]
    planned = [0.0, 0.0, 0.0, 0.02, 0.04]
    measured = [height + 0.001 * error for height, error in zip(planned, errors, strict=True)]
    beyond: dict[str, float] = {}
    for a, b in combinations(range(5), 2):
        built, drawn = (round((each[b] - each[a]) / (b - a), 12) for each in (measured, planned))
        more = max(max(built, 0.0) - max(drawn, 0.0), max(-built, 0.0) - max(-drawn, 0.0))
        if more > 1.645 * 2**0.5 * 0.0005 / (b - a):
            beyond[f"{100 * built:.4g} % measured, {100 * drawn:.4g} % planned, from {a} m to {b} m"] = more
    found = doubts([[*each] for each in zip(places, measured, strict=True)])
    assert len(found) == bool(beyond)
    for note in found:
        (shown,) = (more for words, more in beyond.items() if note.endswith(words))
        assert shown == pytest.approx(max(beyond.values()))


def test_a_survey_as_the_plan_is_passes_in_silence() -> None:
    assert doubts([[0, 0], [2, 0], [3, 0.02], [4, 0.04]]) == []


@pytest.mark.parametrize("heights", [[[0, 0], [2, 0.2]], [[4, 0.04], [0, 0], [2, 0.2]], [[0, 0], [2, 0.2], [99, 5]]])
def test_readings_that_level_would_refuse_are_compared_as_far_as_they_go(heights: list[list[float]]) -> None:
    (note,) = doubts(heights)
    assert "10 % measured, 0 % planned, from 0 m to 2 m" in note


def test_a_survey_that_names_no_line_is_not_compared_and_says_so() -> None:
    (note,) = doubts([[0, 0], [2, 0.2], [4, 0.3]], name="Slope")
    assert note.startswith('survey "Slope": no line has its name')
