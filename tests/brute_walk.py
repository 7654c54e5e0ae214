"""A slow walk along one chain of tracks by sampling, against which property tests hold the exact computation.

It shares nothing with the package but the laws of the subject, and prefers plain code to fast code. SI throughout
(m, kg, N, grades as plain ratios); positions s and h are distances along the route from its origin.

The records
    `Piece`    one track in running order: length, curvature (left positive), ease at both ends, or an easement
    `Chain`    the pieces; vertical-curve length, curve coefficient, lap or open, starting in a berth or at an end
    `Car`, `Loco`, `Train`    vehicles one by one from head to tail

The alignment (s a number or an array; on a lap any s, on an open chain s < 0 is the level straight track behind)
    `railhead(chain, s)`, `summed_curvature(chain, s)`, `compensated(chain, s)`
    `ruling(chain, step)`                      the steepest effective grade at a point, and the stretches that have it
    `ruling_under(chain, length, step)`        the same averaged under a train, and the head's place
    `on_rail(chain, condition)`                the same chain with every rail in one condition

The train
    `walk(chain, train, step)`                 a `Walk`: demand, own weight and pull at every head position
    `Walk.passes(test)`, `.stretches(test)`, `.least(test)`   tests: "stand", "restart", "slip", "hold"
    `Walk.left_at(test, head)`                 what is left of the pull in a test at one place

How far a sample can be trusted
    Positions are sampled every `step`, and wherever a corner of the alignment passes under the end of a block of
    equal vehicles, so between two neighbors everything is smooth. A sampled extreme is a true value of the walk, and
    the true extreme lies beyond it by no more than `shortfall(chain, train, step)`, for the ruling grade under a
    train `shortfall_under(chain, length, step)`: 0 where there are neither vertical curves nor easements. Ends of
    stretches are right to one step: for two lists of stretches use `mismatch(a, b)`, at most 2 steps for each stretch
    and each gap between stretches. On a lap a stretch across the origin is two, one at either end.
    Where the rail changes, both sides count but not the point between: no rail of no length is stood upon.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

Array = NDArray[np.float64]
Stretch = tuple[float, float]
Test = Literal["stand", "restart", "slip", "hold"]

GRAVITY = 9.80665  # m/s², standard acceleration, exact by definition
SAME_GRADE = 1e-9  # two grades nearer than this are one
SAME_PLACE = 1e-9  # two positions nearer than this, m, are one
SAME_VALUE = 1e-12  # two grades or pulls, N, nearer than this differ by rounding, and the first place is told
TOLERANCE = 1e-9  # of the pull, in every comparison of demand with pull


@dataclass(frozen=True)
class Piece:
    """One track. An easement's own curvature is not used: its neighbors decide. `ease` belongs to a curve."""

    length: float
    curvature: float = 0.0
    ease: float = 0.0
    easement: bool = False
    grade: float = 0.0
    rail: str = "clean"


@dataclass(frozen=True)
class Chain:
    """Tracks in running order. `behind` is the rail behind an open origin: that of the first track where None.

    `starting` and `lowest` are what holds of the curve coefficient when starting and, at the least, downhill.
    """

    pieces: tuple[Piece, ...]
    vertical: float = 0.0
    coefficient: float = 0.0
    starting: float = 1.0
    lowest: float = 1.0
    lap: bool = False
    berth: bool = False
    start: float = 0.0
    behind: str | None = None

    @property
    def length(self) -> float:
        return float(track_ends(self)[-1])


@dataclass(frozen=True)
class Car:
    """A car; `lowest` is the rolling resistance when asking whether the train is held back (None: `rolling`)."""

    mass: float
    length: float
    rolling: float
    starting: float
    lowest: float | None = None


@dataclass(frozen=True)
class Loco:
    """A locomotive: its standing and slipping pull, N, by rail condition."""

    mass: float
    length: float
    standing: Mapping[str, float] = field(hash=False)
    slipping: Mapping[str, float] = field(hash=False)


@dataclass(frozen=True)
class Train:
    """Vehicles from head to tail; `together` None is 1 for one locomotive and 0.9 for more."""

    vehicles: tuple[Car | Loco, ...]
    together: float | None = None

    @property
    def length(self) -> float:
        return sum(vehicle.length for vehicle in self.vehicles)

    @property
    def share(self) -> float:
        if self.together is not None:
            return self.together
        return 1.0 if sum(isinstance(vehicle, Loco) for vehicle in self.vehicles) == 1 else 0.9


