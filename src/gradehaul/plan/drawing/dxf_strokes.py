"""From the curves of a DXF file, wherever blocks put them, to strokes: arcs where they are arcs, chords elsewhere."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf_shapes import Conic, Run, Shape, Spline
from gradehaul.plan.drawing.records import FloatArray, Stroke

LARGEST = 1e6
"""The largest coordinate or radius, m, that a drawing of a layout may have."""
SHORTEST = 1e-6
"""The plan length, m, under which a line counts as having none."""
MOST_CHORDS = 10_000
"""The most chords that one curve is resolved into."""
MOST_POINTS = 5_000_000
"""The most points that the curves and the inserted blocks of one drawing are resolved into."""

_FLAT = 1e-9
_ROUND = 1e-6
"""How far the half axes of a circle may differ from one another and from square, as a share."""
_LARGEST_BULGE = 1e4
_EIGHTH = math.pi / 4


class Placing(NamedTuple):
    """Where a block's coordinates lie in the plan, m: p @ `linear` + `shift`, with p a row of x, y and z."""

    linear: FloatArray
    shift: FloatArray


@dataclass(slots=True)
class Budget:
    """How fine curves become chords, m, and how many more points may be made.

    `coarse` counts the curves for which `MOST_CHORDS` was too few.
    """

    tolerance: float
    points: int = MOST_POINTS
    coarse: int = 0

    def take(self, count: int) -> None:
        """Take points from the budget."""
        self.points -= count
        if self.points < 0:
            raise OverflowError


class Drawn(NamedTuple):
    """A curve in the plan: vertices, shape (n, 3), bulges and whether exact, shape (n - 1,), and vertices dropped."""

    points: FloatArray
    bulges: FloatArray
    exact: NDArray[np.bool_]
    dropped: int


def draw(shape: Shape, placing: Placing, budget: Budget) -> Drawn:
    """Return a curve as it lies in the plan; one without length has fewer than two vertices.

    Raises
    ------
    DrawingError
        A coordinate or radius passes `LARGEST`; without the place.
    OverflowError
        The budget of points is spent.
    """
    if isinstance(shape, Run):
        points, bulges, exact = _run(shape, placing, budget)
    elif isinstance(shape, Conic):
        points, bulges, exact = _conic(shape, placing, budget)
    else:
        points = _spline(shape, placing, budget)
        bulges, exact = np.zeros(len(points) - 1), np.zeros(len(points) - 1, dtype=bool)
    _check_size(points)
    steps = points[1:, :2] - points[:-1, :2]
    lengths = np.hypot(steps[:, 0], steps[:, 1])
    kept = lengths >= SHORTEST
    dropped = len(kept) - int(np.count_nonzero(kept))
    if dropped:
        points, bulges, exact = _without(points, bulges, exact, kept)
        steps = points[1:, :2] - points[:-1, :2]
        lengths = np.hypot(steps[:, 0], steps[:, 1])
    if bulges.any():
        bulges = _checked_bulges(bulges, lengths)
    return Drawn(points, bulges, exact, dropped)


def stroke_of(drawn: Drawn, handle: str, layer: str, kind: str) -> Stroke:
    """Return a curve in the plan as a stroke."""
    points = drawn.points
    heights = points[:, 2].copy() if (np.abs(points[:, 2]) > _FLAT).any() else None
    return Stroke(handle, layer, kind, points[:, :2].copy(), drawn.bulges, drawn.exact, heights)


def _check_size(points: FloatArray) -> None:
    if len(points) and not max(float(points.max()), -float(points.min())) <= LARGEST:
        largest = float(np.abs(points).max())
        raise DrawingError(
            f"a coordinate must be within {LARGEST / 1e3:,.0f} km",
            found=f"{largest:.3g} m",
            write="the right unit, or draw it nearer to the origin",
        )


