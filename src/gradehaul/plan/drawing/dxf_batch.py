"""Many curves at once become strokes in m, each checked for its size and for segments without length."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf_strokes import LARGEST_BULGE, Drawn
from gradehaul.plan.drawing.records import Fault, FloatArray, Spot, Stroke

LARGEST = 1e6
"""The largest coordinate or radius, m, that a drawing of a layout may have."""
SHORTEST = 1e-6
"""The plan length, m, under which a segment counts as having none."""
FLAT = 1e-9
"""The height, m, up to which a vertex counts as having none."""

_FULL = 50_000


class Origin(NamedTuple):
    """Where a stroke comes from: the entity, its handle and layer as told, and the layer as the file has it."""

    entity: Any
    handle: str
    layer: str
    own_layer: str


@dataclass(slots=True)
class Batch:
    """Curves of a drawing on their way to strokes.

    numpy costs about a microsecond a call however little it is given, so checking curves one by one would take
    longer than reading the file.
    """

    scale: float
    trouble: Callable[[Any, str, DrawingError], None]
    strokes: list[Stroke] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    _waiting: list[tuple[Drawn, Origin]] = field(default_factory=list)
    _points: int = 0

    def add(self, drawn: Drawn, origin: Origin) -> None:
        """Take a curve, in drawing units."""
        self._waiting.append((drawn, origin))
        self._points += len(drawn.points)
        if self._points > _FULL:
            self.finish()

    def finish(self) -> None:
        """Turn the curves that wait into strokes."""
        waiting, self._waiting, self._points = self._waiting, [], 0
        if not waiting:
            return
        sizes = np.array([len(drawn.points) for drawn, _ in waiting])
        ends = np.cumsum(sizes)
        points = np.concatenate([drawn.points for drawn, _ in waiting]) * self.scale
        # Each segment stands where its first vertex does; the last vertex of a curve has none.
        bulges, exact = np.zeros(len(points)), np.ones(len(points), dtype=bool)
        for (drawn, _), end, size in zip(waiting, ends.tolist(), sizes.tolist(), strict=True):
            if drawn.bulges is not None:
                bulges[end - size : end - 1] = drawn.bulges
            if drawn.exact is not True:
                exact[end - size : end - 1] = drawn.exact
        odd = _odd(points, bulges, ends)
        faulty = set(np.searchsorted(ends, np.flatnonzero(odd), side="right").tolist())
        plan, heights = np.ascontiguousarray(points[:, :2]), np.ascontiguousarray(points[:, 2])
        high = _any_high(heights, ends, sizes)
        for number, ((_, origin), end, size) in enumerate(zip(waiting, ends.tolist(), sizes.tolist(), strict=True)):
            first, last = end - size, end - 1
            if size < 2 or number in faulty:
                self._mend(points[first:end], bulges[first:last], exact[first:last], origin)
                continue
            kind = origin.entity.dxftype()
            height = heights[first:end] if high[number] else None
            self.strokes.append(
                Stroke(
                    origin.handle, origin.layer, kind, plan[first:end], bulges[first:last], exact[first:last], height
                )
            )

    def _mend(self, points: FloatArray, bulges: FloatArray, exact: NDArray[np.bool_], origin: Origin) -> None:
        """Refuse a curve, drop segments of it, or drop all of it."""
        try:
            good, bulges, exact, dropped = mended(points, bulges, exact)
        except DrawingError as error:
            self.trouble(origin.entity, origin.own_layer, error)
            return
        kind, at = origin.entity.dxftype(), None
        if len(points):
            x, y = points[0, :2].tolist()
            at = Spot(x, y)
        if len(good) < 2:
            self.faults.append(
                Fault("zero-length", f"{kind} without length, left out", at, origin.handle, origin.layer)
            )
            return
        if dropped:
            text = f"{kind} with {dropped} segments without length, left out"
            self.faults.append(Fault("zero-length", text, at, origin.handle, origin.layer, dropped))
        height = good[:, 2].copy() if (np.abs(good[:, 2]) > FLAT).any() else None
        self.strokes.append(Stroke(origin.handle, origin.layer, kind, good[:, :2].copy(), bulges, exact, height))


def _any_high(heights: FloatArray, ends: NDArray[np.int_], sizes: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Tell for each curve whether a vertex of it has a height."""
    counts = np.concatenate(((0,), np.cumsum(np.abs(heights) > FLAT)))
    high: NDArray[np.bool_] = counts[ends] > counts[ends - sizes]
    return high