# ---- the alignment ----


def on_rail(chain: Chain, condition: str) -> Chain:
    """Return the chain with every rail, and the rail behind it, in one condition."""
    return replace(chain, pieces=tuple(replace(piece, rail=condition) for piece in chain.pieces), behind=condition)


@lru_cache(maxsize=64)
def track_ends(chain: Chain) -> Array:
    """Positions where tracks begin and end: one more than there are tracks."""
    return np.concatenate([[0.0], np.cumsum([piece.length for piece in chain.pieces])])


@lru_cache(maxsize=64)
def curvature_sections(chain: Chain) -> list[tuple[float, float, float, float]]:
    """Sections (from, to, curvature at from, curvature at to) in which the unsigned curvature runs evenly."""
    sections = []
    for index, (piece, begin) in enumerate(zip(chain.pieces, track_ends(chain), strict=False)):
        if piece.easement:
            before, after = _curvature_next_to(chain, index - 1), _curvature_next_to(chain, index + 1)
            if before * after < 0:  # from one hand to the other: down to nothing, and up again
                to_nothing = piece.length * abs(before) / (abs(before) + abs(after))
                parts = [(to_nothing, abs(before), 0.0), (piece.length - to_nothing, 0.0, abs(after))]
            else:
                parts = [(piece.length, abs(before), abs(after))]
        elif piece.ease:
            full = abs(piece.curvature)
            parts = [(piece.ease, 0.0, full), (piece.length - 2 * piece.ease, full, full), (piece.ease, full, 0.0)]
        else:
            parts = [(piece.length, abs(piece.curvature), abs(piece.curvature))]
        at = float(begin)
        for width, here, there in parts:
            if width > SAME_PLACE:
                sections.append((at, at + width, here, there))
            at += width
    return sections


def _curvature_next_to(chain: Chain, index: int) -> float:
    """Curvature with which the neighbor of an easement meets it, left positive."""
    if chain.lap:
        index %= len(chain.pieces)
    elif not 0 <= index < len(chain.pieces):
        return 0.0  # an end of the chain counts as straight
    neighbor = chain.pieces[index]
    if neighbor.easement:
        raise ValueError("two easements in a row")
    return 0.0 if neighbor.ease else neighbor.curvature


@lru_cache(maxsize=64)
def vertical_curves(chain: Chain) -> list[tuple[float, float, float]]:
    """Vertical curves (center, length, change of grade); an empty list where they have no length."""
    if chain.vertical == 0:
        return []
    ends = track_ends(chain)
    grades = [piece.grade for piece in chain.pieces]
    first = 0 if chain.lap else 1  # on a lap the last track meets the first (grades[-1]) at the origin
    changes = [
        (float(ends[i]), grades[i] - grades[i - 1])
        for i in range(first, len(grades))
        if abs(grades[i] - grades[i - 1]) > SAME_GRADE
    ]
    centers = [center for center, _ in changes]
    if not centers:
        return []
    if chain.lap:
        bounds = [centers[-1] - chain.length, *centers, centers[0] + chain.length]
    else:
        bounds = [0.0, *centers, chain.length]
    return [
        (center, min(chain.vertical, center - bounds[i], bounds[i + 2] - center), change)
        for i, (center, change) in enumerate(changes)
    ]


def _folded(chain: Chain, s: ArrayLike) -> tuple[Array, Array]:
    """Whole laps and the position within one; on an open chain no laps, and everything behind is the origin."""
    s = np.asarray(s, dtype=float)
    if chain.lap:
        laps = np.floor(s / chain.length)
        return laps, np.clip(s - laps * chain.length, 0.0, chain.length)
    return np.zeros_like(s), np.clip(s, 0.0, chain.length)


def railhead(chain: Chain, s: ArrayLike) -> Array:
    """Height of the rail: the polygon of the grades, each corner rounded by its parabola."""
    _, s = _folded(chain, s)
    rises = [piece.grade * piece.length for piece in chain.pieces]
    z = np.interp(s, track_ends(chain), chain.start + np.concatenate([[0.0], np.cumsum(rises)]))
    for center, length, change in vertical_curves(chain):
        for turn in (-1, 0, 1) if chain.lap else (0,):
            inward = length / 2 - np.abs(s - center - turn * chain.length)  # from the parabola's nearer end
            z = z + np.where(inward > 0, change * inward**2 / (2 * length), 0.0)
    return np.asarray(z)


