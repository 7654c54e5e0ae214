"""Whether what is drawn can be track: of its scale, no frame of a table, and no rails side by side."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from gradehaul.errors import DrawingError, quoted
from gradehaul.plan.components import components
from gradehaul.plan.drawing.nearness import Nearness, places_of
from gradehaul.plan.drawing.outlines import Outlines
from gradehaul.plan.drawing.records import BoolArray, Drawing, Element, Fault, FloatArray, IntArray, Spot, Stroke, Terms
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import length_text
from gradehaul.plan.names import listed
from gradehaul.quantities import convert

SMALLEST = 5.0
"""In gauges: a locomotive and a car need a drawing this wide or high (80 mm in H0; common practice)."""
SHARPEST = 5.0
"""In gauges: no stock runs round a smaller radius (our own choice, under the sharpest tram track: 80 mm in H0)."""
LARGEST, WIDEST = 5_000.0, 250.0
"""In gauges: a drawing this large (82 m in H0) without a curve of this radius (4.1 m) is no layout (our own choice)."""
CROWD = 24
"""More ends than this within `snap` of most ends are no track: a turnout has three, a double slip eight."""

CORNER, SPLIT = math.radians(45), math.radians(1)
"""Closed figures of straights that turn by more at their corners, and by less at all else, are no track."""
_FEWEST = 3

_USUAL = 4.0
"""A layout is about this large, m (common practice): units are compared by how near they bring a drawing to it."""
_UNITS = (("mm", "cm", "m"), ("in", "ft"))
_DENSEST = 10.0
"""Track as wide as its gauge that covers all of a drawing so often is none; a helix of twenty turns covers it once."""
_CELL = np.array((1, 0x9E3779B97F4A7C1, 0x632BE59BD9B4E01))


def check_size(drawing: Drawing, outlines: Outlines, terms: Terms) -> None:
    """Refuse a drawing in which no train fits, or with more ends at one place than track can have.

    Raises
    ------
    DrawingError
        With the unit that the drawing is likely to have.
    """
    points, bulges = outlines.points, outlines.bulges
    width, height = np.ptp(np.concatenate((points, _on_arcs(points, bulges))), axis=0).tolist()
    small = max(width, height) < SMALLEST * terms.gauge
    room = (width + 4 * terms.gauge) * (height + 4 * terms.gauge)
    steps = np.hypot(*np.diff(points, axis=0).T)
    steps[outlines.first[1:-1] - 1] = 0.0  # from one stroke to the next
    arcs = np.flatnonzero(bulges)
    steps[arcs] *= (1 + bulges[arcs] ** 2) / bulges[arcs] * np.arctan(bulges[arcs])
    length = float(steps.sum())
    dense = length * terms.gauge > _DENSEST * room
    if not (small or dense or _crowded(outlines.tips, terms.snap, terms.level)):
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


def _crowded(tips: FloatArray, snap: float, level: float) -> bool:
    """Return whether most ends lie with more than `CROWD` others in one place: as large as a circle of `snap`."""
    side = math.sqrt(math.pi) * snap
    cells = np.floor(tips / (side, side, 2 * level)).astype(np.int64)
    # One number for each cell: unlike cells hardly ever share one, and a shared one decides nothing.
    _, cell, counts = np.unique(cells @ _CELL, return_inverse=True, return_counts=True)
    return bool(np.mean(counts[cell] > CROWD + 1) > 0.5)


def without_frames(drawing: Drawing, outlines: Outlines, terms: Terms) -> Drawing:
    """Return a drawing without closed figures of straight lines with corners, as tables and walls are, and named.

    No other track begins or ends at such a corner. A drawing of such figures alone stays as it is.
    """
    strokes = drawing.strokes
    heading, place = outlines.outward, places_of(outlines.tips[:, :2], terms.snap)
    by_place = np.argsort(place, kind="stable")
    node, first, often = np.unique(place[by_place], return_index=True, return_counts=True)
    one, other = by_place[first[often == 2]], by_place[first[often == 2] + 1]
    turn = np.abs(np.remainder(heading[one] - heading[other], math.tau) - math.pi)
    sharp = turn > CORNER
    if not sharp.any():
        return drawing
    fair = np.zeros(len(place), dtype=bool)
    fair[node[often == 2]] = sharp | (turn < SPLIT)
    inner = np.where(outlines.curved, -1, 0)
    for number in np.flatnonzero(~outlines.curved & (np.diff(outlines.first) > 2)).tolist():
        inner[number] = _corners(strokes[number].points)
    figure = components(len(strokes), np.column_stack((np.arange(len(place)) // 2, place // 2)))
    open_ = figure[(inner < 0) | ~fair[place].reshape(-1, 2).all(axis=1)]
    corners = np.bincount(figure, inner, len(strokes)) + np.bincount(figure[one[sharp] // 2], minlength=len(strokes))
    gone = (~np.isin(figure, open_) & (corners[figure] >= _FEWEST)).tolist()
    if not any(gone) or all(gone):
        return drawing
    figures: dict[str, list[Stroke]] = {}
    for stroke, is_gone in zip(strokes, gone, strict=True):
        if is_gone:
            figures.setdefault(stroke.layer, []).append(stroke)
    faults = [_left_out(each, terms.plan_unit) for each in figures.values()]
    kept = tuple(stroke for stroke, is_gone in zip(strokes, gone, strict=True) if not is_gone)
    return replace(drawing, strokes=kept, faults=(*drawing.faults, *faults))


def _left_out(figures: Sequence[Stroke], unit: str) -> Fault:
    """Return that the figures of one layer are left out, with their length: all that is drawn is accounted for."""
    drawn = sum(float(np.hypot(*np.diff(each.points[:, :2], axis=0).T).sum()) for each in figures)
    first = figures[0]
    text = (
        f"closed figures with corners on layer {quoted(first.layer)} are not track: {length_text(drawn, unit)} left out"
    )
    return Fault("no-track", text, Spot(*first.points[0].tolist()), first.handle, first.layer, drawn)


def _corners(points: FloatArray) -> int:
    """Return how many corners vertices have between their ends, -1 where some of them turn by less, as on a curve."""
    way = np.diff(points, axis=0)
    heading = np.arctan2(way[:, 1], way[:, 0])
    turn = np.abs(np.remainder(np.diff(heading) + math.pi, math.tau) - math.pi)
    return int((turn > CORNER).sum()) if ((turn > CORNER) | (turn < SPLIT)).all() else -1


def likely_unit(size: float, unit: str, *, other_kind: bool = False) -> str:
    """Return the unit in which a drawing of some size, m, as read in a unit, would be about as large as a layout is.

    Empty where that is the unit it was read in. It is a metric one for a metric one, but for the `other_kind` too.

    Examples
    --------
    >>> likely_unit(0.008, "mm"), likely_unit(2.4, "mm"), likely_unit(0.2, "in")
    ('m', '', 'ft')
    """
    every = _UNITS[0] + _UNITS[1]
    units = every if other_kind else next((units for units in _UNITS if unit in units), every)
    figures = convert(size, unit or "m")

    def off(each: str) -> float:
        return abs(math.log(max(figures / convert(1.0, each), 1e-30) / _USUAL))

    best = min(units, key=off)
    return "" if best == unit else best


def doubtful_unit(elements: Sequence[Element], drawing: Drawing, terms: Terms) -> list[Fault]:
    """Return a fault where all curves are sharper than any stock can run, or far wider than those of any layout."""
    if not elements:
        return []
    curves = [element for element in elements if element.curvature and element.length >= terms.snap]
    widest = min(curves, key=lambda element: abs(element.curvature), default=None)
    sharpest = max(curves, key=lambda element: abs(element.curvature), default=None)
    size = float(np.ptp(np.concatenate([stroke.points for stroke in drawing.strokes]), axis=0).max())
    if widest is not None and abs(widest.curvature) * SHARPEST * terms.gauge > 1:
        at, unit = widest, likely_unit(size, drawing.unit)
        radius = length_text(1 / abs(widest.curvature), terms.plan_unit)
        wrong = f"no curve is wider than {radius}, which no stock can run around"
    elif size > LARGEST * terms.gauge and (sharpest is None or abs(sharpest.curvature) * WIDEST * terms.gauge < 1):
        at, unit = sharpest or elements[0], likely_unit(size, drawing.unit, other_kind=True)
        wrong = f"the drawing is {length_text(size, terms.plan_unit)} wide, far more than a layout"
    else:
        return []
    cure = f"; if its unit is {unit}, write {terms.option('unit', unit)}" if unit else ""
    return [Fault("unit", wrong + cure, at.start, at.handle, at.layer)]


# Rails


NEAREST, FARTHEST = 0.3, 2.0
"""In gauges: parallels between these are no two tracks, which lie some three gauges apart (common practice)."""
RAIL = 0.85, 1.3
"""In gauges: how far apart two rails of one track may be drawn: between their heads, or along their middles."""
SAME_WAY = math.radians(1)
"""How far the directions of parallels may differ (our own choice); legs of turnouts part at more."""
MOST = 0.5
"""Where more than this share of all that is drawn has such a parallel, it is no track."""
PAIRED = 0.7
"""A rail has another beside it over this share of its length at the least."""

_LOOKED_AT = 1000


def refuse_rails(reaches: Rows, terms: Terms, file: str) -> None:
    """Refuse a drawing of rails or edges, which would be read as tracks side by side.

    Raises
    ------
    DrawingError
        With the layers on which they lie.
    """
    owner, off = _parallels(reaches, terms.gauge)
    beside = np.isfinite(off).any(axis=1)
    if not len(owner) or np.mean(beside) <= MOST:
        return
    origin = reaches.origin[reaches.first[owner[beside]]]
    layers = Counter(reaches.origins[number][1] for number in origin.tolist())
    names = listed([layer for layer, _ in layers.most_common() if layer]) or '"0"'
    pairs = _are_rails(off, terms.gauge)
    rails = np.mean(pairs.any(axis=1)) > MOST and np.mean(pairs.all(axis=1)) < 0.1
    raise DrawingError(
        "these look like rails or edges of the roadbed, or like a grid, not like center lines of track",
        file=file,
        place=f"layers {names}",
        write=f"the layer of the center line, or {terms.option('rails')}" if rails else "the layer of the center line",
    )


def center_lines(reaches: Rows, terms: Terms) -> tuple[Rows, list[Fault]]:
    """Return the center lines between rails: each rail that has another beside it, moved halfway toward that.

    Both rails of a track give the same center line, which the linking keeps once. What has no other rail beside it over
    most of its length is left out, and named.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, terms
    >>> rails = Rows.of([[Element(Spot(0, y), Spot(1, y), 0.0, 0.0, 1.0, "", "")] for y in (0.0, 0.0165)])
    >>> found, faults = center_lines(rails, terms(0.0165, "mm", ["*"]))
    >>> found.tips[::2, 1].round(5).tolist(), faults
    ([0.00825, 0.00825], [])
    """
    owner, off = _parallels(reaches, terms.gauge)
    beside = _are_rails(off, terms.gauge)
    halves = np.zeros(len(reaches.closed))
    for number in range(len(halves)):
        own = owner == number
        sides = beside[own].mean(axis=0) if own.any() else np.zeros(2)
        side = int(np.argmax(sides))
        if sides[side] >= PAIRED:
            halves[number] = float(np.nanmedian(off[own, side])) / 2 * (1 if side == 0 else -1)
    left = np.flatnonzero(halves == 0)
    found = _moved(reaches, halves[reaches.owner]).only(np.flatnonzero(halves))
    if not len(left):
        return found, []
    text = f"{len(left)} of {len(halves)} lines have no other rail beside them: not read as track"
    first = reaches.row(int(left[0]))[0]
    length = float(reaches.total[left].sum())
    return found, [Fault("no-rail", text, first.start, first.handle, first.layer, weight=length)]


def _moved(rows: Rows, off: FloatArray) -> Rows:
    """Return elements moved to their left, m: an arc of radius R to the left becomes one of R - off."""

    def moved(spots: FloatArray, heading: FloatArray) -> FloatArray:
        return spots + np.column_stack((-off * np.sin(heading), off * np.cos(heading), np.zeros(len(off))))

    share = 1 - off * rows.curvature
    return replace(
        rows,
        start=moved(rows.start, rows.heading),
        end=moved(rows.end, rows.heading + rows.curvature * rows.length),
        curvature=rows.curvature / share,
        length=rows.length * share,
    )


def _parallels(reaches: Rows, gauge: float) -> tuple[IntArray, FloatArray]:
    """Return, for places evenly along all that is drawn, of which reach each is, and how far off parallels lie there.

    On the left and on the right, m, shape (n, 2), each nan where none lies between `NEAREST` and `FARTHEST`.
    """
    index = Nearness(reaches)
    rows = index.rows
    ends = np.cumsum(rows.length)
    total = float(ends[-1]) if len(ends) else 0.0
    at = np.arange(max(total / _LOOKED_AT, 2 * gauge) / 2, total, max(total / _LOOKED_AT, 2 * gauge))
    own = np.searchsorted(ends, at)
    along = rows.length[own] + at - ends[own]
    near = index.beside(rows.places(own, along), FARTHEST * gauge, rows.heading[own] + rows.curvature[own] * along)
    near = near.only((near.turn <= SAME_WAY) & (near.off >= NEAREST * gauge) & (np.abs(near.aside) >= 0.98 * near.off))
    off = np.full((len(at), 2), np.nan)
    np.fmin.at(off, (near.which, (near.aside < 0).astype(np.int64)), near.off)
    return index.owner[own], off


def _are_rails(off: FloatArray, gauge: float) -> BoolArray:
    """Return which parallels lie as far off as the other rail of a track."""
    found: BoolArray = (off >= RAIL[0] * gauge) & (off <= RAIL[1] * gauge)
    return found
