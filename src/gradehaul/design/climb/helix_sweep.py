"""Sweeps of round helices: radius against rise per turn, the cars of many powers and rails, and what forbids."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Annotated, Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gradehaul.design.climb.helix import GUARD, HEADROOM_TIE, HelixBuild, clear_height_left
from gradehaul.design.climb.hill import Direction, directions_of, judged_rails, usual_vertical_curve
from gradehaul.errors import DesignError
from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.bench.benched import with_bench
from gradehaul.haulage.demand import TIE
from gradehaul.haulage.resistance import CurveCosts, curve_costs
from gradehaul.haulage.train import Train, build_train
from gradehaul.plan.rail_condition import conditions
from gradehaul.plan.records import Plan
from gradehaul.plan.resolve.stock import MOST_CARS
from gradehaul.quantities.document import AnswerRecord, document
from gradehaul.quantities.si import METER, NEWTON, PERCENT, SI, Meters, Ratio
from gradehaul.track.piecewise import FloatArray

STEEPEST = 0.04
"""Grade beyond which a design is marked, where none is named (common practice: 2 to 3 %, and 4 % at the very most)."""


Chart = Annotated[FloatArray, SI("%", "pct", "grade", 100.0, places=6)]
"""A grade for each design."""


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """The cars of a power on a rail condition for each design.

    They are `exact` where the first train that is not rated lies on the even stretch with all its length. Elsewhere so
    many cars climb for sure, and a longer train may.
    """

    KEYS: ClassVar[str] = "power rail cars exact"

    power: str
    rail: str
    reach: FloatArray
    """Cars before they are rounded down, for smooth lines."""
    exact: NDArray[np.bool_]

    @property
    def cars(self) -> NDArray[np.int_]:
        """The most cars."""
        return np.floor(self.reach).astype(int)


@dataclass(frozen=True, slots=True, eq=False)
class Sweep(AnswerRecord):
    """Designs on a grid, rises per turn down, radii across: arrays of shape (h, r)."""

    HEAD: ClassVar[str] = ""
    KEYS: ClassVar[str] = (
        "radii rises_per_turn=rises grade effective car cars steepest low steep train judged stalled=stalled_train"
    )

    radii: Annotated[FloatArray, METER]
    rises: Annotated[FloatArray, METER]
    grade: Chart
    effective: Chart
    car: str
    cars: tuple[Counted, ...]
    """The cars for each power and rail condition."""
    low_by: Annotated[FloatArray, METER]
    steep_by: Annotated[FloatArray, PERCENT]
    short_by: Annotated[FloatArray, NEWTON]
    """How much the deck above is too low, the grade beyond the most, and the named train's pull short: above 0 where a
    design will not do. A train longer than the even stretch is judged as if all lay there."""
    train: str | None
    judged: tuple[str, ...]
    direction: Direction
    """Which way the train runs over the hill."""
    steepest: Ratio
    two: bool
    """Whether there are two tracks: radii and grades are of the inner then, and trains climb on the outer."""
    nearest: tuple[Meters, Meters] | None = None
    """Radius and rise of the nearest design that works, by the factors of both, where none on the grid does."""

    @property
    def possible(self) -> NDArray[np.bool_]:
        """Where nothing forbids a design."""
        return ~(self.low | self.steep | self.stalled)

    @property
    def low(self) -> NDArray[np.bool_]:
        """Where the deck above is too low."""
        return self.low_by > 0

    @property
    def steep(self) -> NDArray[np.bool_]:
        """Where the grade is beyond the most."""
        return self.steep_by > 0

    @property
    def stalled(self) -> NDArray[np.bool_]:
        """Where the named train does not climb."""
        return self.short_by > 0

    @property
    def stalled_train(self) -> NDArray[np.bool_] | None:
        """Where the named train does not climb, None where none is named."""
        return None if self.train is None else self.stalled

    def to_dict(self) -> dict[str, Any]:
        """Return the sweep as ``--json`` prints it: arrays with a row for each rise per turn, a column for each radius.

        ``cars`` has such an array for each power and rail; ``exact`` is true where no longer train climbs for sure.
        What forbids a design is true in ``low``, ``steep`` or, where a train is named, ``stalled``.
        """
        return {"sweep": document(self), "care": GUARD}


_WIDER, _FINE = 4.0, 60
"""How far beyond a grid without a design the nearest is looked for, as a factor, and on how many radii and rises."""


def sweep(
    radii: ArrayLike,
    rises: ArrayLike,
    build: HelixBuild,
    stock: Plan,
    *,
    turns: float,
    powers: Sequence[str] = (),
    car: str | None = None,
    rails: Sequence[str] = (),
    train: str | None = None,
    judged: Sequence[str] = (),
    direction: Direction | None = None,
    steepest: float = STEEPEST,
    look_further: bool = True,
) -> Sweep:
    """Return what becomes of every radius with every rise per turn, m, of round helices with so many turns.

    On the even stretch of a round helix the effective grade e = h / (2 pi R) + C / R is the same everywhere, so that a
    train on it needs its weight times e and its resistance, in closed form and exactly.

    Cars are counted for `powers`, all where left out, on `rails`, clean and the first film at both ages where left out.
    A `train` must climb on all of the `judged` rails, the first film at both ages where left out, in a direction, that
    of its own plan where left out. Where no design works the nearest that does is looked for, unless that is this call.
    """
    across, down = (np.atleast_1d(np.asarray(values, dtype=np.float64)) for values in (radii, rises))
    if build.straight:
        raise DesignError("a sweep is for round helices only", place="--straight", write="without straight sides")
    if not (turns > 0 and math.isfinite(turns) and (across > 0).all() and (down > 0).all()):
        wrong = "radii, rises per turn and turns must be more than 0"
        raise DesignError(wrong, place="--sweep", write="--sweep 18 40 3 6 --turns 3")
    stock = with_bench(stock)
    film = next(iter(stock.films))
    car = car or next(iter(stock.cars), None)
    powers, rails = powers or tuple(stock.powers), rails or conditions([film])
    judged = tuple(judged) or judged_rails(stock, None)
    pulls = Pulls(stock)
    direction = direction or ("up" if train is None else directions_of(stock)[train])

    turn = 2 * np.pi * across
    grade = down[:, None] / turn
    outer = build.outer(across)
    climb = grade * (turn * turns + build.ease) / (2 * np.pi * outer * turns + build.ease)
    curves = curve_costs(stock.curve_resistance, stock.scale)
    effective, effective_starting = (climb + times * curves.coefficient / outer for times in (1.0, curves.starting))
    vertical = usual_vertical_curve(grade, stock) if build.vertical is None else np.full_like(grade, build.vertical)
    even = 2 * np.pi * outer * turns + build.ease - 2 * np.maximum(build.ease, 0.5 * vertical)

    counted = []
    for power, rail in product(powers, rails):
        locos = [stock.locos[name] for name in stock.powers[power].locos]
        reach, exact = np.zeros(grade.shape), np.ones(grade.shape, dtype=bool)
        if car is not None:
            each = stock.cars[car]
            rolling, starting = (GRAVITY * each.mass * value.value for value in (each.rolling, each.starting))
            own = GRAVITY * sum(loco.mass for loco in locos)
            together = stock.powers[power].together
            stand = together * sum(pulls.standing(loco, rail).value for loco in locos)
            slip = together * sum(pulls.slipping(loco, rail).value for loco in locos)
            tests = ((stand, effective_starting, starting), (stand, effective, rolling), (slip, effective, rolling))
            most = [
                _most_cars(
                    pull * (1 + TIE) - own * steep,
                    GRAVITY * each.mass * steep + resistance,
                    curves.tension * each.length / outer,
                )
                for pull, steep, resistance in tests
            ]
            reach = np.clip(np.minimum.reduce(most), 0, MOST_CARS)
            exact = sum(loco.length for loco in locos) + (np.floor(reach) + 1) * each.length <= even
        counted.append(Counted(power, rail, reach, exact))
    left = clear_height_left(build, np.broadcast_to(across, grade.shape), grade, down[:, None], vertical)
    found = Sweep(
        radii=across,
        rises=down,
        grade=grade,
        effective=grade + curves.coefficient / across,
        car=car or "",
        cars=tuple(counted),
        low_by=(build.clear - HEADROOM_TIE - left) if turns > 1 - 1e-9 else np.full_like(left, -1.0),
        steep_by=grade - steepest * (1 + 1e-9),
        short_by=np.full_like(grade, -1.0)
        if train is None
        else _short_by(
            (climb, outer), (grade, across), curves, pulls, build_train(stock, stock.trains[train]), judged, direction
        ),
        train=train,
        judged=judged,
        direction=direction,
        steepest=steepest,
        two=build.two,
    )
    if found.possible.any() or not look_further:
        return found
    wider = sweep(
        _beyond(across), _beyond(down), build, stock, turns=turns, powers=powers, car=car, rails=rails, train=train,
        judged=judged, direction=direction, steepest=steepest, look_further=False,
    )  # fmt: skip
    return replace(found, nearest=_nearest(found, wider))


def _beyond(values: FloatArray) -> FloatArray:
    """Return values from far below to far above those of a grid."""
    return np.geomspace(values.min() / _WIDER, values.max() * _WIDER, _FINE)


def _nearest(found: Sweep, wider: Sweep) -> tuple[float, float] | None:
    """Return the design of a wider sweep that works and is nearest to a grid, by the logarithms of the two factors."""
    if not wider.possible.any():
        return None

    def off(values: FloatArray, own: FloatArray) -> FloatArray:
        return np.asarray(np.log(values / np.clip(values, own.min(), own.max())))

    far = np.hypot(off(wider.rises, found.rises)[:, None], off(wider.radii, found.radii)[None, :])
    row, column = np.unravel_index(np.argmin(np.where(wider.possible, far, np.inf)), far.shape)
    return float(wider.radii[column]), float(wider.rises[row])


def _most_cars(pull: FloatArray, car: FloatArray, turn: FloatArray) -> FloatArray:
    """Return how many cars a pull moves round an even curve, in parts of one; `turn` is tension's x for each car.

    n cars that need `car` each, N, need n car (e^x - 1) / x with x = n turn, so n = log(1 + turn pull / car) / turn.
    """
    share = np.maximum(pull, 0.0) / car
    with np.errstate(divide="ignore", invalid="ignore"):
        taut: FloatArray = np.where(turn > 0, np.log1p(turn * share) / turn, share)
    return taut


def _short_by(
    up: tuple[FloatArray, FloatArray],
    down: tuple[FloatArray, FloatArray],
    curves: CurveCosts,
    pulls: Pulls,
    train: Train,
    rails: Sequence[str],
    direction: Direction,
) -> FloatArray:
    """Return by how much the pull of a train on the even stretch is short, N; under 0 where it is not.

    `up` and `down` are the grades and radii of the track on which it goes so. Going down its locomotives must also hold
    back what curves and rolling, at their least, do not.
    """
    cars = GRAVITY * sum(count * car.mass for car, count in train.cars)
    locos = GRAVITY * sum(block.mass for block in train.blocks) - cars
    short = []
    for sign in {"up": (1,), "down": (-1,), "both": (1, -1)}[direction]:
        grade, radius = up if sign > 0 else down
        x = curves.tension / radius * train.length  # all of it, wherever its locomotives are
        taut = np.where(x > 0, np.expm1(x) / np.where(x > 0, x, 1.0), 1.0)
        bends = curves.coefficient / radius
        running, starting = (
            locos * steep + (cars * steep + resistance) * taut
            for steep, resistance in (
                (sign * grade + bends, train.rolling),
                (sign * grade + curves.starting * bends, train.starting),
            )
        )
        pushing = (locos + cars) * (grade - curves.lowest * bends) - train.lowest_rolling
        for rail in rails:
            stand = train.together * sum(pulls.standing(loco, rail).value for loco, _ in train.locos)
            slip = train.together * sum(pulls.slipping(loco, rail).value for loco, _ in train.locos)
            short += [np.maximum(running, starting) - stand * (1 + TIE), running - slip * (1 + TIE)]
            if sign < 0:
                short.append(pushing - slip * (1 + TIE))
    return np.asarray(np.maximum.reduce(short))
