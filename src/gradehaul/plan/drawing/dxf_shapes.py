"""The curves of a DXF file as it has them, each in the coordinates of the block it stands in and in drawing units."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.records import FloatArray

_FULL_TURN = math.tau
_NO_SWEEP = 1e-9
"""A sweep, radians, at or under which an arc goes all the way round: its angles were rounded when written."""
_LARGEST_DEGREE = 25
_MOST_FIT_POINTS = 5_000
_CONTROL_FRAME = 16
_CLOSED, _SPLINE_FIT, _SPACE, _MESH = 1, 4, 8, 16 | 64
_EXTRUSION_LIMIT = 1 / 64
"""The arbitrary axis rule of the DXF format: nearer to the z axis than this, the y axis gives the x axis."""


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """Vertices in a row, shape (n, 3), joined by straights and, where a bulge is not 0, by arcs.

    `axes` has the x and y axis of the plane that the bulges turn in, shape (2, 3), None for the plan's own. `whole`
    says that a straight segment is what it seems, not a chord of a curve.
    """

    points: FloatArray
    bulges: FloatArray | None = None
    axes: FloatArray | None = None
    whole: bool = True


@dataclass(frozen=True, slots=True, eq=False)
class Conic:
    """Part of an ellipse: center + cos t · major + sin t · minor, for t from `start` through `sweep`, radians.

    The two half axes are conjugate, not necessarily square to one another: any affine change of an ellipse is the
    same change of its center and half axes.
    """

    center: FloatArray
    major: FloatArray
    minor: FloatArray
    start: float
    sweep: float


@dataclass(frozen=True, slots=True, eq=False)
class Arc:
    """Part of a circle in its block's own plan: center, radius, start and sweep, radians, as numbers."""

    center: tuple[float, float, float]
    radius: float
    start: float
    sweep: float

    def conic(self) -> Conic:
        """Return it as part of an ellipse, which other placings may make of it."""
        major, minor = np.array((self.radius, 0.0, 0.0)), np.array((0.0, self.radius, 0.0))
        return Conic(np.array(self.center), major, minor, self.start, self.sweep)


@dataclass(frozen=True, slots=True, eq=False)
class Spline:
    """A B-spline: control points, shape (n, 3), weights or None, knots, shape (n + degree + 1,), and degree."""

    control: FloatArray
    weights: FloatArray | None
    knots: FloatArray
    degree: int


Shape = Run | Arc | Conic | Spline


def plane(extrusion: Any) -> FloatArray | None:  # noqa: ANN401 - a vector of the library, or None
    """Return the axes of an entity's own coordinates as rows, shape (3, 3), or None where they are the block's.

    Source: the arbitrary axis algorithm of the DXF format, as ezdxf's ``ezdxf/math/ucs.py`` has it.

    Examples
    --------
    >>> plane((0, 0, -1)).tolist()
    [[-1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, -1.0]]
    """
    if extrusion is None:
        return None
    x, y, z = (float(value) for value in extrusion)
    size = math.hypot(x, y, z)
    if not math.isfinite(size):
        raise DrawingError("an extrusion direction must be finite", found=f"({x}, {y}, {z})")
    if size == 0 or (x == 0 and y == 0 and z > 0):  # no direction counts as the usual one
        return None
    third = np.array((x / size, y / size, z / size))
    near = abs(third[0]) < _EXTRUSION_LIMIT and abs(third[1]) < _EXTRUSION_LIMIT
    first = np.cross((0.0, 1.0, 0.0) if near else (0.0, 0.0, 1.0), third)
    first /= math.hypot(*first)
    return np.array((first, np.cross(third, first), third)) + 0.0


def shape_of(entity: Any) -> Shape | None:  # noqa: ANN401 - an entity of the library
    """Return an entity's curve, or None for a type of entity that has none.

    Raises
    ------
    DrawingError
        A coordinate is missing, a radius is negative, or a spline is no spline; without the place. Whether
        coordinates are finite shows when they are known in m.
    """
    reader = _READERS.get(entity.dxftype())
    if reader is None:
        return None
    return reader(entity, entity.dxf.__dict__)


