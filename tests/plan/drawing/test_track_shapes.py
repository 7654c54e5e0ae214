"""What builders draw, out of a file: double slips, loops, crossing tracks, as arcs, as chords and with bulges."""

import math

import numpy as np
import pytest

from gradehaul.plan.drawing.elements import place, turned
from gradehaul.plan.drawing.records import Element, Spot, terms
from gradehaul.plan.drawing.rows import Rows
from plan.drawing import pen
from plan.drawing.dxf_files import METER, ON, assembled, new, saved

ORIGIN = (0.0, 0.0, 0.0)
STEP = math.radians(5)


def arcs(space, elements):
    for element in elements:
        if element.curvature == 0:
            space.add_line(element.start[:2], element.end[:2], dxfattribs=ON)
            continue
        radius = 1 / element.curvature
        x = element.start.x - radius * math.sin(element.heading)
        y = element.start.y + radius * math.cos(element.heading)
        first = math.degrees(element.heading) - math.copysign(90, radius)
        last = first + math.degrees(element.curvature * element.length)
        space.add_arc((x, y), abs(radius), *sorted((first, last)), dxfattribs=ON)


def bulges(space, elements):
    parts = Rows.of([elements]).halved().row(0)
    rows = [(*part.start[:2], math.tan(part.curvature * part.length / 4)) for part in parts]
    space.add_lwpolyline([*rows, (*parts[-1].end[:2], 0)], format="xyb", dxfattribs=ON)


def chords(space, elements):
    """Draw straights as lines and curves as chords of 5 degrees at most."""
    for element in elements:
        count = max(1, math.ceil(abs(element.curvature) * element.length / STEP))
        points = [place(element, element.length * number / count)[:2] for number in range(count + 1)]
        space.add_lwpolyline(points, dxfattribs=ON)


WAYS = pytest.mark.parametrize("way", [arcs, bulges, chords])


def drawn(folder, way, tracks):
    document, space = new(units=METER)
    for elements in tracks:
        way(space, elements)
    found = assembled(saved(document, folder), terms(0.0165, "mm", ["Track"]))
    assert found.faults == ()
    return found


def counted(found):
    kinds = [joint.kind for joint in found.joints.values()]
    return {kind: kinds.count(kind) for kind in sorted(set(kinds))}


def line_of(found, number):
    return list(found.lines.values())[number]


def moves(found):
    """Return the pairs of lines, by their lengths in mm, that a train runs from one to the other."""
    length = [round(line.length * 1000) for line in found.lines.values()]
    pairs = []
    for joint in found.joints.values():
        if joint.kind == "turnout":
            pairs += [(joint.toe, leg) for leg in joint.legs]
        pairs += [*joint.through, *joint.slips]
    return sorted(tuple(sorted((length[one.line], length[other.line]))) for one, other in pairs)


@WAYS
def test_a_reversing_loop(tmp_path, way):
    stem = pen.draw((-1, 0, 0), [pen.straight(1)])
    loop = pen.draw(ORIGIN, [pen.arc(0.6, 60), pen.arc(-0.6, 300), pen.arc(0.6, 60)])
    found = drawn(tmp_path, way, [stem, loop])
    assert counted(found) == {"end": 1, "turnout": 1}
    (joint,) = (one for one in found.joints.values() if one.kind == "turnout")
    assert line_of(found, joint.toe.line).length == pytest.approx(1, rel=1e-4)
    assert len({leg.line for leg in joint.legs}) == 1
    assert {leg.end for leg in joint.legs} == {"from", "to"}
    assert line_of(found, joint.legs[0].line).length == pytest.approx(pen.length_of(loop), rel=1e-4)


@WAYS
def test_a_double_slip(tmp_path, way):
    angle, along = math.radians(15), 0.15
    radius = along / math.tan(angle / 2)
    turn = [(radius * angle, 1 / radius)]
    a = pen.draw((-1, 0, 0), [pen.straight(2.2)])
    b = pen.draw((-1.1 * math.cos(angle), -1.1 * math.sin(angle), angle), [pen.straight(2.4)])
    up, down = pen.draw((-along, 0, 0), turn), pen.draw((along, 0, math.pi), turn)
    found = drawn(tmp_path, way, [a, b, up, down])
    assert counted(found) == {"end": 4, "turnout": 4}
    inner, slip = 300, round(radius * angle * 1000)
    ends = [850, 1050, 950, 1150]
    assert moves(found) == sorted([(inner, length) for length in ends] + [(slip, length) for length in ends])


@WAYS
def test_tracks_that_cross_stay_apart(tmp_path, way):
    one, other = pen.draw(ORIGIN, [pen.straight(2)]), pen.draw((0.5, -0.8, math.pi / 4), [pen.arc(2, 60)])
    found = drawn(tmp_path, way, [one, other])
    assert counted(found) == {"end": 4}


def test_a_curve_run_from_its_other_end_has_the_heights_that_are_drawn_along_it():
    ends, inner = (Spot(0, 0, 0.0), Spot(1, 1, 0.1)), ((0.2, 0.06), (0.5, 0.03))
    curve = Element(*ends, 0.0, 1.0, math.pi / 2, "", "", inner=inner)
    for along in np.linspace(0, curve.length, 21):
        assert place(turned(curve), curve.length - along) == pytest.approx(place(curve, along))