def summed_curvature(chain: Chain, s: ArrayLike) -> Array:
    """K(s): the angle turned, whichever the hand, radians; it goes on growing lap after lap."""
    laps, s = _folded(chain, s)
    begin, end, here, there = np.array(curvature_sections(chain)).T
    before = np.concatenate([[0.0], np.cumsum((here + there) / 2 * (end - begin))])
    i = np.clip(np.searchsorted(begin, s, side="right") - 1, 0, len(begin) - 1)
    x = s - begin[i]
    return np.asarray(
        laps * before[-1] + before[i] + here[i] * x + (there[i] - here[i]) / (end[i] - begin[i]) * x**2 / 2
    )


def compensated(chain: Chain, s: ArrayLike) -> Array:
    """E(s) = z(s) + C K(s)."""
    return railhead(chain, s) + chain.coefficient * summed_curvature(chain, s)


def _slope(chain: Chain, s: float, inside: float) -> float:
    """dE/ds at s by the formula that holds at `inside`, a place beside s in the same smooth bit of track."""
    if not chain.lap and inside < 0:
        return 0.0
    laps = float(np.floor(inside / chain.length)) if chain.lap else 0.0
    s, inside = s - laps * chain.length, inside - laps * chain.length
    curvature = 0.0
    for begin, end, here, there in curvature_sections(chain):
        if begin <= inside <= end:
            curvature = here + (there - here) * (s - begin) / (end - begin)
    grade = 0.0
    for piece, begin in zip(chain.pieces, track_ends(chain), strict=False):
        if begin <= inside <= begin + piece.length:
            grade = piece.grade
    for center, length, change in vertical_curves(chain):
        for turn in (-1, 0, 1) if chain.lap else (0,):
            middle = center + turn * chain.length
            if middle - length / 2 < inside <= middle:
                grade += change * (s - (middle - length / 2)) / length
            elif middle < inside < middle + length / 2:
                grade -= change * (middle + length / 2 - s) / length
    return grade + chain.coefficient * curvature


def corners(chain: Chain) -> Array:
    """Every place within the chain where the formula of E changes."""
    places = list(track_ends(chain))
    for begin, end, _, _ in curvature_sections(chain):
        places += [begin, end]
    for center, length, _ in vertical_curves(chain):
        places += [center - length / 2, center, center + length / 2]
    array = np.array(places)
    return np.sort(array % chain.length if chain.lap else array)


def _positions(chain: Chain, first: float, step: float, offsets: Sequence[float]) -> Array:
    """Head positions from `first` to the end: every step, and each corner as it passes each offset behind the head."""
    last = chain.length
    places = [np.linspace(first, last, int(np.ceil((last - first) / step)) + 1)[1:-1]]
    for offset in offsets:
        shifted = corners(chain) + offset
        places.append(shifted % last if chain.lap else shifted)
    inner = np.sort(np.concatenate(places))
    inner = inner[(inner > first + SAME_PLACE) & (inner < last - SAME_PLACE)]
    inner = inner[np.diff(inner, prepend=first) > SAME_PLACE]
    return np.concatenate([[first], inner, [last]])


@dataclass(frozen=True)
class Ruling:
    """The steepest effective grade at a point and the stretches (to one step) in which it stands."""

    effective: float
    stretches: tuple[Stretch, ...]


def ruling(chain: Chain, step: float) -> Ruling:
    """The steepest effective grade at a point, each place approached from both sides."""
    s = _positions(chain, 0.0, step, [0.0])
    middle = (s[:-1] + s[1:]) / 2
    slopes = np.array(
        [(_slope(chain, a, m), _slope(chain, b, m)) for a, b, m in zip(s[:-1], s[1:], middle, strict=True)]
    )
    steepest = float(slopes.max())
    return Ruling(steepest, _joined(s, slopes.max(axis=1) >= steepest - SAME_VALUE))


def ruling_under(chain: Chain, length: float, step: float) -> tuple[float, float]:
    """The steepest effective grade averaged under a train of this length, and where its head then is."""
    h = _positions(chain, _first_place(chain, length), step, [0.0, length])
    average = (compensated(chain, h) - compensated(chain, h - length)) / length
    worst = _first(average >= average.max() - SAME_VALUE)
    return float(average[worst]), float(h[worst])


