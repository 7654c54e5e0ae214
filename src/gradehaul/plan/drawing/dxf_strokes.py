"""The curves of a DXF file where blocks put them: arcs where they are arcs in the plan, chords elsewhere."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf_shapes import Arc, Conic, Run, Shape, Spline
from gradehaul.plan.drawing.records import FloatArray

MOST_CHORDS = 10_000
"""The most chords that one curve is resolved into."""
MOST_POINTS = 5_000_000
"""The most points that the curves and the inserted blocks of one drawing are resolved into."""

_ROUND = 1e-6
"""How far the half axes of a circle may differ from one another and from square, as a share."""
LARGEST_BULGE = 1e4
"""The largest bulge of a polyline: all but a full circle."""
_UPRIGHT = 1e-6
"""How narrow an ellipse may be in the plan, as a share of its length: under this it is a circle seen on edge."""
_EIGHTH = math.pi / 4


class Placing(NamedTuple):
    """Where a block's coordinates lie in the model space: p @ `linear` + `shift`, with p a row of x, y and z."""

    linear: FloatArray
    shift: FloatArray


@dataclass(slots=True)
class Budget:
    """How near chords keep to their curves, in drawing units, and how many more points may be made.

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
    """A curve in the plan, in drawing units: vertices, shape (n, 3), bulges, shape (n - 1,), or None where all are 0.

    `exact` says for each segment, shape (n - 1,), or for all at once, whether it is the curve itself.
    """

    points: FloatArray
    bulges: FloatArray | None
    exact: NDArray[np.bool_] | bool


def draw(shape: Shape, placing: Placing | None, budget: Budget) -> Drawn:
    """Return a curve as it lies in the plan.

    Parameters
    ----------
    shape
        In the coordinates of its block.
    placing
        Where they lie, None for an entity of the model space itself.
    budget
        How fine its chords become, and how many there may be.

    Raises
    ------
    DrawingError
        A bulge is out of all proportion, or a curve stands upright; without the place.
    OverflowError
        The budget of points is spent.
    """
    if isinstance(shape, Run):
        return _run(shape, placing, budget)
    if isinstance(shape, Arc):
        if placing is None:
            return _arc(shape)
        shape = shape.conic()
    if isinstance(shape, Conic):
        return _conic(shape, placing, budget)
    return Drawn(_spline(shape, placing, budget), None, exact=False)


def _mirrored(major: FloatArray, minor: FloatArray) -> int:
    """Return 1 or -1 where two half axes make a circle turning left or right in the plan, and 0 where they do not."""
    (ux, uy, _), (vx, vy, _) = major.tolist(), minor.tolist()
    a, b = math.hypot(ux, uy), math.hypot(vx, vy)
    size = max(a, b)
    if abs(a - b) > _ROUND * size or abs(ux * vx + uy * vy) > _ROUND * size * size:
        return 0
    return 1 if ux * vy - uy * vx >= 0 else -1


def _placed(points: FloatArray, placing: Placing | None) -> FloatArray:
    return points if placing is None else points @ placing.linear + placing.shift


def _run(run: Run, placing: Placing | None, budget: Budget) -> Drawn:
    points = _placed(run.points, placing)
    if run.bulges is None:
        return Drawn(points, None, run.whole)
    turn = 1
    if placing is not None or run.axes is not None:
        axes = np.eye(3)[:2] if run.axes is None else run.axes
        axes = axes if placing is None else axes @ placing.linear
        turn = _mirrored(axes[0], axes[1])
    if turn:
        return Drawn(points, run.bulges if turn > 0 else -run.bulges, exact=True)
    # Seen askew, its arcs are parts of ellipses.
    pieces, exact = [points[:1]], []
    for number, bulge in enumerate(run.bulges.tolist()):
        piece = points[number : number + 2]
        if bulge:
            piece = _chords_of(_bulged(run.points[number], run.points[number + 1], bulge, run.axes), placing, budget)
        pieces.append(piece[1:])
        exact.append(np.full(len(piece) - 1, not bulge))
    joined = np.concatenate(pieces)
    if (points[0] == points[-1]).all():
        joined[-1] = joined[0]
    return Drawn(joined, None, np.concatenate(exact))


def _bulged(start: FloatArray, end: FloatArray, bulge: float, axes: FloatArray | None) -> Conic:
    """Return the arc over a chord: its center is (1 - b²) / (4 b) chords to the left of the chord's middle."""
    normal = np.array((0.0, 0.0, 1.0)) if axes is None else np.cross(axes[0], axes[1])
    if not abs(bulge) <= LARGEST_BULGE:
        raise DrawingError("a bulge must make less than a full circle", found=f"{bulge:.3g}")
    center = (start + end) / 2 + np.cross(normal, end - start) * ((1 - bulge**2) / (4 * bulge))
    major = start - center
    return Conic(center, major, np.cross(normal, major), 0.0, 4 * math.atan(bulge))


