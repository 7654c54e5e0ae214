"""Published clearances and the statics of strings of cars, against the figures that clearance judges by."""

from __future__ import annotations

import math

import pytest

from gradehaul.design.clearance import clearances
from gradehaul.design.clearance_rules import Asked, curve_widening
from gradehaul.haulage.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.scales import scale_named

# NEM 103, clear space on curves, edition 2016, H0: extra half-width, mm, by radius, mm, for groups A, B, C (read)
NEM_103 = {500: (5, 8, 11), 600: (4, 6, 9), 800: (3, 4, 6), 1000: (2, 3, 4)}


@pytest.mark.parametrize("radius", NEM_103)
def test_nem_103_widens_the_clear_space(radius: int) -> None:
    found = [1000 * curve_widening(scale_named("H0"), radius / 1000, group) for group in "ABC"]
    assert found == pytest.approx(NEM_103[radius], abs=1e-9)


def test_nem_103_scales_with_the_ratio() -> None:
    half = curve_widening(scale_named("N"), 0.5 * 87 / 160, "C")
    assert half == pytest.approx(0.011 * 87 / 160)


# NEM 102, edition 2017 (read): free height above railhead without and with the lowest wire, mm
@pytest.mark.parametrize(
    ("scale", "free", "wire"),
    [("Z", 24, 27), ("N", 33, 37), ("TT", 43, 48), ("H0", 59, 65), ("S", 78, 87), ("0", 109, 120), ("I", 150, 165)],
)
def test_nem_102_is_what_turns_of_a_helix_keep(scale: str, free: int, wire: int) -> None:
    text = (
        f'scale = "{scale}"\nunit = "mm"\npractice = "NEM"\nrailhead.A = 0\n'
        f'line.Helix = {{ from = "A", to = "B", track = [{{ left = {30 * free}, angle = 720, rise = {2 * wire} }}] }}\n'
    )
    layout = Layout(read_plan(text))
    for asked, height in ((Asked(deck=0.0), free), (Asked(deck=0.0, wire=True), wire)):
        found = min(
            (each for each in clearances(layout, asked).findings if each.rule == "vertical room"),
            key=lambda each: each.value,
        )
        assert found.wanted == pytest.approx(height / 1000)
        assert found.outcome == "pass"


def test_the_angle_between_cars_and_the_inward_force() -> None:
    """Statics: sin(θ/2) = L/(2R); 8 in on 40 in is 11.48°; the inward force of two equal pulls P is P L / R."""
    assert math.degrees(2 * math.asin(8 / 80)) == pytest.approx(11.48, abs=0.005)
    # 200 cars behind a locomotive that weighs next to nothing, on 40 in: the first bears all but the same on both sides
    text = (
        'scale = "HO"\nunit = "in"\nrailhead.A = 0\n'
        'line.Main = { from = "A", to = "B", track = [{ left = 40, length = 4000, rise = 0 }] }\n'
        'loco.mule = { mass = "1 g", length = 6, pull.clean = "50 N" }\n'
        'car.flat = { mass = "100 g", length = 8, rolling = "2 %", starting = "2 %" }\n'
        'route.Up = { from = "A", to = "B" }\ntrain.long = { route = "Up", consist = ["mule", "200 flat"] }\n'
    )
    layout = Layout(read_plan(text))
    (found,) = (each for each in clearances(layout, Asked(coupler=0.01)).findings if each.rule == "string-lining")
    weight = 0.1 * 9.80665
    pull = 199.5 * weight * (0.02 + layout.coefficient / (40 * 0.0254))
    assert found.value == pytest.approx(pull * (8 / 40) * 0.01 / (weight * 0.0165 / 2), rel=1e-4)