def _first_place(chain: Chain, train_length: float) -> float:
    return min(train_length, chain.length) if chain.berth else 0.0


def _first(marked: NDArray[np.bool_]) -> int:
    return int(np.flatnonzero(marked)[0])


def _joined(points: Array, cells: NDArray[np.bool_]) -> tuple[Stretch, ...]:
    """Runs of marked cells between neighboring points, as stretches."""
    stretches: list[Stretch] = []
    for begin, end, marked in zip(points[:-1], points[1:], cells, strict=True):
        if not marked:
            continue
        if stretches and stretches[-1][1] == begin:
            stretches[-1] = (stretches[-1][0], float(end))
        else:
            stretches.append((float(begin), float(end)))
    return tuple(stretches)


def mismatch(some: Sequence[Stretch], others: Sequence[Stretch]) -> float:
    """Total length, m, that is in one of two lists of stretches but not in the other."""
    edges = sorted({edge for stretch in (*some, *others) for edge in stretch})
    total = 0.0
    for begin, end in pairwise(edges):
        middle = (begin + end) / 2
        inside = [any(a <= middle <= b for a, b in stretches) for stretches in (some, others)]
        total += (end - begin) * (inside[0] != inside[1])
    return total


# ---- the train ----


@dataclass(frozen=True)
class Walk:
    """What was met on the way. Demand and own weight are told at `head`; pulls hold between two neighbors of it.

    `running`, `starting` and `easiest` are the cars' demand with rolling, starting and lowest rolling resistance, each
    with the curve coefficient of its own; `own`, `own_starting` and `own_easiest` are the locomotives' own weight;
    `standing` and `slipping` are their pulls before it is taken off.
    """

    head: Array
    running: Array
    starting: Array
    easiest: Array
    own: Array
    own_starting: Array
    own_easiest: Array
    standing: Array
    slipping: Array

    def _asked_and_given(self, test: Test) -> tuple[Array, Array]:
        """Both ends of every cell: what is asked and what there is to give, each (cells, 2)."""
        ends = np.stack([np.arange(len(self.head) - 1), np.arange(1, len(self.head))], axis=1)
        if test == "hold":  # the train pushes its locomotives down the hill
            return (-self.easiest - self.own_easiest)[ends], np.repeat(self.slipping[:, None], 2, axis=1)
        demand = self.starting if test == "restart" else self.running
        pull = self.slipping if test == "slip" else self.standing
        own = self.own_starting if test == "restart" else self.own
        return demand[ends], pull[:, None] - own[ends]

    def _fails(self, test: Test) -> NDArray[np.bool_]:
        asked, given = self._asked_and_given(test)
        return np.asarray(asked > given + TOLERANCE * np.abs(given))

    def passes(self, test: Test) -> bool:
        """True where the pull is enough everywhere: D ≤ P."""
        return not self._fails(test).any()

    def stretches(self, test: Test) -> tuple[Stretch, ...]:
        """Stretches of head positions in which the pull is not enough."""
        return _joined(self.head, self._fails(test).max(axis=1))

    def least(self, test: Test) -> tuple[float, float]:
        """The least of P - D, N, and where the head is then (the first such place)."""
        asked, given = self._asked_and_given(test)
        left = given - asked
        cell, end = divmod(_first(left <= left.min() + SAME_VALUE), 2)
        return float(left[cell, end]), float(self.head[cell + end])

    def left_at(self, test: Test, head: float) -> float:
        """P - D, N, with the head at a place: straight between two samples, and the least of both sides of a jump."""
        asked, given = self._asked_and_given(test)
        begin, end = self.head[:-1], self.head[1:]
        around = (begin <= head + SAME_PLACE) & (head <= end + SAME_PLACE)
        share = np.clip((head - begin) / np.where(end > begin, end - begin, 1.0), 0.0, 1.0)
        left = given - asked
        return float((left[:, 0] + share * (left[:, 1] - left[:, 0]))[around].min())


