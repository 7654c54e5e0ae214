"""What the ends that meet at one place make by their tangents: plain joints, turnouts, crossings, or nothing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, product
from typing import Literal, NamedTuple

from gradehaul.plan.drawing.elements import micro, order, wrapped
from gradehaul.plan.drawing.linking.ways import CROWD, End, Ways, common_spot, continuing
from gradehaul.plan.drawing.records import Element, Fault, Spot

Kind = Literal["end", "plain", "kinked", "turnout", "toe to toe", "crossing"]

_SHARPEST = math.pi / 2
"""Two ends alone that turn by more are not taken for one track, radians."""
_SHARPEST_AMONG_OTHERS = math.pi / 6
"""The same for two ends left over where others meet."""
_MOST_LEGS = 3


class Roles(NamedTuple):
    """What the ends at a joint are to one another."""

    toe: End | None = None
    through: tuple[tuple[End, End], ...] = ()
    slips: tuple[tuple[End, End], ...] = ()


@dataclass(slots=True)
class _Parting:
    """How the ends at one node fall into joints."""

    joints: list[tuple[Kind, list[End]]] = field(default_factory=list)
    single: list[End] = field(default_factory=list)
    told: list[End] = field(default_factory=list)


def settle(ways: Ways, kink: float) -> tuple[dict[int, Kind], list[Fault]]:
    """Give every joint a node of its own and return the kind of each, with the faults of those that are none.

    Ends whose directions agree within `kink` lie along one axis. One end that faces two or three others along an
    axis is the toe of a turnout. Two that face two are two turnouts toe to toe. Two axes with an end each way are
    a crossing.
    """
    kinds: dict[int, Kind] = {}
    faults: list[Fault] = []
    for node, at in ways.nodes():
        if len(at) == 1:
            kinds[node] = "end"
            continue
        ends = sorted(at, key=lambda end: _rank(ways, end))
        outward = {end: ways.outward(end) for end in ends}
        spot = common_spot([element.start for element in outward.values()])
        parting = _parted(ends, outward, kink)
        if len(parting.single) == 2:
            turn = continuing(ways, *parting.single)
            if turn <= (_SHARPEST if len(ends) == 2 else _SHARPEST_AMONG_OTHERS):
                parting.joints.append(("kinked", parting.single))
                faults.append(_kink(turn, spot, outward[parting.single[0]]))
                parting.single = []
        loose = parting.single + parting.told
        if loose and len(ends) > 1:
            faults.append(_no_tangent(ways, loose, ends, spot, outward[loose[0]]))
        parting.joints.extend(("end", [end]) for end in loose)
        for number, (kind, group) in enumerate(parting.joints):
            own = node
            if number:
                own = ways.node()
                for end in group:
                    ways.move(end, own)
            kinds[own] = kind
    return kinds, faults


def _parted(ends: Sequence[End], outward: dict[End, Element], kink: float) -> _Parting:
    parting = _Parting()
    if len(ends) > CROWD:
        parting.told.extend(ends)
        return parting
    axes = [_sides(axis, outward) for axis in _axes(ends, outward, kink)]
    if len(axes) == 2 and all(len(few) == len(many) == 1 for few, many in axes):
        parting.joints.append(("crossing", list(ends)))
        return parting
    for few, many in axes:
        match len(few), len(many):
            case 1, 1:
                parting.joints.append(("plain", few + many))
            case 1, legs if legs <= _MOST_LEGS:
                parting.joints.append(("turnout", few + many))
            case 2, 2:
                parting.joints.append(("toe to toe", few + many))
            case 0, 1:
                parting.single.extend(many)
            case _:
                pairs, left = _greedy(few, many, outward)
                parting.joints.extend(("plain", list(pair)) for pair in pairs)
                parting.told.extend(left)
    return parting


def roles(ways: Ways, node: int, kind: Kind) -> Roles:
    """Return which end at a joint is the toe, or which pairs run through it."""
    if kind not in {"turnout", "crossing", "toe to toe"}:
        return Roles()
    ends = sorted(ways.at(node), key=lambda end: _rank(ways, end))
    outward = {end: ways.outward(end) for end in ends}
    if kind == "turnout":
        few, _ = _sides(ends, outward)
        return Roles(toe=few[0])
    first, *others = ends
    if kind == "crossing":
        facing = min(others, key=lambda end: continuing(ways, first, end))
        one, other = (end for end in others if end != facing)
        return Roles(through=((first, facing), (one, other)))
    few, many = _sides(ends, outward)
    first, second = few
    one, other = many
    # The smoothest pair of all is one track; the other two are what is left.
    smoothest = min((micro(_bend(outward, *pair)), number) for number, pair in enumerate(product(few, many)))[1]
    if smoothest in {1, 2}:
        one, other = other, one
    return Roles(through=((first, one), (second, other)), slips=((first, other), (second, one)))


def _rank(ways: Ways, end: End) -> tuple[object, ...]:
    element = ways.outward(end)
    return order(element.end), micro(element.curvature), micro(element.length), end


def _bend(outward: dict[End, Element], one: End, other: End) -> float:
    """Return the change of curvature that a train meets which passes from one end to another, 1/m."""
    return abs(outward[one].curvature + outward[other].curvature)


def _axes(ends: Sequence[End], outward: dict[End, Element], kink: float) -> list[list[End]]:
    """Return the ends in groups whose directions agree within `kink`, whichever way they run."""
    by_turn = sorted((outward[end].heading % math.pi, number) for number, end in enumerate(ends))
    groups: list[list[tuple[float, int]]] = []
    for turn, number in by_turn:
        if groups and turn - groups[-1][-1][0] <= kink:
            groups[-1].append((turn, number))
        else:
            groups.append([(turn, number)])
    if len(groups) > 1 and groups[0][0][0] + math.pi - groups[-1][-1][0] <= kink:
        groups[0].extend(groups.pop())
    return [[ends[number] for number in sorted(number for _, number in group)] for group in groups]


def _sides(ends: Sequence[End], outward: dict[End, Element]) -> tuple[list[End], list[End]]:
    """Return the ends along an axis by the way they leave, the fewer first."""
    reference = outward[ends[0]].heading
    ahead = [end for end in ends if math.cos(outward[end].heading - reference) > 0]
    behind = [end for end in ends if math.cos(outward[end].heading - reference) <= 0]
    return (ahead, behind) if len(ahead) <= len(behind) else (behind, ahead)


def _greedy(
    few: Sequence[End], many: Sequence[End], outward: dict[End, Element]
) -> tuple[list[tuple[End, End]], list[End]]:
    """Return the pairs that go on with the least change of direction and curvature, and the ends left over."""

    def change(pair: tuple[End, End]) -> tuple[int, int]:
        turn = abs(wrapped(outward[pair[0]].heading - outward[pair[1]].heading + math.pi))
        return micro(turn), micro(_bend(outward, *pair))

    pairs: list[tuple[End, End]] = []
    left = [*few, *many]
    for one, other in sorted(((one, other) for one in few for other in many), key=change):
        if one in left and other in left:
            pairs.append((one, other))
            left = [end for end in left if end not in (one, other)]
    return pairs, left


def _kink(turn: float, spot: Spot, element: Element) -> Fault:
    text = f"two tracks meet with a kink of {math.degrees(turn):.1f}°"
    return Fault("kink", text, spot, element.handle, element.layer, weight=turn)


def _no_tangent(ways: Ways, loose: Sequence[End], ends: Sequence[End], spot: Spot, element: Element) -> Fault:
    near = ends if len(ends) <= CROWD else ends[:CROWD]
    pairs = [pair for pair in combinations(near, 2) if pair[0] in loose or pair[1] in loose]
    least = min((continuing(ways, *pair) for pair in pairs), default=math.pi)
    text = (
        f"{len(ends)} ends meet here and {len(loose)} of them "
        f"{'continues' if len(loose) == 1 else 'continue'} no other as a tangent: left unjoined"
    )
    return Fault("no-tangent", text, spot, element.handle, element.layer, weight=least)


def askew(turn: float, spot: Spot, element: Element) -> Fault:
    """Return the fault of an end that lies on the side of a track at an angle, radians."""
    text = f"track ends on the side of another at {math.degrees(turn):.1f}°: left unjoined"
    return Fault("no-tangent", text, spot, element.handle, element.layer, weight=turn)
