"""The curves of a DXF file where blocks put them: arcs where they are arcs in the plan, chords elsewhere."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.values import Placing, axes_of, number_of, placed, point_of, turned, value_of
from gradehaul.plan.drawing.records import LARGEST_BULGE, FloatArray

MOST_POINTS = 5_000_000
"""The most points that the curves and the inserted blocks of one drawing may make."""

_FINEST = 1e-7
"""Chords keep no nearer to their curve than this share of its size: a circle has some 7,000 of them at the most."""
_ROUND = 1e-6
"""How far the half axes of a circle may differ from one another and from square, as a share."""
_NO_SWEEP = 1e-9
"""A sweep, radians, at or under which an arc goes all the way round: its angles were rounded when written."""
_UPRIGHT = 1e-6
"""How narrow an ellipse may be in the plan, as a share of its length: under this it is a circle seen on edge."""
_MOST_FIT_POINTS = 5_000
_CLOSED, _SPLINE_FIT, _SPACE, _MESH, _CONTROL_FRAME = 1, 4, 8, 16 | 64, 16


@dataclass(slots=True)
class Budget:
    """How near chords keep to their curves, in drawing units, and how many more points may be made."""

    tolerance: float
    points: int = MOST_POINTS

    def take(self, count: int) -> None:
        """Take points from the budget."""
        self.points -= count
        if self.points < 0:
            raise OverflowError


class Curve(NamedTuple):
    """A curve in drawing units: vertices, shape (n, 3), bulges, shape (n - 1,), or None where all are 0.

    `exact` says for each segment, shape (n - 1,), or for all at once, whether it is the curve itself.
    """

    points: FloatArray
    bulges: FloatArray | None
    exact: NDArray[np.bool_] | bool


def curve_of(entity: Any, placing: Placing, budget: Budget) -> Curve | None:  # noqa: ANN401 - of the library
    """Return an entity's curve as it lies in the model space, or None for a type of entity that has none.

    Parameters
    ----------
    entity
        In the coordinates of its block.
    placing
        Where they lie, None for an entity of the model space itself.
    budget
        How fine its chords become, and how many there may be.

    Raises
    ------
    DrawingError
        A coordinate is missing, a radius is negative, a curve stands upright, or a spline is no spline; without the
        place. Whether coordinates are finite shows when they are known in m.
    OverflowError
        The budget of points is spent.
    """
    reader = _READERS.get(entity.dxftype())
    return None if reader is None else reader(entity, placing, budget)


def _line(entity: Any, placing: Placing, _budget: Budget) -> Curve:  # noqa: ANN401
    # A LINE's extrusion is the direction of its thickness; its ends are in the block's coordinates.
    ends = np.array((point_of(entity, "start"), point_of(entity, "end")))
    return Curve(placed(ends, placing), None, exact=True)


# Circles and ellipses


class _Conic(NamedTuple):
    """Part of an ellipse: center + cos t · major + sin t · minor, for t from `start` through `sweep`, radians.

    The half axes are conjugate, not necessarily square to one another: any affine change of an ellipse is the same
    change of its center and half axes.
    """

    center: FloatArray
    major: FloatArray
    minor: FloatArray
    start: float
    sweep: float


def _sweep(start: float, end: float) -> float:
    sweep = (end - start) % math.tau
    return sweep if sweep > _NO_SWEEP else math.tau


def _arc(entity: Any, placing: Placing, budget: Budget) -> Curve:  # noqa: ANN401
    """Return an ARC or a CIRCLE."""
    start, sweep = 0.0, math.tau
    if entity.dxftype() == "ARC":
        start = math.radians(number_of(entity, "start_angle"))
        sweep = _sweep(start, math.radians(number_of(entity, "end_angle")))
    center, radius = point_of(entity, "center"), number_of(entity, "radius")
    if radius < 0:
        raise DrawingError("a radius must be longer than 0", found=f"{radius:g}")
    axes = axes_of(entity)
    if axes is None and placing is None:
        return _arcs(center, (radius, 0.0, 0.0), (0.0, radius, 0.0), start, sweep, 1)
    own = np.eye(3) if axes is None else axes
    return _placed(_Conic(np.array(center) @ own, radius * own[0], radius * own[1], start, sweep), placing, budget)


def _ellipse(entity: Any, placing: Placing, budget: Budget) -> Curve:  # noqa: ANN401
    center, major = np.array(point_of(entity, "center")), np.array(point_of(entity, "major_axis"))
    axes = axes_of(entity)
    minor = number_of(entity, "ratio", 1.0) * np.cross((0.0, 0.0, 1.0) if axes is None else axes[2], major)
    start = number_of(entity, "start_param", 0.0)
    return _placed(
        _Conic(center, major, minor, start, _sweep(start, number_of(entity, "end_param", math.tau))), placing, budget
    )


def _placed(conic: _Conic, placing: Placing, budget: Budget) -> Curve:
    """Return part of an ellipse where its block puts it: arcs where it is round in the plan, else chords."""
    center, start, sweep = placed(conic.center, placing), conic.start, conic.sweep
    major, minor = turned(conic.major, placing), turned(conic.minor, placing)
    hand = _hand(major, minor)
    if hand:
        return _arcs(center.tolist(), major.tolist(), minor.tolist(), start, sweep, hand)
    if not np.isfinite((center, major, minor)).all():
        raise DrawingError("a coordinate must be finite", found="one that is not")
    size = max(math.hypot(*major[:2]), math.hypot(*minor[:2]))
    if abs(major[0] * minor[1] - major[1] * minor[0]) <= _UPRIGHT * size * size:
        raise DrawingError("a curve must not stand upright", write="it flat, or on another layer")

    def at(angles: FloatArray) -> FloatArray:
        points: FloatArray = center + np.outer(np.cos(angles), major) + np.outer(np.sin(angles), minor)
        return points

    count = max(math.ceil(abs(sweep) / (math.pi / 4)), 2)
    points = chords(at, start + np.linspace(0, sweep, count + 1), budget)
    if sweep == math.tau:
        points[-1] = points[0]
    return Curve(points, None, exact=False)


def _hand(major: FloatArray, minor: FloatArray) -> int:
    """Return 1 or -1 where two half axes make a circle turning left or right in the plan, and 0 where they do not."""
    (ux, uy, _), (vx, vy, _) = major.tolist(), minor.tolist()
    a, b = math.hypot(ux, uy), math.hypot(vx, vy)
    size = max(a, b)
    if abs(a - b) > _ROUND * size or abs(ux * vx + uy * vy) > _ROUND * size * size:
        return 0
    return 1 if ux * vy - uy * vx >= 0 else -1


def _arcs(center: Any, major: Any, minor: Any, start: float, sweep: float, hand: int) -> Curve:  # noqa: ANN401 - x, y, z
    """Return part of a circle as one arc, or as two where it turns by more than a half circle."""
    pieces = 1 if sweep <= math.pi + _NO_SWEEP else 2  # half a circle at any angle is one
    rows = []
    for number in range(pieces + 1):
        cos, sin = math.cos(start + sweep * number / pieces), math.sin(start + sweep * number / pieces)
        rows.append([c + cos * u + sin * v for c, u, v in zip(center, major, minor, strict=True)])
    if sweep == math.tau:
        rows[-1] = rows[0]
    bulge = hand * math.tan(sweep / pieces / 4)
    return Curve(np.array(rows), np.array([bulge] * pieces), exact=True)


# Polylines


def _polyline(entity: Any, placing: Placing, budget: Budget) -> Curve | None:  # noqa: ANN401
    flags = int(value_of(entity, "flags", 0))
    if flags & _MESH:
        return None
    vertices = list(entity.vertices)
    if flags & _SPLINE_FIT:  # the corners of the frame are kept beside the curve that was fitted to it
        vertices = [vertex for vertex in vertices if not int(value_of(vertex, "flags", 0)) & _CONTROL_FRAME]
    points = np.array([point_of(vertex, "location") for vertex in vertices]).reshape(-1, 3)
    if flags & _SPACE:
        return _vertices(points, np.zeros(len(points)), None, bool(flags & _CLOSED), placing, budget)
    elevation = value_of(entity, "elevation")
    if elevation is not None and elevation.z:
        points[:, 2] = elevation.z
    bulges = np.array([float(value_of(vertex, "bulge", 0.0)) for vertex in vertices])
    return _vertices(points, bulges, axes_of(entity), bool(flags & _CLOSED), placing, budget)


def _light_polyline(entity: Any, placing: Placing, budget: Budget) -> Curve:  # noqa: ANN401
    rows: FloatArray = np.array(entity.get_points("xyb"), dtype=float).reshape(-1, 3)
    points = np.column_stack((rows[:, :2], np.full(len(rows), number_of(entity, "elevation", 0.0))))
    closed = bool(int(value_of(entity, "flags", 0)) & _CLOSED)
    return _vertices(points, rows[:, 2], axes_of(entity), closed, placing, budget)


def _vertices(
    own: FloatArray, bulges: FloatArray, axes: FloatArray | None, closed: bool, placing: Placing, budget: Budget
) -> Curve:
    """Return vertices joined by straights and, where a bulge is not 0, by arcs, with the closing segment."""
    # Many a closed polyline ends where it began already.
    if closed and len(own) > 1 and not (own[0] == own[-1]).all() and (len(own) > 2 or bulges.any()):
        own = np.concatenate((own, own[:1]))
    bulges = bulges[: max(len(own) - 1, 0)]
    plane = np.eye(3) if axes is None else axes
    own = own if axes is None else own @ axes
    points = placed(own, placing)
    if placing is not None:
        budget.take(len(points))
    if not bulges.any():
        return Curve(points, None, exact=len(points) <= 2)
    hand = _hand(*turned(plane, placing)[:2])
    if hand:
        return Curve(points, hand * bulges, exact=True)
    # Seen askew, its arcs are parts of ellipses.
    pieces, exact = [points[:1]], []
    for number, bulge in enumerate(bulges.tolist()):
        piece = points[number : number + 2]
        if bulge:
            piece = _placed(_bulged(own[number], own[number + 1], bulge, plane[2]), placing, budget).points
        pieces.append(piece[1:])
        exact.append(np.full(len(piece) - 1, not bulge))
    joined = np.concatenate(pieces)
    if (points[0] == points[-1]).all():
        joined[-1] = joined[0]
    return Curve(joined, None, np.concatenate(exact))


def _bulged(start: FloatArray, end: FloatArray, bulge: float, normal: FloatArray) -> _Conic:
    """Return the arc over a chord: its center is (1 - b²) / (4 b) chords to the left of the chord's middle."""
    if not abs(bulge) <= LARGEST_BULGE:
        raise DrawingError("a bulge must make less than a full circle", found=f"{bulge:.3g}")
    center = (start + end) / 2 + np.cross(normal, end - start) * ((1 - bulge**2) / (4 * bulge))
    major = start - center
    return _Conic(center, major, np.cross(normal, major), 0.0, 4 * math.atan(bulge))