def point_of(values: Mapping[str, Any], name: str) -> tuple[float, float, float]:
    """Return a point of an entity."""
    point = values.get(name)
    if point is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    x, y, z = point.xyz
    return x, y, z


def number_of(values: Mapping[str, Any], name: str, default: float | None = None) -> float:
    """Return a finite number of an entity."""
    number = values.get(name, default)
    if number is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    if not math.isfinite(number):
        raise DrawingError(f"the {name.replace('_', ' ')} must be finite", found=str(number))
    return float(number)


def _strange(values: FloatArray) -> float:
    flat = values.ravel()
    return float(flat[~np.isfinite(flat)][0])


def _check(points: FloatArray) -> None:
    if not np.isfinite(points).all():
        raise DrawingError("a coordinate must be finite", found=str(_strange(points)))


def _line(_entity: Any, values: Mapping[str, Any]) -> Run:  # noqa: ANN401
    # A LINE's extrusion is the direction of its thickness; its ends are in the block's coordinates.
    return Run(np.array((point_of(values, "start"), point_of(values, "end"))))


def _sweep(start: float, end: float) -> float:
    sweep = (end - start) % _FULL_TURN
    return sweep if sweep > _NO_SWEEP else _FULL_TURN


def _round(values: Mapping[str, Any], start: float, sweep: float) -> Arc | Conic:
    center = point_of(values, "center")
    radius = number_of(values, "radius")
    if radius < 0:
        raise DrawingError("a radius must be longer than 0", found=f"{radius:g}")
    axes = plane(values.get("extrusion"))
    if axes is None:
        return Arc(center, radius, start, sweep)
    return Conic(np.array(center) @ axes, radius * axes[0], radius * axes[1], start, sweep)


def _arc(_entity: Any, values: Mapping[str, Any]) -> Arc | Conic:  # noqa: ANN401
    start = math.radians(number_of(values, "start_angle"))
    return _round(values, start, _sweep(start, math.radians(number_of(values, "end_angle"))))


def _circle(_entity: Any, values: Mapping[str, Any]) -> Arc | Conic:  # noqa: ANN401
    return _round(values, 0.0, _FULL_TURN)


def _ellipse(_entity: Any, values: Mapping[str, Any]) -> Conic:  # noqa: ANN401
    center = np.array(point_of(values, "center"))
    major = np.array(point_of(values, "major_axis"))
    axes = plane(values.get("extrusion"))
    normal = np.array((0.0, 0.0, 1.0)) if axes is None else axes[2]
    start = number_of(values, "start_param", 0.0)
    sweep = _sweep(start, number_of(values, "end_param", _FULL_TURN))
    return Conic(center, major, number_of(values, "ratio", 1.0) * np.cross(normal, major), start, sweep)


def _closed(points: FloatArray, bulges: FloatArray | None, closed: bool) -> tuple[FloatArray, FloatArray | None]:
    """Return vertices and bulges with the closing segment where there is one, and without the last bulge else."""
    if bulges is not None and not bulges.any():
        bulges = None
    # Many a closed polyline ends where it began already.
    closed = closed and len(points) > 1 and not (points[0] == points[-1]).all()
    if closed and (len(points) > 2 or bulges is not None):
        return np.concatenate((points, points[:1])), bulges
    return points, bulges if bulges is None else bulges[: max(len(points) - 1, 0)]


def _polyline_run(points: FloatArray, bulges: FloatArray | None, axes: FloatArray | None, closed: bool) -> Run:
    points, bulges = _closed(points, bulges, closed)
    if bulges is not None and not bulges.any():
        bulges = None
    whole = bulges is not None or len(points) <= 2
    return Run(points if axes is None else points @ axes, bulges, None if axes is None else axes[:2], whole)