def _odd(points: FloatArray, bulges: FloatArray, ends: NDArray[np.int_]) -> NDArray[np.bool_]:
    """Tell for each vertex whether it, or the segment that it begins, needs a closer look."""
    with np.errstate(invalid="ignore", over="ignore", divide="ignore"):
        steps = points[1:, :2] - points[:-1, :2]
        lengths = np.append(np.hypot(steps[:, 0], steps[:, 1]), 1.0)
        lengths[ends[ends > 0] - 1] = 1.0
        radii = np.where(bulges == 0, 0.0, lengths * (1 + bulges**2) / (4 * np.abs(bulges)))
        fair = (np.abs(points) <= LARGEST).all(axis=1) & (lengths >= SHORTEST)
        odd: NDArray[np.bool_] = ~(fair & (np.abs(bulges) <= LARGEST_BULGE) & (radii <= LARGEST))
    return odd


def mended(
    points: FloatArray, bulges: FloatArray, exact: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_], int]:
    """Return a curve without its segments without length, and how many those were.

    Parameters
    ----------
    points
        Vertices, m, shape (n, 3).
    bulges, exact
        As in a stroke, shape (n - 1,). The radius of a bulge is chord (1 + b²) / (4 b) and its rise over the chord
        b chord / 2; where the one is past `LARGEST` and the other under `SHORTEST` it is made straight.

    Raises
    ------
    DrawingError
        A coordinate, a radius or a bulge is not finite or past its limit; without the place.

    Examples
    --------
    >>> points = np.array([(0, 0, 0), (1, 0, 0), (1, 0, 0), (2, 0, 0)], dtype=float)
    >>> good, bulges, exact, dropped = mended(points, np.zeros(3), np.ones(3, dtype=bool))
    >>> good[:, 0].tolist(), dropped
    ([0.0, 1.0, 2.0], 1)
    """
    for values, what in ((points, "coordinate"), (bulges, "bulge")):
        if not np.isfinite(values).all():
            strange = values[~np.isfinite(values)]
            raise DrawingError(f"a {what} must be finite", found=str(float(strange[0])))
    if len(points) and float(np.abs(points).max()) > LARGEST:
        raise DrawingError(
            f"a coordinate must be within {LARGEST / 1e3:,.0f} km",
            found=f"{float(np.abs(points).max()):.3g} m",
            write="the right unit, or draw it nearer to the origin",
        )
    steps = points[1:, :2] - points[:-1, :2]
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    kept = lengths >= SHORTEST
    dropped = len(kept) - int(np.count_nonzero(kept))
    if not kept.any():
        return points[:1], bulges[:0], exact[:0], dropped
    # The last vertex stays where it is, so that what is closed stays closed.
    points = np.concatenate((points[:-1][kept], points[-1:]))
    lengths, bulges, exact = lengths[kept], bulges[kept], exact[kept]
    if len(bulges) and float(np.abs(bulges).max()) > LARGEST_BULGE:
        found = f"{float(np.abs(bulges).max()):.3g}"
        raise DrawingError("a bulge must make less than a full circle", found=found)
    with np.errstate(divide="ignore", invalid="ignore"):
        radii = np.where(bulges == 0, 0.0, lengths * (1 + bulges**2) / (4 * np.abs(bulges)))
    wide = radii > LARGEST
    if (np.abs(bulges * lengths / 2)[wide] > SHORTEST).any():
        found = f"{float(radii[wide].max()):.3g} m"
        raise DrawingError(f"a radius must be within {LARGEST / 1e3:,.0f} km", found=found, write="a straight line")
    return points, np.where(wide, 0.0, bulges), exact, dropped
