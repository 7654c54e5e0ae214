"""A layout as people draw it: a double oval with a straight crossover, a hill in chords, heights and names as texts."""

import math
from itertools import pairwise

from plan.drawing.dxf_files import MM, new

TRACK, NAMES, HEIGHTS = {"layer": "TRACK"}, {"layer": "NAMES"}, {"layer": "HEIGHTS"}

PLACES = (("Siding west", 600), ("Siding east", 1400), ("Platform", 850))


def double_oval(
    path, draw=None, *, heights=(("0", 600, 98), ("0", 500, 40), ("+18", 1580, 142)), texts=(), places=PLACES
):
    """Save the drawing, in mm, for a gauge of 9 mm: texts (words, x, y) of heights and of names, and named points."""
    document, space = new(units=MM)

    def line(*ends):
        space.add_line(*ends, TRACK)

    for radius in (340, 310):
        line((400, 400 - radius), (1600, 400 - radius))
        line((1600, 400 + radius), (400, 400 + radius))
        space.add_arc((1600, 400), radius, 270, 90, dxfattribs=TRACK)
        space.add_arc((400, 400), radius, 90, 270, dxfattribs=TRACK)
    line((750, 60), (950, 90))  # the crossover, at 8.5 degrees
    x, y, heading = 600.0, 90.0, 0.0
    corners = [(x, y)]
    for turn in (12, -12, 10, -10):
        for _ in range(4):
            heading += math.radians(turn / 8)
            step = 2 * 500 * math.sin(math.radians(abs(turn) / 8))
            x, y = x + step * math.cos(heading), y + step * math.sin(heading)
            heading += math.radians(turn / 8)
            corners.append((x, y))
    corners.append((1600, y))
    for number, (one, other) in enumerate(pairwise(corners)):
        line(*((other, one) if number % 3 == 2 else (one, other)))
    space.add_arc((1600, y + 270), 270, 270, 0, dxfattribs=TRACK)
    line((1870, y + 270), (1870, 900))
    for name, at in places:
        space.add_point((at, 740 if name[0] == "S" else 60), NAMES)
        space.add_text(name, height=8, dxfattribs=NAMES | {"insert": (at, 752 if name[0] == "S" else 44)})
    for words, at, up in texts:
        space.add_text(words, height=12, dxfattribs=NAMES | {"insert": (at, up)})
    for words, at, up in heights:
        space.add_text(words, height=12, dxfattribs=HEIGHTS | {"insert": (at, up)})
    if draw is not None:
        draw(space)
    document.saveas(path)
