"""The curves of a DXF file: arcs where they are arcs in the plan, chords elsewhere; all in one unit, then in m."""

from __future__ import annotations

import itertools
import math
from array import array
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.blocks import Item
from gradehaul.plan.drawing.dxf.entities import Entity, Point, hand_of, handle_of, number_of, point_of, value_of
from gradehaul.plan.drawing.fitting.free import MOST, arc_pairs
from gradehaul.plan.drawing.records import FLAT, LARGEST, LARGEST_BULGE, Fault, FloatArray, IntArray, Spot, Stroke

MOST_POINTS = 5_000_000
"""The most points that the curves of one drawing may have."""
SHORTEST = 1e-6
"""The plan length, m, under which a segment counts as having none."""

_COARSEST = 1 / 200
"""As a share of how wide or high a curve is: chords of a small circle so far off turn by 16 degrees, not by corners."""
_NOISE = 1e-3
"""In tolerances: chords keep no nearer than this to the smallest curves, as figures far from the origin are coarse."""
_FINEST = 1e-7
"""Chords keep no nearer to their curve than this share of its size: a circle has some 7,000 of them at the most."""
_ROUND = 1e-6
"""How far the half axes of a circle may differ from one another and from square, as a share."""
_NO_SWEEP = 1e-9
"""A sweep, radians, at or under which an arc goes all the way round: its angles were rounded when written."""
_UPRIGHT = 1e-6
"""How narrow an ellipse may be in the plan, as a share of its length: under this it is a circle seen on edge."""
_LOOKS = 4
"""In how many parts of each pair of arcs it is seen how far it lies from its ellipse."""
_MOST_FIT_POINTS = 5_000
_MORE, _PARTS = 1.2, 256
"""By how much more a piece is divided than its sagitta asks, as curvature differs along it; into how many at most."""
_CLOSED, _SPLINE_FIT, _SPACE, _MESH, _CONTROL_FRAME = 1, 4, 8, 16 | 64, 16


@dataclass(slots=True)
class Budget:
    """How near chords keep to their curves, in drawing units, and how many more points there may be."""

    tolerance: float
    points: int = MOST_POINTS

    def take(self, count: int) -> None:
        """Take points from the budget."""
        self.points -= count
        if self.points < 0:
            raise OverflowError

    def nearness(self, size: float) -> float:
        """Return how near to a curve of a size what stands for it keeps."""
        return max(min(self.tolerance, _COARSEST * size), _NOISE * self.tolerance, _FINEST * size)


class Curve(NamedTuple):
    """A curve in drawing units: vertices, shape (n, 3), bulges, shape (n - 1,), or None where all are 0.

    `exact` says whether its segments are the curve itself and not chords of it.
    """

    points: Sequence[Point] | FloatArray
    bulges: Sequence[float] | None
    exact: bool


def curve_of(entity: Entity, budget: Budget) -> Curve | None:
    """Return the curve of one of the types `CURVES` in the model space, None for a polyline that is a mesh.

    Raises
    ------
    DrawingError
        A coordinate is missing, a radius is negative, a curve stands upright, or a spline is no spline; without the
        place. Whether coordinates are finite shows when they are known in m.
    OverflowError
        The budget of points is spent.
    """
    kind = entity.dxftype()
    if kind == "LINE":  # its extrusion is the direction of its thickness
        return Curve((point_of(entity, "start"), point_of(entity, "end")), None, exact=True)
    if kind in {"ARC", "CIRCLE"}:
        return _arc(entity)
    if kind == "ELLIPSE":
        return _ellipse(entity, budget)
    return _spline(entity, budget) if kind in {"SPLINE", "HELIX"} else _polyline(entity, budget)


# Circles and ellipses


def _sweep(start: float, end: float) -> float:
    sweep = (end - start) % math.tau
    return sweep if sweep > _NO_SWEEP else math.tau


def _arc(entity: Entity) -> Curve:
    """Return an ARC or a CIRCLE."""
    start, sweep = 0.0, math.tau
    if entity.dxftype() == "ARC":
        start = math.radians(number_of(entity, "start_angle"))
        sweep = _sweep(start, math.radians(number_of(entity, "end_angle")))
    (x, y, z), radius = point_of(entity, "center"), number_of(entity, "radius")
    if radius < 0:
        raise DrawingError("a radius must be more than 0", found=f"{radius:g}")
    hand = hand_of(entity)
    return _arcs((hand * x, y, hand * z), (hand * radius, 0.0), (0.0, radius), start, sweep)


