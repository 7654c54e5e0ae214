"""Drawings by hand for the tests: strokes in m, put together without a file."""

import numpy as np

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.records import Drawing, Label, Spot, Stroke, terms

GAUGE = 0.0165


def straight(x1, y1, x2, y2, *, z=None, handle="1", layer="TRACK"):
    return polyline([(x1, y1), (x2, y2)], z=z, handle=handle, layer=layer, exact=True)


def polyline(points, *, z=None, handle="1", layer="TRACK", exact=False):
    points = np.array(points, dtype=float)
    count = len(points) - 1
    heights = None if z is None else np.array(z, dtype=float)
    return Stroke(handle, layer, "LINE", points, np.zeros(count), exact, heights)


def label(text, x, y, layer="TRACK"):
    return Label(text, Spot(x, y), layer, "T")


def drawing(strokes, labels=(), faults=()):
    return Drawing("tarn.dxf", tuple(strokes), tuple(labels), tuple(faults), "mm")


def assembled(strokes, labels=(), *, unit="mm", height_layers=("HEIGHTS",), **more):
    return assemble(drawing(strokes, labels), terms(GAUGE, unit, ["TRACK"], height_layers=height_layers), **more)
