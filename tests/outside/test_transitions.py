"""Easements through plans against the usual shift of the curve, by an integration of our own.

Sources
-------
- Shift of a curve from its tangent by an easement of length L: f = L^2 / (24 R) (from memory); the first term of a
  series in L / R.
- Place and heading at the end of the easement: L^2 / (6 R) from the tangent, L / (2 R) radians (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from full_chain import answer

from gradehaul.track.alignment import Alignment
from gradehaul.track.curvature import Section
from gradehaul.track.map.positions import map_positions


def walked(sections: Sequence[Section], steps: int = 4000) -> tuple[float, float, float]:
    """Return where sections lead from the origin along x: x, y and heading, by small steps each along its middle."""
    x = y = heading = 0.0
    for section in sections:
        step = section.length / steps
        for number in range(steps):
            share = (number + 0.5) / steps
            curvature = section.first + share * (section.last - section.first)
            middle = heading + 0.5 * step * curvature
            x += step * math.cos(middle)
            y += step * math.sin(middle)
            heading += step * curvature
    return x, y, heading


def bend(unit: str, tracks: str) -> Alignment:
    """Return the alignment of a line of tracks between two straights of 50 units."""
    return answer(f"""
    scale = {{ ratio = 1, gauge = "1435 mm" }}
    unit = "{unit}"
    railhead.West = 0
    line.Bend = {{ from = "West", to = "East", track = [ {{ straight = 50 }}, {tracks}, {{ straight = 50 }} ] }}
    """).alignment


def eased(alignment: Alignment) -> list[Section]:
    """Return the sections from the end of the first straight up to and with the first easement."""
    sections = [section for track in alignment.tracks.values() for section in track.sections]
    changing = next(number for number, section in enumerate(sections) if section.first != section.last)
    return sections[1 : changing + 1]


# Full size in m, and a model in mm; lengths and radii of our own choice.
CASES = pytest.mark.parametrize(
    ("unit", "meter", "radius", "ease"), [("m", 1, 300, 60), ("m", 1, 190, 40), ("mm", 0.001, 610, 200)]
)


def shift(end: tuple[float, float, float], radius: float) -> float:
    """Return how far the circle that goes on from a place keeps from the x axis."""
    _, y, heading = end
    return y + radius * math.cos(heading) - radius


@CASES
@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("way", ["ease", "easement"])
def test_shift_of_an_eased_curve(unit: str, meter: float, radius: float, ease: float, hand: str, way: str) -> None:
    if way == "ease":
        tracks = f"{{ {hand} = {radius}, angle = 60, ease = {ease} }}"
    else:
        tracks = f"{{ easement = {ease} }}, {{ {hand} = {radius}, angle = 60 }}, {{ easement = {ease} }}"
    sign = 1 if hand == "left" else -1
    x, y, heading = walked(eased(bend(unit, tracks)))
    # The next term of the series is L^2 / (112 R^2) of the first, 0.1 % here.
    expected = ease**2 / (24 * radius) * meter
    assert shift((x, sign * y, sign * heading), radius * meter) == pytest.approx(expected, rel=2e-3)
    assert sign * y == pytest.approx(ease**2 / (6 * radius) * meter, rel=3e-3)
    assert sign * heading == pytest.approx(ease / (2 * radius))


@CASES
@pytest.mark.parametrize("hand", ["left", "right"])
def test_shift_where_the_plan_view_lays_the_curve(
    unit: str, meter: float, radius: float, ease: float, hand: str
) -> None:
    alignment = bend(unit, f"{{ easement = {ease} }}, {{ {hand} = {radius}, angle = 60 }}, {{ easement = {ease} }}")
    sections = {track.id: track.sections for track in alignment.tracks.values()}
    x, y, heading = map_positions(alignment.plan, sections).tracks["Bend:3"].start
    sign = 1 if hand == "left" else -1
    expected = ease**2 / (24 * radius) * meter
    assert shift((x, sign * y, sign * heading), radius * meter) == pytest.approx(expected, rel=2e-3)
    ours = walked(eased(alignment))
    assert (x, y, heading) == pytest.approx((ours[0] + 50 * meter, ours[1], ours[2]), rel=1e-6)


@CASES
def test_a_curve_without_easement_has_no_shift(unit: str, meter: float, radius: float, ease: float) -> None:
    tracks = f"{{ left = {radius}, angle = 60 }}, {{ easement = {ease} }}"
    circle = eased(bend(unit, tracks))[0]
    assert shift(walked([circle]), radius * meter) == pytest.approx(0, abs=1e-6 * radius * meter)
