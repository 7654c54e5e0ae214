"""The curves of a drawing become strokes in m, each checked for its size and for segments without length."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.blocks import Item
from gradehaul.plan.drawing.dxf.curves import Curve
from gradehaul.plan.drawing.records import FLAT, LARGEST, LARGEST_BULGE, Fault, FloatArray, Spot, Stroke

SHORTEST = 1e-6
"""The plan length, m, under which a segment counts as having none."""


def strokes_of(
    curves: Sequence[tuple[Curve, Item]],
    scale: float,
    shown: Callable[[str], str],
    trouble: Callable[[Any, str, DrawingError], None],
) -> tuple[list[Stroke], list[Fault]]:
    """Return curves in drawing units as strokes in m, and what was left out of them.

    All are checked at once: numpy costs about a microsecond a call however little it is given, so checking them one by
    one would take longer than reading the file.

    Parameters
    ----------
    curves
        With what draws each.
    scale
        The drawing's unit, m.
    shown
        The name of a layer in readable characters.
    trouble
        Takes an entity that cannot be used, its layer, and why.
    """
    if not curves:
        return [], []
    sizes = np.array([len(curve.points) for curve, _ in curves])
    ends = np.cumsum(sizes)
    points = np.concatenate([curve.points for curve, _ in curves]) * scale
    # Each segment stands where its first vertex does; the last vertex of a curve has none.
    bulges, exact = np.zeros(len(points)), np.ones(len(points), dtype=bool)
    for (curve, _), end, size in zip(curves, ends.tolist(), sizes.tolist(), strict=True):
        if curve.bulges is not None:
            bulges[end - size : end - 1] = curve.bulges
        if curve.exact is not True:
            exact[end - size : end - 1] = curve.exact
    faulty = set(np.searchsorted(ends, np.flatnonzero(_odd(points, bulges, ends)), side="right").tolist())
    plan, heights = np.ascontiguousarray(points[:, :2]), np.ascontiguousarray(points[:, 2])
    high = np.concatenate(((0,), np.cumsum(np.abs(heights) > FLAT)))
    in_space = (high[ends] > high[ends - sizes]).tolist()
    strokes: list[Stroke] = []
    faults: list[Fault] = []
    for number, ((_, item), end, size) in enumerate(zip(curves, ends.tolist(), sizes.tolist(), strict=True)):
        first, last = end - size, end - 1
        handle, layer, kind = origin = item.handle, shown(item.layer), item.entity.dxftype()
        own = plan[first:end], bulges[first:last], exact[first:last], heights[first:end] if in_space[number] else None
        if size < 2 or number in faulty:
            try:
                own, fault = _mended(points[first:end], *own[1:], origin)
            except DrawingError as error:
                trouble(item.entity, item.layer, error)
                continue
            faults += [fault] if fault else []
            if len(own[0]) < 2:
                continue
        strokes.append(Stroke(handle, layer, kind, *own))
    return strokes, faults


def _odd(points: FloatArray, bulges: FloatArray, ends: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Tell for each vertex whether it, or the segment that it begins, needs a closer look."""
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        lengths = np.append(np.hypot(*np.diff(points[:, :2], axis=0).T), 1.0)
        lengths[ends[ends > 0] - 1] = 1.0
        fair = (np.abs(points) <= LARGEST).all(axis=1) & (lengths >= SHORTEST)
        odd: NDArray[np.bool_] = ~(fair & (np.abs(bulges) <= LARGEST_BULGE) & (_radii(lengths, bulges) <= LARGEST))
    return odd


def _radii(chords: FloatArray, bulges: FloatArray) -> FloatArray:
    """Return the radii over chords, m, 0 for straights: chord (1 + b²) / (4 b) (plane geometry)."""
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        return np.where(bulges == 0, 0.0, chords * (1 + bulges**2) / (4 * np.abs(bulges)))


_Own = tuple[FloatArray, FloatArray, NDArray[np.bool_], FloatArray | None]


def _mended(
    points: FloatArray,
    bulges: FloatArray,
    exact: NDArray[np.bool_],
    heights: FloatArray | None,
    origin: tuple[str, str, str],
) -> tuple[_Own, Fault | None]:
    """Return a curve without its segments without length, with a word on them.

    Where the radius of a bulge is past `LARGEST` and its rise over the chord, b chord / 2, is under `SHORTEST`, it is
    made straight.

    Raises
    ------
    DrawingError
        A coordinate, a radius or a bulge is not finite or past its limit; without the place.
    """
    for values, what in ((points, "coordinate"), (bulges, "bulge")):
        if not np.isfinite(values).all():
            raise DrawingError(f"a {what} must be finite", found=str(float(values[~np.isfinite(values)][0])))
    if len(points) and float(np.abs(points).max()) > LARGEST:
        raise DrawingError(
            f"a coordinate must be within {LARGEST / 1e3:,.0f} km",
            found=f"{float(np.abs(points).max()):.3g} m",
            write="the right unit, or draw it nearer to the origin",
        )
    handle, layer, kind = origin
    lengths = np.hypot(*np.diff(points[:, :2], axis=0).T)
    kept = lengths >= SHORTEST
    dropped = len(kept) - int(np.count_nonzero(kept))
    at = Spot(*points[0, :2].tolist()) if len(points) else None
    if not kept.any():
        fault = Fault("zero-length", f"{kind} without length, left out", at, handle, layer)
        return (points[:1, :2], bulges[:0], exact[:0], None), fault
    # The last vertex stays where it is, so that what is closed stays closed.
    vertices = np.append(kept, True)
    vertices[np.flatnonzero(kept)[-1] + 1 : -1] = False
    lengths, bulges, exact = lengths[kept], bulges[kept], exact[kept]
    if float(np.abs(bulges).max()) > LARGEST_BULGE:
        found = f"{float(np.abs(bulges).max()):.3g}"
        raise DrawingError("a bulge must make less than a full circle", found=found)
    radii = _radii(lengths, bulges)
    wide = radii > LARGEST
    if (np.abs(bulges * lengths / 2)[wide] > SHORTEST).any():
        found = f"{float(radii[wide].max()):.3g} m"
        raise DrawingError(f"a radius must be within {LARGEST / 1e3:,.0f} km", found=found, write="a straight line")
    text = f"{kind} with {dropped} segments without length, left out"
    zero = Fault("zero-length", text, at, handle, layer, dropped) if dropped else None
    own = points[vertices, :2], np.where(wide, 0.0, bulges), exact, None if heights is None else heights[vertices]
    return own, zero