# Splines


def _spline(entity: Any, placing: Placing, budget: Budget) -> Curve:  # noqa: ANN401
    """Return chords of a B-spline; an affine change of the control points is the same change of the curve.

    scipy runs over the knots that a spline is defined between; ezdxf's own chords go on over the outer knots, which
    leaves the curve where the spline is not clamped.
    """
    control, fit = (
        np.array(list(points), dtype=float).reshape(-1, 3) for points in (entity.control_points, entity.fit_points)
    )
    for points in (control, fit):
        if not np.isfinite(points).all():
            raise DrawingError("a coordinate must be finite", found=str(float(points[~np.isfinite(points)][0])))
    if len(control) == 0 and (len(fit) <= 2 or len(fit) > _MOST_FIT_POINTS or (fit == fit[0]).all()):
        # Too many points to solve for are dense enough to be chords; those at one place make no curve.
        return Curve(placed(fit, placing), None, exact=len(fit) == 2)
    from scipy.interpolate import BSpline

    knots, weights, degree = np.array(entity.knots), np.array(entity.weights), int(value_of(entity, "degree", 3))
    try:
        if len(control) == 0 or len(knots) == 0:
            made = entity.construction_tool()
            control = np.array([point.xyz for point in made.control_points]).reshape(-1, 3)
            knots, weights, degree = np.array(made.knots()), np.array(made.weights()), int(made.degree)
        weights = weights / weights.max() if len(weights) else np.ones(len(control))
        curve = BSpline(knots, np.column_stack((placed(control, placing) * weights[:, None], weights)), degree)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise DrawingError("this is no spline", found=str(error)[:80]) from error
    if len(knots) != len(control) + degree + 1 or not (weights > 0).all():
        found = f"{len(knots)} knots for {len(control)} control points, or a weight that is not above 0"
        raise DrawingError("this is no spline", found=found)
    inner = np.unique(knots[degree : len(knots) - degree])
    # Twice as many pieces as the degree leave no inflection for which three looks at a piece would not be enough.
    share = np.linspace(0, 1, 2 * degree, endpoint=False) if degree > 1 else np.zeros(1)
    parameters = np.append((inner[:-1, None] + np.diff(inner)[:, None] * share).ravel(), inner[-1])

    def at(where: FloatArray) -> FloatArray:
        values: FloatArray = curve(where)
        return values[:, :3] / values[:, 3:]

    return Curve(chords(at, parameters, budget), None, exact=False)


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
        within the tolerance of its chord.

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
    tolerance = max(budget.tolerance, _FINEST * float(np.ptp(points, axis=0).max()))
    waiting = np.ones(len(at) - 1, dtype=bool)
    while waiting.any():
        first = np.flatnonzero(waiting)
        start, step = at[first], at[first + 1] - at[first]
        chord = points[first + 1] - points[first]
        size = np.linalg.norm(chord, axis=1, keepdims=True)
        along = np.divide(chord, size, out=np.zeros_like(chord), where=size > 0)
        between = [curve(start + step * share) for share in (0.25, 0.5, 0.75)]
        offsets = np.array(between) - points[first]
        across = offsets - (offsets * along).sum(axis=2, keepdims=True) * along
        halved = np.linalg.norm(across, axis=2).max(axis=0) > tolerance
        budget.take(int(np.count_nonzero(halved)))
        waiting[:] = False
        waiting[first[halved]] = True
        where = first[halved] + 1
        at = np.insert(at, where, (start + step / 2)[halved])
        points = np.insert(points, where, between[1][halved], axis=0)
        waiting = np.insert(waiting, where, True)  # both halves of a piece are to be looked at again
    return points


_READERS: Mapping[str, Callable[[Any, Placing, Budget], Curve | None]] = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _arc,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _light_polyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
    "HELIX": _spline,
}