def _arc(arc: Arc) -> Drawn:
    pieces = 1 if arc.sweep <= math.pi else 2
    (x, y, z), radius = arc.center, arc.radius
    rows = []
    for number in range(pieces + 1):
        angle = arc.start + arc.sweep * number / pieces
        rows.append((x + radius * math.cos(angle), y + radius * math.sin(angle), z))
    if arc.sweep == math.tau:
        rows[-1] = rows[0]
    bulge = math.tan(arc.sweep / pieces / 4)
    return Drawn(np.array(rows), np.array((bulge,) * pieces), exact=True)


def _conic(conic: Conic, placing: Placing | None, budget: Budget) -> Drawn:
    major, minor = conic.major, conic.minor
    if placing is not None:
        major, minor = major @ placing.linear, minor @ placing.linear
    turn = _mirrored(major, minor)
    if not turn:
        return Drawn(_chords_of(conic, placing, budget), None, exact=False)
    pieces = 1 if conic.sweep <= math.pi else 2
    (ux, uy, uz), (vx, vy, vz) = major.tolist(), minor.tolist()
    x, y, z = _placed(conic.center, placing).tolist()
    rows = []
    for number in range(pieces + 1):
        angle = conic.start + conic.sweep * number / pieces
        cos, sin = math.cos(angle), math.sin(angle)
        rows.append((x + cos * ux + sin * vx, y + cos * uy + sin * vy, z + cos * uz + sin * vz))
    if conic.sweep == math.tau:
        rows[-1] = rows[0]
    bulge = turn * math.tan(conic.sweep / pieces / 4)
    return Drawn(np.array(rows), np.array((bulge,) * pieces), exact=True)


def _combined(angles: FloatArray, major: FloatArray, minor: FloatArray) -> FloatArray:
    return np.multiply.outer(np.cos(angles), major) + np.multiply.outer(np.sin(angles), minor)


def _chords_of(conic: Conic, placing: Placing | None, budget: Budget) -> FloatArray:
    """Return points along part of an ellipse."""
    center, major, minor = _placed(conic.center, placing), conic.major, conic.minor
    if placing is not None:
        major, minor = major @ placing.linear, minor @ placing.linear
    if not np.isfinite((center, major, minor)).all():
        raise DrawingError("a coordinate must be finite", found="one that is not")
    size = max(math.hypot(*major[:2]), math.hypot(*minor[:2]))
    if abs(major[0] * minor[1] - major[1] * minor[0]) <= _UPRIGHT * size * size:
        raise DrawingError("a curve must not stand upright", write="it flat, or on another layer")
    count = max(math.ceil(abs(conic.sweep) / _EIGHTH), 2)
    angles = conic.start + np.linspace(0, conic.sweep, count + 1)
    points = chords(lambda at: center + _combined(at, major, minor), angles, budget)
    if conic.sweep == math.tau:
        points[-1] = points[0]
    return points


def _spline(spline: Spline, placing: Placing | None, budget: Budget) -> FloatArray:
    """Return points along a B-spline; an affine change of the control points is the same change of the curve."""
    from scipy.interpolate import BSpline

    control = _placed(spline.control, placing)
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
        From parameters, shape (n,), to points, shape (n, 3).
    at
        The parameters to begin with, rising or falling, shape (n,).
    budget
        Its tolerance, in the unit of the points, and the points that may still be made.

    Returns
    -------
        Points, shape (m, 3). Pieces are halved until the curve at a quarter, a half and three quarters of each is
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
