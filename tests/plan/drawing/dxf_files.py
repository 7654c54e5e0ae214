"""DXF files for the tests, and what their strokes look like as points."""

import math

import numpy as np

from gradehaul.plan.drawing.assembly import assemble
from gradehaul.plan.drawing.dxf import read_drawing
from gradehaul.plan.drawing.dxf.file import dxf_library

ezdxf = dxf_library()
MM, METER = 4, 6
ON = {"layer": "Track"}


def new(version="R2010", units=METER):
    document = ezdxf.new(version, units=units)
    return document, document.modelspace()


def saved(document, folder, name="tarn.dxf", **more):
    path = folder / name
    document.saveas(path, **more)
    return path


def read(path, **more):
    return read_drawing(path, **{"layers": ["Track*"], **more})


def assembled(path, on):
    return assemble(read_drawing(path, layers=on.layers, height_layers=on.height_layers), on)


def strokes(document, folder, **more):
    return read(saved(document, folder), **more).strokes


def plain(entities, header="9\n$INSUNITS\n70\n6\n", blocks=""):
    """Return the text of a small R12 file."""
    sections = [f"0\nSECTION\n2\nHEADER\n9\n$ACADVER\n1\nAC1009\n{header}0\nENDSEC\n"]
    if blocks:
        sections.append(f"0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n")
    return "".join(sections) + f"0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"


def line(x1=0, y1=0, x2=1, y2=0, layer="Track", handle="2F"):
    return f"0\nLINE\n5\n{handle}\n8\n{layer}\n10\n{x1}\n20\n{y1}\n30\n0\n11\n{x2}\n21\n{y2}\n31\n0\n"


def written(folder, text, name="tarn.dxf"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("latin-1"))
    return path


def sampled(stroke, count=64):
    """Return points along a stroke, calculated from its bulges by the arc's own center and angle."""
    every = [stroke.points[:1]]
    for start, end, bulge in zip(stroke.points[:-1], stroke.points[1:], stroke.bulges, strict=True):
        if bulge == 0:
            every.append(end[None])
            continue
        share = np.linspace(0, 1, count + 1)[1:]
        turn = 4 * math.atan(bulge)
        left = np.array((start[1] - end[1], end[0] - start[0]))
        center = (start + end) / 2 + left / (2 * math.tan(turn / 2))
        arm = start - center
        cos, sin = np.cos(turn * share), np.sin(turn * share)
        every.append(center + np.column_stack((cos * arm[0] - sin * arm[1], sin * arm[0] + cos * arm[1])))
    return np.concatenate(every)


def length(points):
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def farthest(points, from_points):
    """Return how far a point of the first lies from the chain of the second, at most."""
    start, step = from_points[:-1], np.diff(from_points, axis=0)
    size = np.maximum((step**2).sum(axis=1), 1e-30)
    worst = 0.0
    for point in points:
        share = np.clip(((point - start) * step).sum(axis=1) / size, 0, 1)
        worst = max(worst, float(np.hypot(*(start + share[:, None] * step - point).T).min()))
    return worst
