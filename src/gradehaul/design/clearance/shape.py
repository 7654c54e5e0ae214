"""What curves and grades do to stock: radius, changes of grade, opposite curves too near together, string-lining."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from itertools import pairwise
from typing import Annotated

import numpy as np

from gradehaul.design.clearance.rules import TIE, Finding, Standard, figures
from gradehaul.haulage.adhesion import GRAVITY, Pulls
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.stretches import grade_stretches
from gradehaul.haulage.train import Train
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.plan.rail_condition import CLEAN
from gradehaul.plan.records import Loco, Plan, Track
from gradehaul.quantities.si import METER, NEWTON, Meters, Ratio, Share
from gradehaul.scales import LONGEST_CAR
from gradehaul.track.alignment import Alignment
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import FloatArray, join


def radii(plan: Plan, standard: Standard) -> Iterator[Finding]:
    """Judge the radius of every curve: by NEM 111 where it has the scale, and over the length of the longest stock.

    NEM 111 is the law of the practice NEM; under another practice what is sharper is to be looked at.
    """
    rule = figures()["radius_over_length"]
    for track in plan.tracks.values():
        if track.kind != "curve":
            continue
        radius = 1.0 / abs(track.curvature)
        if plan.scale.permitted_radii is not None and standard.longest is not None:
            group = standard.spacing.group
            number = "ABC".index(group)
            least = plan.scale.permitted_radii[number]
            main = plan.scale.branch_radii[number] if plan.scale.branch_radii else least
            touching = plan.scale.buffer_radii[number] / plan.scale.gauge if plan.scale.buffer_radii else 0.0
            yield Finding(
                "radius",
                track.id,
                0.0,
                radius,
                main,
                least,
                f"{plan.scale.source('permitted_radii')}; where side buffers touch: {touching:.0f} gauges",
                words=f"stock of group {group}",
                worst="fail" if plan.practice == "NEM" else "look",
            )
        if standard.longest is not None:
            wanted, least = (rule[key] * standard.longest for key in ("passes", "fails"))
            yield Finding(
                "radius",
                track.id,
                0.0,
                radius,
                wanted,
                least,
                rule["source"],
                words=f"{radius / standard.longest:.2f} lengths of the longest stock",
            )


def grade_changes(alignment: Alignment, standard: Standard) -> Iterator[Finding]:
    """Judge every change of grade by the length over which it happens, against that of practice.

    It passes where the vertical curve has the practice's length. It never fails: how sharp a break couplers and driven
    wheels still take depends on shapes that no plan has.
    """
    rule = figures()["grade_change"]
    each = standard.longest or LONGEST_CAR / alignment.plan.scale.ratio
    for track, at, length, change, onto in _changes(alignment):
        wanted, words = each * abs(change) / 0.01, f"the grade changes by {100 * change:+.2f} %"
        yield Finding("change of grade", track, at, length, wanted, 0.0, rule["source"], words=words, onto=onto)


def _changes(alignment: Alignment) -> Iterator[tuple[str, Meters, Meters, Ratio, str | None]]:
    """Yield every change of grade: its track and place, over which length, how much, and onto what in a turnout."""
    plan = alignment.plan
    for chain in alignment.chains:
        order = [(alignment.tracks[track.id], forward) for track, forward in chain.tracks(plan)]
        pieces = [track.railhead if forward else track.railhead.reverse() for track, forward in order]
        start = np.concatenate([[0.0], np.cumsum([piece.stop for piece in pieces])])
        grades = [*grade_stretches(join(pieces))]
        kinks = [(two.start, two.start, two.first - one.last) for one, two in pairwise(grades)]
        found = [(each.start, each.stop, each.last - each.first) for each in grades if each.vertical_curve]
        found = sorted([*found, *(kink for kink in kinks if abs(kink[2]) > UNCHANGED)])
        if chain.closed:
            kink = float(pieces[0].slopes[0] + pieces[-1].reverse().slopes[0])
            if abs(kink) > UNCHANGED:
                found.append((0.0, 0.0, kink))
        for begin, stop, change in found:
            middle = 0.5 * (begin + stop)
            number = min(int(np.searchsorted(start[1:], middle - 1e-9)), len(order) - 1)
            track, forward = order[number]
            at = float(middle - start[number])
            yield track.id, at if forward else track.length - at, stop - begin, change, None
    for joint in plan.joints.values():
        if joint.kind in ("end", "plain"):
            continue
        for one, other in joint.through:
            slope, met = [], []
            for end in (one, other):
                tracks = plan.lines[end.line].tracks
                met.append(tracks[0] if end.end == "from" else tracks[-1])
                railhead = alignment.tracks[met[-1].id].railhead
                piece = railhead if end.end == "from" else railhead.reverse()
                slope.append(float(piece.slopes[0]))
            if abs(slope[0] + slope[1]) > UNCHANGED:
                own, onto = met
                yield own.id, 0.0 if one.end == "from" else own.length, 0.0, slope[0] + slope[1], onto.id


def reverse_curves(plan: Plan, graph: MovementGraph, standard: Standard) -> Iterator[Finding]:
    """Judge curves of opposite hand that follow one another: the straight between against the longest stock.

    Where an easement carries the curvature over it is to be looked at; without straight or easement it fails where
    the sharper radius is under 3 lengths of the longest stock, and is to be looked at else.
    """
    if standard.longest is None:
        return
    rule = figures()["reverse_curve"]
    tracks = plan.tracks
    known: set[frozenset[Way]] = set()
    for start in graph.successors:
        curve = tracks[start.track]
        if curve.kind != "curve":
            continue
        hand = curve.curvature if start.forward else -curve.curvature
        for other, gap, eased in _next_curves(graph, tracks, start, standard.longest, curve.ease > 0):
            bend = tracks[other.track].curvature if other.forward else -tracks[other.track].curvature
            pair = frozenset({start, other.turned()})
            if hand * bend >= 0 or pair in known:
                continue
            known.add(pair)
            sharper = 1.0 / max(abs(hand), abs(bend))
            eases = eased or tracks[other.track].ease > 0
            bad = gap <= 1e-6 and not eases and sharper < 3 * standard.longest * (1 - TIE)
            at = curve.length if start.forward else 0.0
            yield Finding(
                "reverse curve",
                start.track,
                at,
                gap,
                standard.longest,
                0.0,
                rule["source"],
                other=other.track,
                other_at=0.0 if other.forward else tracks[other.track].length,
                words="with an easement between" if eases else "no straight between" if gap <= 1e-6 else "",
                best="fail" if bad else "look",
            )


def _next_curves(
    graph: MovementGraph, tracks: dict[str, Track], start: Way, reach: float, eased: bool
) -> Iterator[tuple[Way, float, bool]]:
    """Yield the curves next after one, with the least straight between and whether an easement lies there."""
    queue = [(0.0, eased, way) for way in graph.successors[start]]
    heapify(queue)
    seen: set[Way] = set()
    while queue:
        gap, eases, way = heappop(queue)
        if way in seen:
            continue
        seen.add(way)
        track = tracks[way.track]
        if track.kind == "curve":
            yield way, gap, eases
            continue
        easement = track.kind == "easement"
        farther = gap if easement else gap + track.length
        if farther < reach * (1 - TIE):
            for each in graph.successors[way]:
                heappush(queue, (farther, eases or easement, each))


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
    heads = np.unique(np.concatenate([np.linspace(first, last, count), profile.compensated.breaks]))
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
