"""Whether a drawing can be track of its scale: refused early where it is far too small or too crowded for a train."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.nearness import components, pairs
from gradehaul.plan.drawing.records import Drawing, Element, Fault, FloatArray, Spot, Stroke, Terms
from gradehaul.plan.drawing.wording import length_text
from gradehaul.plan.names import quoted
from gradehaul.quantities import convert

SMALLEST = 5.0
"""In gauges: a locomotive and a car need a drawing this wide or high (80 mm in H0; common practice)."""
SHARPEST = 5.0
"""In gauges: no stock runs round a smaller radius (our own choice, under the sharpest tram track: 80 mm in H0)."""
CROWD = 24
"""More ends than this within `snap` of most ends are no track: a turnout has three, a double slip eight."""

CORNER, SPLIT = math.radians(45), math.radians(1)
"""Closed figures of straights that turn by more at their corners, and by less at all else, are no track."""

_USUAL = 4.0
"""A layout is about this large, m (common practice): units are compared by how near they bring a drawing to it."""
_UNITS = (("mm", "cm", "m"), ("in", "ft"))
_DENSEST = 10.0
"""Track as wide as its gauge that covers all of a drawing so often is none; a helix of twenty turns covers it once."""
_CELL = np.array((1, 0x9E3779B97F4A7C1, 0x632BE59BD9B4E01))


def check_size(drawing: Drawing, terms: Terms) -> None:
    """Refuse a drawing in which no train fits, or with more ends at one place than track can have.

    Raises
    ------
    DrawingError
        With the unit that the drawing is likely to have.
    """
    points = np.concatenate([stroke.points for stroke in drawing.strokes])
    ends = np.cumsum([len(stroke.points) for stroke in drawing.strokes])
    bulges = np.zeros(len(points))
    for stroke, end in zip(drawing.strokes, ends.tolist(), strict=True):
        bulges[end - len(stroke.points) : end - 1] = stroke.bulges
    width, height = np.ptp(np.concatenate((points, _on_arcs(points, bulges))), axis=0).tolist()
    small = max(width, height) < SMALLEST * terms.gauge
    room = (width + 4 * terms.gauge) * (height + 4 * terms.gauge)
    steps = np.hypot(*np.diff(points, axis=0).T)
    steps[ends[:-1] - 1] = 0.0  # from one stroke to the next
    arcs = np.flatnonzero(bulges)
    steps[arcs] *= (1 + bulges[arcs] ** 2) / bulges[arcs] * np.arctan(bulges[arcs])
    length = float(steps.sum())
    dense = length * terms.gauge > _DENSEST * room
    if not (small or dense or _crowded(drawing.strokes, terms.snap, terms.level)):
        return
    if small:
        wrong = "no train fits in the whole drawing"
        found = f"{length_text(width, terms.plan_unit)} by {length_text(height, terms.plan_unit)}"
    elif dense:
        wrong = "the lines lie more densely than track can"
        found = f"{length_text(length, terms.plan_unit)} of lines in {length_text(width, terms.plan_unit)} by "
        found += length_text(height, terms.plan_unit)
    else:
        wrong = "the ends of lines lie more densely than those of track can"
        found = f"more than {CROWD} within {length_text(terms.snap, terms.plan_unit)} of most"
    unit = likely_unit(max(width, height), drawing.unit)
    write = terms.option("unit", unit) if unit else ""
    if not (small or dense):
        write = f"{write or 'the layers of the track alone'}, or a smaller snap"
    raise DrawingError(wrong, file=drawing.file, found=found, write=write)


def _on_arcs(points: FloatArray, bulges: FloatArray) -> FloatArray:
    """Return points at the quarters of the turn of each arc, shape (n, 2), from vertices and the bulges after them.

    The middle of an arc lies b / 2 chords to the right of the middle of its chord, and each half of it has the bulge
    tan(atan(b) / 2) (plane geometry).
    """
    arcs = np.flatnonzero(bulges)

    def middle(start: FloatArray, end: FloatArray, bulge: FloatArray) -> FloatArray:
        across, up = (end - start).T
        found: FloatArray = (start + end) / 2 + bulge[:, None] / 2 * np.column_stack((up, -across))
        return found

    start, end, half = points[arcs], points[arcs + 1], np.tan(np.arctan(bulges[arcs]) / 2)
    top = middle(start, end, bulges[arcs])
    return np.concatenate((top, middle(start, top, half), middle(top, end, half)))


def _crowded(strokes: Sequence[Stroke], snap: float, level: float) -> bool:
    """Tell whether most ends lie with more than `CROWD` others in one place: as large as a circle of `snap`."""
    if 2 * len(strokes) <= CROWD:
        return False
    flat = np.zeros(2)
    plan = np.concatenate([stroke.points[[0, -1]] for stroke in strokes])
    heights = np.concatenate([flat if stroke.heights is None else stroke.heights[[0, -1]] for stroke in strokes])
    side = math.sqrt(math.pi) * snap
    cells = np.floor(np.column_stack((plan / side, heights / (2 * level)))).astype(np.int64)
    # One number for each cell: unlike cells hardly ever share one, and a shared one decides nothing.
    _, cell, counts = np.unique(cells @ _CELL, return_inverse=True, return_counts=True)
    return bool(np.mean(counts[cell] > CROWD + 1) > 0.5)


def without_frames(drawing: Drawing, terms: Terms) -> Drawing:
    """Return a drawing without closed figures of straight lines with corners, as tables and walls are, and named.

    No other track begins or ends at such a corner. A drawing of such figures alone stays as it is.
    """
    strokes = drawing.strokes
    if not strokes:
        return drawing
    tips = np.concatenate([stroke.points[[0, -1]] for stroke in strokes])
    onward = np.concatenate([stroke.points[[1, -2]] for stroke in strokes]) - tips
    heading = np.arctan2(onward[:, 1], onward[:, 0])
    place = components(len(tips), np.column_stack(pairs(tips, terms.snap)))
    by_place = np.argsort(place, kind="stable")
    node, first, often = np.unique(place[by_place], return_index=True, return_counts=True)
    two = often == 2
    one, other = by_place[first[two]], by_place[first[two] + 1]
    turn = np.abs(np.remainder(heading[one] - heading[other], math.tau) - math.pi)
    fair = np.zeros(len(tips), dtype=bool)
    fair[node[two]] = (turn > CORNER) | (turn < SPLIT)
    corners = np.zeros(len(tips), dtype=np.int64)
    corners[node[two]] = turn > CORNER
    inner = [_corners(stroke) for stroke in strokes]
    figure = components(
        len(tips), np.concatenate((np.column_stack((place, np.arange(len(tips)))), np.arange(len(tips)).reshape(-1, 2)))
    )
    lost = np.unique(figure[~fair[place]])
    lost = np.union1d(lost, figure[::2][[count is None for count in inner]])
    count = np.bincount(figure, corners * (place == np.arange(len(tips))), len(tips))
    count += np.bincount(figure[::2], [each or 0 for each in inner], len(tips))
    gone = ~np.isin(figure[::2], lost) & (count[figure[::2]] >= 3)
    if not gone.any() or gone.all():
        return drawing
    frames = [stroke for stroke, is_gone in zip(strokes, gone.tolist(), strict=True) if is_gone]
    counts = Counter(stroke.layer for stroke in frames)
    faults = []
    for layer, count_ in counts.items():
        start = next(stroke for stroke in frames if stroke.layer == layer)
        text = f"closed figures with corners on layer {quoted(layer)} are no track: left out"
        faults.append(Fault("no-track", text, Spot(*start.points[0].tolist()), start.handle, layer, count_))
    kept = tuple(stroke for stroke, is_gone in zip(strokes, gone.tolist(), strict=True) if not is_gone)
    return replace(drawing, strokes=kept, faults=(*drawing.faults, *faults))


def _corners(stroke: Stroke) -> int | None:
    """Return how many corners a stroke of straight lines has between its ends, None where it is no such stroke."""
    if stroke.bulges.any():
        return None
    if len(stroke.points) == 2:
        return 0
    way = np.diff(stroke.points, axis=0)
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs(np.remainder(np.diff(heading) + math.pi, math.tau) - math.pi)
    return int((turn > CORNER).sum()) if ((turn > CORNER) | (turn < SPLIT)).all() else None


def likely_unit(size: float, unit: str) -> str:
    """Return the unit in which a drawing of some size, m, as read in a unit, would be about as large as a layout is.

    Empty where that is the unit it was read in.

    Examples
    --------
    >>> likely_unit(0.008, "mm"), likely_unit(2.4, "mm"), likely_unit(0.2, "in")
    ('m', '', 'ft')
    """
    units = next((units for units in _UNITS if unit in units), _UNITS[0] + _UNITS[1])
    figures = convert(size, unit or "m")

    def off(each: str) -> float:
        return abs(math.log(max(figures / convert(1.0, each), 1e-30) / _USUAL))

    best = min(units, key=off)
    return "" if best == unit else best


def sharp_curves(elements: Sequence[Element], drawing: Drawing, terms: Terms) -> list[Fault]:
    """Return a fault where all curves of a drawing are sharper than any stock can run: it may be in another unit."""
    curves = [element for element in elements if element.curvature and element.length >= terms.snap]
    if not curves:
        return []
    widest = min(curves, key=lambda element: abs(element.curvature))
    radius = 1 / abs(widest.curvature)
    if radius >= SHARPEST * terms.gauge:
        return []
    points = np.concatenate([stroke.points for stroke in drawing.strokes])
    unit = likely_unit(float(np.ptp(points, axis=0).max()), drawing.unit)
    cure = f"; if it is drawn in {unit}, write {terms.option('unit', unit)}" if unit else ""
    text = f"no curve is wider than {length_text(radius, terms.plan_unit)}, which no stock can run round{cure}"
    return [Fault("unit", text, widest.start, widest.handle, widest.layer)]