def walk(chain: Chain, train: Train, step: float) -> Walk:
    """Take the train along the chain, from its first place to where its head is at the end."""
    offsets = np.concatenate([[0.0], np.cumsum([vehicle.length for vehicle in train.vehicles])])
    block_ends = (
        [0.0]
        + [  # inside a block of equal vehicles one's rear and the next one's front cancel
            offset
            for offset, vehicle, following in zip(offsets[1:], train.vehicles, (*train.vehicles[1:], None), strict=True)
            if isinstance(vehicle, Loco) or vehicle is not following
        ]
    )
    head = _positions(chain, _first_place(chain, train.length), step, block_ends)
    middle = (head[:-1] + head[1:]) / 2
    weight = GRAVITY * np.array([vehicle.mass for vehicle in train.vehicles])

    def lifted(times: float) -> Array:
        """What grade and so much of the curve coefficient need of every vehicle, from the heights of both its ends."""
        bent = replace(chain, coefficient=times * chain.coefficient)
        height = compensated(bent, head[:, None] - offsets)
        return weight * (height[:, :-1] - height[:, 1:]) / np.array([vehicle.length for vehicle in train.vehicles])

    lift, lift_starting, lift_least = lifted(1.0), lifted(chain.starting), lifted(chain.lowest)
    is_car = np.array([isinstance(vehicle, Car) for vehicle in train.vehicles])
    cars = [vehicle for vehicle in train.vehicles if isinstance(vehicle, Car)]
    lowest = [car.rolling if car.lowest is None else car.lowest for car in cars]
    standing, slipping = np.zeros_like(middle), np.zeros_like(middle)
    for vehicle, front, rear in zip(train.vehicles, offsets[:-1], offsets[1:], strict=True):
        if isinstance(vehicle, Loco):
            standing += _weakest(chain, vehicle.standing, middle - front, middle - rear)
            slipping += _weakest(chain, vehicle.slipping, middle - front, middle - rear)
    return Walk(
        head,
        running=lift[:, is_car].sum(axis=1) + sum(weight[is_car] * [car.rolling for car in cars]),
        starting=lift_starting[:, is_car].sum(axis=1) + sum(weight[is_car] * [car.starting for car in cars]),
        easiest=lift_least[:, is_car].sum(axis=1) + sum(weight[is_car] * lowest),
        own=lift[:, ~is_car].sum(axis=1),
        own_starting=lift_starting[:, ~is_car].sum(axis=1),
        own_easiest=lift_least[:, ~is_car].sum(axis=1),
        standing=train.share * standing,
        slipping=train.share * slipping,
    )


def _weakest(chain: Chain, pulls: Mapping[str, float], front: Array, rear: Array) -> Array:
    """The least pull among the rails under any part of a locomotive between `rear` and `front`."""
    ends = track_ends(chain)
    rails = [(float(a), float(b), piece.rail) for a, b, piece in zip(ends, ends[1:], chain.pieces, strict=False)]
    if chain.lap:
        turns = range(int(np.floor(rear.min() / chain.length)), 1)
        rails = [(a + turn * chain.length, b + turn * chain.length, rail) for turn in turns for a, b, rail in rails]
    else:
        rails.insert(0, (-np.inf, 0.0, chain.pieces[0].rail if chain.behind is None else chain.behind))
    least = np.full_like(front, np.inf)
    for begin, end, rail in rails:
        stands_on = np.minimum(front, end) - np.maximum(rear, begin) > SAME_PLACE / 10
        least = np.where(stands_on, np.minimum(least, pulls[rail]), least)
    return least


def _sag(chain: Chain, step: float) -> float:
    """How far E may rise above, or lie below, the chord between two neighboring samples: E″ × (their distance)²/8.

    Samples are a step apart, and never farther than the bent bit of track is long, since its ends are samples too.
    """
    vertical = [abs(change) / length * min(step, length) ** 2 for _, length, change in vertical_curves(chain)]
    level = [
        abs(there - here) / (end - begin) * min(step, end - begin) ** 2
        for begin, end, here, there in curvature_sections(chain)
    ]
    return (max(vertical, default=0.0) + chain.starting * chain.coefficient * max(level)) / 8


def shortfall(chain: Chain, train: Train, step: float) -> float:
    """How far, N, a true extreme of P - D may lie beyond the sampled one."""
    return _sag(chain, step) * sum(2 * vehicle.mass * GRAVITY / vehicle.length for vehicle in train.vehicles)


def shortfall_under(chain: Chain, length: float, step: float) -> float:
    """How far the true ruling grade under a train of this length may lie above the sampled one."""
    return 2 * _sag(chain, step) / length