def _arcs(center: Point, major: tuple[float, float], minor: tuple[float, float], start: float, sweep: float) -> Curve:
    """Return part of a circle as one arc, or as two where it turns by more than a half circle.

    Its points are center + cos t · major + sin t · minor, for t from `start` through `sweep`, radians.
    """
    pieces = 1 if sweep <= math.pi + _NO_SWEEP else 2  # half a circle at any angle is one
    (x, y, z), (ux, uy), (vx, vy) = center, major, minor
    rows = []
    for number in range(pieces + 1):
        cos, sin = math.cos(start + sweep * number / pieces), math.sin(start + sweep * number / pieces)
        rows.append((x + cos * ux + sin * vx, y + cos * uy + sin * vy, z))
    if sweep == math.tau:
        rows[-1] = rows[0]
    bulge = math.copysign(math.tan(sweep / pieces / 4), ux * vy - uy * vx)
    return Curve(rows, [bulge] * pieces, exact=True)


def _ellipse(entity: Entity, budget: Budget) -> Curve:
    """Return an ELLIPSE as arcs: one or two where it is round in the plan within the tolerance, else pairs of them.

    The arcs are tangents of one another and keep to the ellipse as chords would, but are far fewer.
    """
    start = number_of(entity, "start_param", 0.0)
    sweep = _sweep(start, number_of(entity, "end_param", math.tau))
    center, major = point_of(entity, "center"), point_of(entity, "major_axis")
    minor = entity.minor_axis.xyz
    if not math.isfinite(sum((*center, *major, *minor))):
        raise DrawingError("a coordinate must be finite", found="one that is not")
    axes = np.array((major, minor))
    long, short = np.linalg.svd(axes[:, :2], compute_uv=False).tolist()
    if short <= _UPRIGHT * long:
        raise DrawingError("a curve must not stand upright", write="it flat, or on another layer")
    near = budget.nearness(long)
    if long - short <= max(2 * near, _ROUND * long) and np.abs(axes[:, 2]).sum() <= _ROUND * long:
        return _arcs(center, major[:2], minor[:2], start, sweep)
    angles = start + np.linspace(0, sweep, math.ceil(sweep / math.pi * 2 - _NO_SWEEP) + 1)
    while True:
        looked = divided(angles, np.full(len(angles) - 1, _LOOKS))
        cosine, sine = np.cos(looked), np.sin(looked)
        points = np.column_stack((cosine, sine)) @ axes
        along = np.column_stack((-sine, cosine)) @ axes[:, :2]
        steps = np.hypot(*np.diff(points[:, :2], axis=0).T).reshape(-1, _LOOKS).sum(axis=1)
        scale, at = MOST / near, np.arange(0, len(points), _LOOKS)
        arcs, miss = arc_pairs(points[:, :2] * scale, np.arctan2(along[:, 1], along[:, 0]), at)
        high = points[at, 2]
        sag = np.abs(points[at[:-1] + _LOOKS // 2, 2] - (high[:-1] + high[1:]) / 2)
        wrong = np.maximum(miss / MOST, sag / near) * (steps > near)
        if not (wrong > 1).any():
            break
        parts = np.where(wrong > 1, np.clip(np.ceil(np.cbrt(_MORE * wrong)), 2, _LOOKS), 1).astype(np.int64)
        budget.take(int(parts.sum()))
        angles = divided(angles, parts)
    rows = np.empty((len(arcs.start) + 1, 3))
    rows[:-1, :2], rows[-1] = arcs.start[:, :2] / scale, points[-1] if sweep < math.tau else points[0]
    rows[:-1:2, 2], rows[1::2, 2] = high[:-1], (high[:-1] + high[1:]) / 2
    return Curve(rows + np.array(center), np.tan(arcs.curvature * arcs.length / 4).tolist(), exact=True)


# Polylines


def _polyline(entity: Entity, budget: Budget) -> Curve | None:
    """Return the vertices of a polyline with the segment that closes it, joined by straights and arcs."""
    flags = int(value_of(entity, "flags", 0))
    if entity.dxftype() == "LWPOLYLINE":
        high = number_of(entity, "elevation", 0.0)
        rows = [(x, y, high, bulge) for x, y, bulge in entity.get_points("xyb")]
    else:
        if flags & _MESH:
            return None
        vertices = list(entity.vertices)
        if flags & _SPLINE_FIT:  # the corners of the frame are kept beside the curve that was fitted to it
            vertices = [vertex for vertex in vertices if not int(value_of(vertex, "flags", 0)) & _CONTROL_FRAME]
        rows = [(*point_of(vertex, "location"), float(value_of(vertex, "bulge", 0.0))) for vertex in vertices]
        elevation = value_of(entity, "elevation")
        if elevation is not None and elevation.z and not flags & _SPACE:
            rows = [(x, y, elevation.z, bulge) for x, y, _, bulge in rows]
    own = np.array(rows, dtype=float).reshape(-1, 4)
    points, bulges = own[:, :3], own[:, 3]
    budget.take(len(own))
    # Many a closed polyline ends where it began already.
    if flags & _CLOSED and len(own) > 1 and (points[0] != points[-1]).any():
        points = np.concatenate((points, points[:1]))
    bulges = np.zeros(0) if flags & _SPACE else bulges[: max(len(points) - 1, 0)]
    hand = 1 if flags & _SPACE and entity.dxftype() == "POLYLINE" else hand_of(entity)
    if hand != 1:
        points = np.array([point.xyz for point in entity.ocs().points_to_wcs(points)]).reshape(-1, 3)
    if not bulges.any():
        return Curve(points, None, exact=len(points) <= 2)
    return Curve(points, (hand * bulges).tolist(), exact=True)


# Splines


def _spline(entity: Entity, budget: Budget) -> Curve:
    """Return chords of a B-spline.

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
        return Curve(fit, None, exact=len(fit) == 2)
    from scipy.interpolate import BSpline

    knots, weights, degree = np.array(entity.knots), np.array(entity.weights), int(value_of(entity, "degree", 3))
    try:
        if len(control) == 0 or len(knots) == 0:
            made = entity.construction_tool()
            control = np.array([point.xyz for point in made.control_points]).reshape(-1, 3)
            knots, weights, degree = np.array(made.knots()), np.array(made.weights()), int(made.degree)
        weights = weights / weights.max() if len(weights) else np.ones(len(control))
        curve = BSpline(knots, np.column_stack((control * weights[:, None], weights)), degree)
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        raise DrawingError("this is not a spline", found=str(error)[:80]) from error
    if len(knots) != len(control) + degree + 1 or not (weights > 0).all():
        found = f"{len(knots)} knots for {len(control)} control points, or a weight that is not above 0"
        raise DrawingError("this is not a spline", found=found)
    inner = np.unique(knots[degree : len(knots) - degree])
    # Twice as many pieces as the degree leave no inflection for which three looks at a piece would not be enough.
    share = np.linspace(0, 1, 2 * degree, endpoint=False) if degree > 1 else np.zeros(1)
    parameters = np.append((inner[:-1, None] + np.diff(inner)[:, None] * share).ravel(), inner[-1])

    def at(where: FloatArray) -> FloatArray:
        values: FloatArray = curve(where)
        return values[:, :3] / values[:, 3:]

    return Curve(chords(at, parameters, budget), None, exact=False)


def chords(curve: Callable[[FloatArray], FloatArray], at: FloatArray, budget: Budget) -> FloatArray:
    """Return points along a curve, shape (m, 3), whose chords keep to it within the budget's tolerance.

    `curve` makes points of parameters, which begin with `at`, rising or falling, shape (n,). Pieces are divided until
    the curve at a quarter, a half and three quarters of each is within the tolerance of its chord; into so many at once
    as the square law of the sagitta asks for.

    Examples
    --------
    >>> circle = lambda at: np.column_stack((np.cos(at), np.sin(at), 0 * at))
    >>> points = chords(circle, np.linspace(0, np.pi, 5), Budget(tolerance=2e-5))
    >>> sagitta = 1 - np.cos(np.pi / (len(points) - 1) / 2)
    >>> len(points), bool(sagitta < 2e-5)
    (273, True)
    """
    points = curve(at)
    budget.take(len(points))
    tolerance = budget.nearness(float(np.ptp(points, axis=0).max()))
    waiting = np.ones(len(at) - 1, dtype=bool)
    while waiting.any():
        own, step = np.flatnonzero(waiting), np.diff(at)
        chord = points[own + 1] - points[own]
        size = np.linalg.norm(chord, axis=1, keepdims=True)
        along = np.divide(chord, size, out=np.zeros_like(chord), where=size > 0)
        between = curve((at[own] + step[own] * np.array([[0.25], [0.5], [0.75]])).ravel())
        offsets = between.reshape(3, -1, 3) - points[own]
        across = offsets - (offsets * along).sum(axis=2, keepdims=True) * along
        sagitta = np.linalg.norm(across, axis=2).max(axis=0)
        parts = np.ones(len(step), dtype=np.int64)
        parts[own] = np.where(sagitta > tolerance, np.minimum(np.ceil(np.sqrt(_MORE * sagitta / tolerance)), _PARTS), 1)
        waiting = np.repeat(parts > 1, parts)  # the parts are to be looked at again
        if not waiting.any():
            break
        budget.take(len(waiting) - len(parts))
        at = divided(at, parts)
        points = curve(at)
    return points


def divided(at: FloatArray, parts: IntArray) -> FloatArray:
    """Return parameters, shape (n,), with each step between two of them in so many equal parts, shape (n - 1,)."""
    first = np.cumsum(parts) - parts
    share = (np.arange(parts.sum()) - np.repeat(first, parts)) / np.repeat(parts, parts)
    return np.append(np.repeat(at[:-1], parts) + share * np.repeat(np.diff(at), parts), at[-1])


# Strokes


@dataclass(slots=True, eq=False)
class Curves:
    """Curves in drawing units, all in a few columns: so many small records would keep Python's collector busy."""

    points: array[float] = field(default_factory=lambda: array("d"))
    bulges: array[float] = field(default_factory=lambda: array("d"))
    """Of the segment that begins at each point, 0 at the last of a curve."""
    ends: list[int] = field(default_factory=list)
    """How many points there are up to the end of each."""
    exact: list[bool] = field(default_factory=list)
    origins: list[str] = field(default_factory=list)
    """The handle of the entity of the file that each shows, and its type."""
    kinds: list[str] = field(default_factory=list)
    layers: list[str] = field(default_factory=list)
    handles: list[str] = field(default_factory=list)

    def add(self, curve: Curve, item: Item) -> None:
        """Take one more; straight there and straight back are two, of which the linking names one as drawn again."""
        if len(curve.points) == 3 and not curve.bulges and tuple(curve.points[0]) == tuple(curve.points[2]):
            for ends in (curve.points[:2], curve.points[1:]):
                self.add(Curve(ends, None, exact=True), item)
            return
        if isinstance(curve.points, np.ndarray):
            self.points.frombytes(np.ascontiguousarray(curve.points).tobytes())
        else:
            self.points.extend(chain.from_iterable(curve.points))
        self.bulges.extend(curve.bulges or ())
        self.ends.append(len(self.points) // 3)
        self.bulges.frombytes(bytes(8 * (self.ends[-1] - len(self.bulges))))
        self.exact.append(curve.exact)
        self.origins.append(handle_of(item.origin))
        self.kinds.append(item.origin.dxftype())
        self.layers.append(item.layer)
        self.handles.append(item.handle)


def strokes_of(
    curves: Curves, scale: float, shown: Callable[[str], str], wrong: Callable[[str, str, str, DrawingError], None]
) -> tuple[list[Stroke], list[Fault]]:
    """Return curves in drawing units as strokes in m, and what was left out of them.

    All are checked at once: numpy costs about a microsecond a call however little it is given, so checking them one by
    one would take longer than reading the file.

    `scale` is the drawing's unit, m; `shown` returns the name of a layer in readable characters; `wrong` takes the type
    and handle of an entity that cannot be used, its layer, and why.
    """
    if not curves.ends:
        return [], []
    points = np.array(curves.points).reshape(-1, 3) * scale
    plan, high = np.ascontiguousarray(points[:, :2]), np.ascontiguousarray(points[:, 2])
    bulges = np.array(curves.bulges)
    lengths = np.append(np.hypot(*np.diff(plan, axis=0).T), 1.0)
    lengths[[end - 1 for end in curves.ends if end]] = 1.0
    fair = (np.abs(points) <= LARGEST).all(axis=1) & (lengths >= SHORTEST)
    fair &= (np.abs(bulges) <= LARGEST_BULGE) & (_radii(lengths, bulges) <= LARGEST)
    unfair, raised = (np.concatenate(((0,), np.cumsum(each))).tolist() for each in (~fair, np.abs(high) > FLAT))
    strokes: list[Stroke] = []
    faults: list[Fault] = []
    sources = curves.exact, curves.kinds, curves.origins, curves.layers, curves.handles
    for (first, end), exact, kind, origin, layer, handle in zip(
        itertools.pairwise((0, *curves.ends)), *sources, strict=True
    ):
        heights = high[first:end] if raised[end] > raised[first] else None
        turns = bulges[first : max(end - 1, first)]
        stroke = Stroke(handle, shown(layer), kind, plan[first:end], turns, exact, heights)
        if end - first < 2 or unfair[end] > unfair[first]:
            try:
                mended, fault = _mended(stroke, points[first:end])
            except DrawingError as error:
                wrong(kind, origin, layer, error)
                continue
            faults += [fault] if fault else []
            if mended is None:
                continue
            stroke = mended
        strokes.append(stroke)
    return strokes, faults


def _radii(chords: FloatArray, bulges: FloatArray) -> FloatArray:
    """Return the radii over chords, m, 0 for straights: chord (1 + b²) / (4 b) (plane geometry)."""
    return np.where(bulges == 0, 0.0, chords * (1 + bulges**2) / (4 * np.abs(bulges)))


def _mended(stroke: Stroke, points: FloatArray) -> tuple[Stroke | None, Fault | None]:
    """Return a stroke without its segments without length, None where it has no other, with a word on them.

    Where the radius of a bulge is past `LARGEST` and its rise over the chord, b chord / 2, is under `SHORTEST`, it is
    made straight.

    Raises
    ------
    DrawingError
        A coordinate, a radius or a bulge is not finite or past its limit; without the place.
    """
    for values, what in ((points, "coordinate"), (stroke.bulges, "bulge")):
        if not np.isfinite(values).all():
            raise DrawingError(f"a {what} must be finite", found=str(float(values[~np.isfinite(values)][0])))
    if len(points) and float(np.abs(points).max()) > LARGEST:
        raise DrawingError(
            f"a coordinate must be within {LARGEST / 1e3:,.0f} km",
            found=f"{float(np.abs(points).max()):.3g} m",
            write="the right unit, or draw it nearer to the origin",
        )
    lengths = np.hypot(*np.diff(stroke.points, axis=0).T)
    kept: NDArray[np.bool_] = lengths >= SHORTEST
    dropped = len(kept) - int(np.count_nonzero(kept))
    at = Spot(*stroke.points[0].tolist()) if len(points) else None
    if not kept.any():
        text = f"{stroke.kind} without length, left out"
        return None, Fault("zero-length", text, at, stroke.handle, stroke.layer)
    # The last vertex stays where it is, so that what is closed stays closed.
    vertices = np.append(kept, True)
    vertices[np.flatnonzero(kept)[-1] + 1 : -1] = False
    lengths, bulges, heights = lengths[kept], stroke.bulges[kept], stroke.heights
    if float(np.abs(bulges).max()) > LARGEST_BULGE:
        raise DrawingError("a bulge must make less than a full circle", found=f"{float(np.abs(bulges).max()):.3g}")
    radii = _radii(lengths, bulges)
    wide = radii > LARGEST
    if (np.abs(bulges * lengths / 2)[wide] > SHORTEST).any():
        found = f"{float(radii[wide].max()):.3g} m"
        raise DrawingError(f"a radius must be within {LARGEST / 1e3:,.0f} km", found=found, write="a straight line")
    text = f"{stroke.kind} with {dropped} segments without length, left out"
    own = replace(
        stroke,
        points=stroke.points[vertices],
        bulges=np.where(wide, 0.0, bulges),
        heights=None if heights is None else heights[vertices],
    )
    return own, Fault("zero-length", text, at, stroke.handle, stroke.layer, dropped) if dropped else None
