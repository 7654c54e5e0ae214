"""The drawings of the demo plans, made anew: one as a program draws, with heights, one as people draw.

    python tests/plan/drawing/make_demo_drawings.py plans

writes them. Places and figures are invented.
"""

import math
import sys
from pathlib import Path

from gradehaul.plan.drawing.dxf.file import dxf_library

ezdxf = dxf_library()
INCH, MM = 1, 4


class Pen:
    """A pen that runs along the track: where it is, its heading in degrees, and its height."""

    def __init__(self, space, x=0.0, y=0.0, heading=0.0, z=0.0, layer="TRACK"):
        self.space, self.x, self.y, self.heading, self.z, self.layer = space, x, y, heading, z, layer

    @property
    def point(self):
        return self.x, self.y, self.z

    def copy(self):
        return Pen(self.space, self.x, self.y, self.heading, self.z, self.layer)

    def ahead(self, length, grade=0.0):
        turn = math.radians(self.heading)
        self.x += length * math.cos(turn)
        self.y += length * math.sin(turn)
        self.z += length * grade

    def straight(self, length, grade=0.0):
        start = self.point
        self.ahead(length, grade)
        self.space.add_line(start, self.point, {"layer": self.layer})

    def vertices(self, radius, angle, step, grade=0.0):
        """Points along a curve, to the left where the angle is positive, every `step` degrees."""
        count = max(1, round(abs(angle) / step))
        side = math.copysign(90.0, angle)
        x0 = self.x + radius * math.cos(math.radians(self.heading + side))
        y0 = self.y + radius * math.sin(math.radians(self.heading + side))
        points = [self.point]
        for number in range(1, count + 1):
            turned = angle * number / count
            out = math.radians(self.heading + turned - side)
            climbed = grade * radius * math.radians(abs(turned))
            points.append((x0 + radius * math.cos(out), y0 + radius * math.sin(out), self.z + climbed))
        self.x, self.y, self.z = points[-1]
        self.heading += angle
        return points

    def curve(self, radius, angle, step, grade=0.0):
        """Draw a curve as a polyline in space."""
        self.space.add_polyline3d(self.vertices(radius, angle, step, grade), dxfattribs={"layer": self.layer})

    def chords(self, radius, angle, step):
        """Draw a curve as a flat polyline, its vertices rounded to a hundredth as a hand sets them."""
        points = [(round(x, 2), round(y, 2)) for x, y, _ in self.vertices(radius, angle, step)]
        self.space.add_lwpolyline(points, dxfattribs={"layer": self.layer})

    def text(self, words, aside=25.0, back=0.0, layer=None, height=15.0):
        turn = math.radians(self.heading)
        x = self.x - back * math.cos(turn) - aside * math.sin(turn)
        y = self.y - back * math.sin(turn) + aside * math.cos(turn)
        self.space.add_text(words, height=height, dxfattribs={"layer": layer or self.layer}).set_placement((x, y))


def cove():
    """A branch from a wharf to a summit, in millimeters, every piece with its height; a quay track at the wharf."""
    document = ezdxf.new("R2010", units=MM)
    space = document.modelspace()
    main = Pen(space)
    main.text("Wharf")
    main.straight(900)
    quay = main.copy()
    main.straight(700)
    main.straight(500, 0.018)
    main.text("Incline", back=150)
    main.curve(610, 180, 3, 0.018)
    main.straight(900, 0.022)
    main.curve(700, -90, 3, 0.016)
    main.straight(900)
    main.text("Summit")
    quay.curve(800, -15, 2.5)
    quay.curve(800, 15, 2.5)
    quay.straight(600)
    quay.text("Quay track", aside=-30, back=300)
    quay.text("Quay end", aside=-30)
    space.add_lwpolyline([(-100, -400), (2600, -400), (2600, 2200), (-100, 2200)], close=True).dxf.layer = "BENCH"
    return document


def hollow():
    """A branch in inches as people draw: chords for curves, ends that all but meet, a line twice, heights as texts.

    The curves are of 26, 24 and 30 in radius, in chords of 7.5 degrees.
    """
    document = ezdxf.new("R2010", units=INCH)
    space = document.modelspace()
    main = Pen(space)
    main.text("Mill", aside=1, height=1)
    main.text("0", aside=-2, layer="HEIGHTS", height=1)
    main.straight(40)
    space.add_line((3, 0), (25, 0), {"layer": "TRACK"})  # drawn a second time
    main.x += 0.02  # a gap
    main.chords(26, 90, 7.5)
    main.y += 0.01
    start = main.point
    main.ahead(14)
    branch = main.copy()
    main.text("1 1/2", aside=1.5, layer="HEIGHTS", height=1)
    main.ahead(20)
    space.add_line(start, main.point, {"layer": "TRACK"})
    main.chords(24, 90, 7.5)
    main.x -= 0.03
    main.straight(34)
    main.text("Ridge", aside=1, height=1)
    main.text("3 1/4 in", aside=-2, layer="HEIGHTS", height=1)
    branch.chords(30, -30, 7.5)
    branch.straight(26)
    branch.text("Bank", aside=-2, height=1)
    branch.text("1 3/4", aside=1, layer="HEIGHTS", height=1)
    space.add_circle((50, 40), 6, {"layer": "SCENERY"})
    return document


DRAWINGS = {"cove": cove, "hollow": hollow}

if __name__ == "__main__":
    for name, make in DRAWINGS.items():
        make().saveas(Path(sys.argv[1]) / f"{name}.dxf")
