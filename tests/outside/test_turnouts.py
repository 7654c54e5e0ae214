"""Published angles of frogs, and the radius and lead of a turnout's curved leg."""

from __future__ import annotations

import math

import pytest

from gradehaul.plan.resolve.lines import turnout_arc


@pytest.mark.parametrize(("number", "degrees", "minutes"), [(4, 14, 15), (5, 11, 25), (6, 9, 32), (7, 8, 10)])
def test_the_angle_of_a_frog(number: int, degrees: int, minutes: int) -> None:
    """NMRA RP-12.7, row 18, read at nmra.org; N = cot(F/2) / 2 gives each to the minute."""
    _, angle = turnout_arc(number, 0.0165)
    assert round(math.degrees(angle) * 60) == degrees * 60 + minutes


def test_the_radius_and_the_lead_of_a_number_6_on_three_foot_gauge() -> None:
    """Track builders' rule R = 2 g N² and lead 2 g N, second-hand: 3 ft gauge at 1:48 has 54 in and 9 in."""
    radius, angle = turnout_arc(6, 36 / 48)
    assert radius == pytest.approx(54)
    lead = (radius + 0.5 * 36 / 48) * math.sin(angle)
    assert lead == pytest.approx(9, rel=1e-9)