def _light_polyline(entity: Any, values: Mapping[str, Any]) -> Run:  # noqa: ANN401
    given: FloatArray = entity.lwpoints.values
    points = np.empty((len(given), 3))
    points[:, :2] = given[:, :2]
    points[:, 2] = number_of(values, "elevation", 0.0)
    return _polyline_run(points, given[:, 4].copy(), plane(values.get("extrusion")), bool(_flags(values) & _CLOSED))


def _polyline(entity: Any, values: Mapping[str, Any]) -> Run | None:  # noqa: ANN401
    flags = _flags(values)
    if flags & _MESH:
        return None
    vertices = [vertex.dxf.__dict__ for vertex in entity.vertices]
    if flags & _SPLINE_FIT:  # the corners of the frame are kept beside the curve that was fitted to it
        vertices = [vertex for vertex in vertices if not int(vertex.get("flags", 0)) & _CONTROL_FRAME]
    points = np.array([point_of(vertex, "location") for vertex in vertices]).reshape(-1, 3)
    if flags & _SPACE:
        return _polyline_run(points, None, None, bool(flags & _CLOSED))
    elevation = values.get("elevation")
    if elevation is not None and elevation.z:
        points[:, 2] = elevation.z
    bulges = np.array([float(vertex.get("bulge", 0.0)) for vertex in vertices])
    return _polyline_run(points, bulges, plane(values.get("extrusion")), bool(flags & _CLOSED))


def _flags(values: Mapping[str, Any]) -> int:
    return int(values.get("flags", 0))


def _spline(entity: Any, values: Mapping[str, Any]) -> Run | Spline:  # noqa: ANN401
    control = np.array(entity.control_points.values, dtype=float).reshape(-1, 3)
    fit = np.array(entity.fit_points.values, dtype=float).reshape(-1, 3)
    _check(control)
    _check(fit)
    if len(control) == 0 and (len(fit) <= 2 or len(fit) > _MOST_FIT_POINTS):
        # Too many points to solve for are dense enough to be chords.
        return Run(fit, whole=len(fit) == 2)
    knots, weights = np.array(entity.knots, dtype=float), np.array(entity.weights, dtype=float)
    degree = int(values.get("degree", 3))
    if len(control) == 0 or len(knots) == 0:
        control, knots, weights, degree = _constructed(entity)
    _check_spline(control, knots, weights, degree)
    return Spline(control, weights if len(weights) else None, knots, degree)


def _constructed(entity: Any) -> tuple[FloatArray, FloatArray, FloatArray, int]:  # noqa: ANN401
    """Return control points, knots, weights and degree of a spline that is given by the points it goes through."""
    try:
        curve = entity.construction_tool()
        return (
            np.array([point.xyz for point in curve.control_points]).reshape(-1, 3),
            np.array(curve.knots(), dtype=float),
            np.array(curve.weights(), dtype=float),
            int(curve.degree),
        )
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise DrawingError("its points make no spline", found=str(error)[:80]) from error


def _check_spline(control: FloatArray, knots: FloatArray, weights: FloatArray, degree: int) -> None:
    for wrong, why in (
        (not 1 <= degree <= _LARGEST_DEGREE, f"a degree of {degree}"),
        (len(control) <= degree, f"{len(control)} control points"),
        (len(knots) != len(control) + degree + 1, f"{len(knots)} knots for {len(control)} control points"),
        (not np.isfinite(knots).all(), "a knot that is not finite"),
        (not (np.diff(knots) >= 0).all(), "knots that do not rise"),
        (len(weights) not in {0, len(control)}, f"{len(weights)} weights for {len(control)} control points"),
        (not (np.isfinite(weights) & (weights > 0)).all(), "a weight that is not above 0"),
    ):
        if wrong:
            raise DrawingError("this is no spline", found=why)
    if not knots[degree] < knots[-degree - 1]:
        raise DrawingError("this is no spline", found="knots that do not rise")


_READERS: Mapping[str, Callable[[Any, Mapping[str, Any]], Shape | None]] = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "ELLIPSE": _ellipse,
    "LWPOLYLINE": _light_polyline,
    "POLYLINE": _polyline,
    "SPLINE": _spline,
}
