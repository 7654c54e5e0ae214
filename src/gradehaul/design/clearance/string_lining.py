"""String-lining: the forces along a named train on its route, and whether they tip a car on a curve."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np

from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Loco
from gradehaul.quantities.si import METER, NEWTON, Meters, Share
from gradehaul.track.piecewise import FloatArray

_STEP = 0.25
"""Places of the head lie at most this share of the shortest vehicle apart, and at every break of the profile."""
_AT_ONCE = 2_000_000


@dataclass(frozen=True, slots=True)
class Vehicles:
    """Every vehicle of a train from head to tail: arrays of shape (n,); pull is 0 for cars, resist for locomotives."""

    front: Annotated[FloatArray, METER]
    length: Annotated[FloatArray, METER]
    weight: Annotated[FloatArray, NEWTON]
    resist: Annotated[FloatArray, NEWTON]
    pull: Annotated[FloatArray, NEWTON]


@dataclass(frozen=True, slots=True)
class Tightest:
    """The car nearest to tipping: vehicle counted from the head (1 is the first), and place of the head, m.

    `share` is the tipping moment over what the car's weight holds; `inward` where the string is pulled tight, else it
    is pushed outward. `pull_share` is the share of its pull that each locomotive uses then.
    """

    vehicle: int
    head: Meters
    share: Share
    inward: bool
    pull_share: Share


def vehicles_of(train: Train, pulls: Pulls) -> Vehicles:
    """Return a train vehicle by vehicle, with starting resistance and the standing pulls on clean rail."""
    each = [block.vehicle for block in train.blocks for _ in range(block.count)]
    length = np.array([vehicle.length for vehicle in each])
    weight = np.array([GRAVITY * vehicle.mass for vehicle in each])
    resist = np.array([0.0 if isinstance(v, Loco) else GRAVITY * v.mass * v.starting.value for v in each])
    pull = np.array([pulls.standing(v, CLEAN).value if isinstance(v, Loco) else 0.0 for v in each])
    return Vehicles(np.cumsum(length) - length, length, weight, resist, pull)


def coupler_forces(profile: RouteProfile, vehicles: Vehicles, heads: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the force in every coupling, N, positive where it pulls, shape (heads, n + 1), and the share of the pull.

    Vehicles ahead of a coupling pull those behind it: the force is the sum, over the vehicles ahead, of pull less
    demand. Each locomotive pulls by the same share of what it can, shape (heads,), and all together meet the demand of
    the whole train, so the force is 0 at both ends.
    """
    behind = profile.with_track_behind(float(vehicles.length.sum()))
    edges = np.append(vehicles.front, vehicles.front[-1] + vehicles.length[-1])
    heights = behind.continued(heads[:, None] - edges)
    demand = vehicles.weight * (heights[:, :-1] - heights[:, 1:]) / vehicles.length + vehicles.resist
    share = demand.sum(axis=1) / vehicles.pull.sum()
    spare = share[:, None] * vehicles.pull - demand
    return np.concatenate([np.zeros((heads.size, 1)), np.cumsum(spare, axis=1)], axis=1), share


def tightest(
    profile: RouteProfile, train: Train, pulls: Pulls, *, gauge: float, coupler: float, start: float = 0.0
) -> Tightest | None:
    """Return the car of a train that is nearest to tipping on a route, None where no car meets a curve.

    The inward force on a car on a curve is (front + rear force) × sin(θ/2), where sin(θ/2) = length / (2 radius) [1]_;
    the radius is the mean under the car. It tips about the inner rail where that force at coupler height is more than
    its weight at half the gauge. Locomotives are left out. Statics: no speed, no lurch, starting resistance, drawbars
    that follow the track.

    References
    ----------
    .. [1] Statics: two forces along chords of a circle.
    """
    vehicles = vehicles_of(train, pulls)
    cars = vehicles.pull == 0
    if not cars.any():
        return None
    first, last = profile.first_head(train.length), profile.length
    count = int(np.ceil((last - first) / (_STEP * vehicles.length.min()))) + 1
    heads = np.unique(np.concatenate([np.linspace(first, last, count), profile.effort.breaks]))
    heads = heads[(heads >= first) & (heads <= last)]
    edges = np.append(vehicles.front, vehicles.front[-1] + vehicles.length[-1])
    bends = profile.bends.with_track_behind(train.length)
    best: Tightest | None = None
    rows = max(1, _AT_ONCE // edges.size)
    for begin in range(0, heads.size, rows):
        some = heads[begin : begin + rows]
        force, pull_share = coupler_forces(profile, vehicles, some)
        both = force[:, :-1] + force[:, 1:]
        turned = bends.continued(some[:, None] - edges)
        sine = np.minimum(np.abs(turned[:, :-1] - turned[:, 1:]) / 2, 1.0)
        share = np.abs(both) * sine * coupler / (vehicles.weight * gauge / 2)
        share[:, ~cars] = 0.0
        row, car = np.unravel_index(int(np.argmax(share)), share.shape)
        if share[row, car] > (best.share if best else 0.0):
            best = Tightest(
                int(car) + 1,
                float(some[row]) + start,
                float(share[row, car]),
                bool(both[row, car] > 0),
                float(pull_share[row]),
            )
    return best