def _without(
    points: FloatArray, bulges: FloatArray, exact: NDArray[np.bool_], kept: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    """Drop the segments without length; the last vertex stays where it is, so that what is closed stays closed."""
    if not kept.any():
        return points[:1], bulges[:0], exact[:0]
    starts = points[:-1][kept]
    return np.concatenate((starts, points[-1:])), bulges[kept], exact[kept]


def _checked_bulges(bulges: FloatArray, lengths: FloatArray) -> FloatArray:
    """Return bulges with those of no consequence made 0.

    The radius is chord (1 + b²) / (4 b), the rise of the arc over its chord b chord / 2.
    """
    largest = float(np.abs(bulges).max())
    if largest > _LARGEST_BULGE:
        raise DrawingError("a bulge must make less than a full circle", found=f"{largest:.3g}")
    with np.errstate(divide="ignore"):
        radii = lengths * (1 + bulges**2) / (4 * np.abs(bulges))
    wide = (radii > LARGEST) & (bulges != 0)
    if not wide.any():
        return bulges
    if (np.abs(bulges * lengths / 2)[wide] > SHORTEST).any():
        raise _too_wide(float(radii[wide].max()))
    return np.where(wide, 0.0, bulges)


def _too_wide(radius: float) -> DrawingError:
    return DrawingError(
        f"a radius must be within {LARGEST / 1e3:,.0f} km", found=f"{radius:.3g} m", write="a straight line"
    )


def _mirrored(first: FloatArray, second: FloatArray) -> int:
    """Return 1 or -1 where two half axes, shape (2,), make a circle turning left or right, and 0 where they do not."""
    a, b = math.hypot(first[0], first[1]), math.hypot(second[0], second[1])
    size = max(a, b)
    if abs(a - b) > _ROUND * size or abs(first[0] * second[0] + first[1] * second[1]) > _ROUND * size * size:
        return 0
    return 1 if first[0] * second[1] - first[1] * second[0] > 0 else -1


def _run(run: Run, placing: Placing, budget: Budget) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    points = run.points @ placing.linear + placing.shift
    segments = max(len(points) - 1, 0)
    if run.bulges is None:
        return points, np.zeros(segments), np.full(segments, run.whole)
    axes = (np.eye(3)[:2] if run.axes is None else run.axes) @ placing.linear
    turn = _mirrored(axes[0, :2], axes[1, :2])
    if turn:
        return points, run.bulges * turn, np.ones(segments, dtype=bool)
    # Seen askew, its arcs are parts of ellipses.
    pieces, exact = [points[:1]], []
    for start, end, bulge in zip(run.points[:-1], run.points[1:], run.bulges, strict=True):
        piece = _chords_of(_bulged(start, end, float(bulge), run.axes), placing, budget) if bulge else None
        if piece is None:
            piece = (np.array((start, end)) @ placing.linear + placing.shift,)[0]
        pieces.append(piece[1:])
        exact.append(np.full(len(piece) - 1, not bulge))
    joined = np.concatenate(pieces)
    if (points[0] == points[-1]).all():
        joined[-1] = joined[0]
    return joined, np.zeros(len(joined) - 1), np.concatenate(exact)


def _bulged(start: FloatArray, end: FloatArray, bulge: float, axes: FloatArray | None) -> Conic:
    """Return the arc over a chord: its center is (1 - b²) / (4 b) chords to the left of the chord's middle."""
    normal = np.array((0.0, 0.0, 1.0)) if axes is None else np.cross(axes[0], axes[1])
    if abs(bulge) > _LARGEST_BULGE:
        raise DrawingError("a bulge must make less than a full circle", found=f"{bulge:.3g}")
    center = (start + end) / 2 + np.cross(normal, end - start) * ((1 - bulge**2) / (4 * bulge))
    major = start - center
    return Conic(center, major, np.cross(normal, major), 0.0, 4 * math.atan(bulge))


def _conic(conic: Conic, placing: Placing, budget: Budget) -> tuple[FloatArray, FloatArray, NDArray[np.bool_]]:
    major, minor = conic.major @ placing.linear, conic.minor @ placing.linear
    turn = _mirrored(major[:2], minor[:2])
    if not turn:
        points = _chords_of(conic, placing, budget)
        return points, np.zeros(len(points) - 1), np.zeros(len(points) - 1, dtype=bool)
    radius = math.hypot(major[0], major[1])
    if not radius <= LARGEST:
        raise _too_wide(radius)
    pieces = 1 if conic.sweep <= math.pi else 2
    angles = [conic.start + conic.sweep * number / pieces for number in range(pieces + 1)]
    points = conic.center @ placing.linear + placing.shift + _combined(np.array(angles), major, minor)
    if conic.sweep == math.tau:
        points[-1] = points[0]
    return points, np.full(pieces, turn * math.tan(conic.sweep / pieces / 4)), np.ones(pieces, dtype=bool)


def _combined(angles: FloatArray, major: FloatArray, minor: FloatArray) -> FloatArray:
    return np.multiply.outer(np.cos(angles), major) + np.multiply.outer(np.sin(angles), minor)


def _chords_of(conic: Conic, placing: Placing, budget: Budget) -> FloatArray:
    """Return points along part of an ellipse."""
    center = conic.center @ placing.linear + placing.shift
    major, minor = conic.major @ placing.linear, conic.minor @ placing.linear
    _check_size(np.array((center, major, minor)))
    count = max(math.ceil(abs(conic.sweep) / _EIGHTH), 2)
    angles = conic.start + np.linspace(0, conic.sweep, count + 1)
    points = chords(lambda at: center + _combined(at, major, minor), angles, budget)
    if conic.sweep == math.tau:
        points[-1] = points[0]
    return points


def _spline(spline: Spline, placing: Placing, budget: Budget) -> FloatArray:
    """Return points along a B-spline; an affine change of the control points is the same change of the curve."""
    from scipy.interpolate import BSpline

    control = spline.control @ placing.linear + placing.shift
    _check_size(control)
    weights = np.ones(len(control)) if spline.weights is None else spline.weights / spline.weights.max()
    weighted = np.column_stack((control * weights[:, None], weights))
    degree = spline.degree
    curve = BSpline(spline.knots, weighted, degree)
    inner = np.unique(spline.knots[degree : len(spline.knots) - degree])
    # Twice as many pieces as the degree leave no inflection for which three looks at a piece would not be enough.
    share = np.linspace(0, 1, 2 * degree, endpoint=False) if degree > 1 else np.zeros(1)
    parameters = np.append((inner[:-1, None] + np.diff(inner)[:, None] * share).ravel(), inner[-1])

    def at(where: FloatArray) -> FloatArray:
        values: FloatArray = curve(where)
        with np.errstate(all="ignore"):  # what is not finite is told by the check of the coordinates
            return values[:, :3] / values[:, 3:]

    return chords(at, parameters, budget)


def chords(curve: Callable[[FloatArray], FloatArray], at: FloatArray, budget: Budget) -> FloatArray:
    """Return points along a curve whose chords keep to it within the budget's tolerance.

    Parameters
    ----------
    curve
        From parameters, shape (n,), to points, m, shape (n, 3).
    at
        The parameters to begin with, rising or falling, shape (n,).
    budget
        Its tolerance, m, and the points that may still be made.

    Returns
    -------
        Points, m, shape (m, 3). Pieces are halved until the curve at a quarter, a half and three quarters of each is
        within the tolerance of its chord, or until there are `MOST_CHORDS`.

    Examples
    --------
    >>> circle = lambda at: np.column_stack((np.cos(at), np.sin(at), 0 * at))
    >>> points = chords(circle, np.linspace(0, np.pi, 5), Budget(tolerance=2e-5))
    >>> sagitta = 1 - np.cos(np.pi / (len(points) - 1) / 2)
    >>> len(points), bool(sagitta < 2e-5)
    (257, True)
    """
    points = curve(at)
    budget.take(len(points))
    open_pieces = np.ones(len(at) - 1, dtype=bool)
    while open_pieces.any():
        first = np.flatnonzero(open_pieces)
        start, step = at[first], at[first + 1] - at[first]
        chord = points[first + 1] - points[first]
        size = np.sqrt((chord**2).sum(axis=1, keepdims=True))
        along = np.divide(chord, size, out=np.zeros_like(chord), where=size > 0)
        between = [curve(start + step * share) for share in (0.25, 0.5, 0.75)]
        farthest = np.zeros(len(first))
        for looked_at in between:
            offset = looked_at - points[first]
            across = offset - (offset * along).sum(axis=1, keepdims=True) * along
            farthest = np.maximum(farthest, np.sqrt((across**2).sum(axis=1)))
        halved = farthest > budget.tolerance
        count = int(np.count_nonzero(halved))
        if not count:
            break
        if len(at) - 1 + count > MOST_CHORDS:
            budget.coarse += 1
            break
        budget.take(count)
        open_pieces[:] = False
        open_pieces[first[halved]] = True
        where = first[halved] + 1
        at = np.insert(at, where, (start + step / 2)[halved])
        points = np.insert(points, where, between[1][halved], axis=0)
        # Both halves of a piece are to be looked at again.
        open_pieces = np.insert(open_pieces, where, True)
    return points
