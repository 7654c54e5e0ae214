"""What the ends that meet at one place make by their tangents: plain joints, turnouts, crossings, or nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import combinations, product
from typing import Literal

from gradehaul.plan.drawing.elements import micro, order
from gradehaul.plan.drawing.linking.ways import CROWD, Ways, common_spot, continuing
from gradehaul.plan.drawing.records import DrawnJoint, Element, Fault, ReachEnd, Spot

Kind = Literal["end", "plain", "kinked", "turnout", "toe to toe", "crossing"]

_SHARPEST = math.pi / 2
"""Two ends alone that turn by more are not taken for one track, radians."""
_SHARPEST_AMONG_OTHERS = math.pi / 6
"""The same for two ends left over where others meet."""
_MOST_LEGS = 3

Outward = Mapping[int, Element]
"""The elements at ends as a train meets them that leaves the node."""


def judged(ways: Ways, kink: float) -> tuple[Ways, dict[int, Kind], list[Fault]]:
    """Return ways with every joint at a node of its own, the kind of each node but ends, and faults for what is none.

    Ends whose directions agree within `kink` lie along one axis. One end that faces two or three others along an
    axis is the toe of a turnout. Two that face two are two turnouts toe to toe. Two axes with an end each way are
    a crossing.
    """
    kinds: dict[int, Kind] = {}
    faults: list[Fault] = []
    nodes, fresh, tips = ways.nodes.ravel().copy(), ways.fresh_node, ways.rows.tips
    for node, at in ways.ends_at(2).items():
        outward = in_order({end: ways.outward(end) for end in at})
        ends = list(outward)
        spot = common_spot(tips[ends])
        joints, single, loose = _parted(ends, outward, kink)
        if len(single) == 2:
            turn = continuing(*(outward[end] for end in single))
            if turn <= (_SHARPEST if len(ends) == 2 else _SHARPEST_AMONG_OTHERS):
                joints.append(("kinked", single))
                text = f"two tracks meet with a kink of {math.degrees(turn):.1f}°"
                faults.append(_fault("kink", text, math.degrees(turn), spot, outward[single[0]]))
                single = []
        loose = single + loose
        if loose:
            faults.append(_no_tangent(outward, loose, spot))
        joints += [("end", [end]) for end in loose]
        for number, (kind, group) in enumerate(joints):
            own = node if number == 0 else fresh
            fresh += number > 0
            nodes[group] = own
            kinds[own] = kind
    return Ways(ways.rows, nodes.reshape(-1, 2)), kinds, faults


def in_order(outward: Outward) -> Outward:
    """Return the ends at a node in an order that follows from where track leads from them."""

    def rank(end: int) -> tuple[object, ...]:
        element = outward[end]
        return order(element.end), micro(element.curvature), micro(element.length), end

    return {end: outward[end] for end in sorted(outward, key=rank)}


def _parted(
    ends: list[int], outward: Outward, kink: float
) -> tuple[list[tuple[Kind, list[int]]], list[int], list[int]]:
    """Return how the ends at one node fall into joints, those that face none, and those that fit into no joint."""
    if len(ends) > CROWD:
        return [], [], ends
    joints, single, loose = list[tuple[Kind, list[int]]](), list[int](), list[int]()
    axes = [_sides(axis, outward) for axis in _axes(ends, outward, kink)]
    if len(axes) == 2 and all(len(few) == len(many) == 1 for few, many in axes):
        return [("crossing", ends)], [], []
    for few, many in axes:
        match len(few), len(many):
            case 1, 1:
                joints.append(("plain", few + many))
            case 1, legs if legs <= _MOST_LEGS:
                joints.append(("turnout", few + many))
            case 2, 2:
                joints.append(("toe to toe", few + many))
            case 0, 1:
                single += many
            case _:
                left = [*few, *many]
                for one, other in sorted(product(few, many), key=lambda pair: _change(outward, *pair)):
                    if one in left and other in left:
                        joints.append(("plain", [one, other]))
                        left = [end for end in left if end not in (one, other)]
                loose += left
    return joints, single, loose


def joined(ends: Mapping[ReachEnd, Element], spot: Spot, kink: float) -> DrawnJoint | None:
    """Return the joint that ends make though they lie apart, by the elements that leave it; None for none."""
    outward = in_order({2 * end.line + (end.end == "to"): element for end, element in ends.items()})
    joints, single, loose = _parted(list(outward), outward, kink)
    if len(joints) != 1 or single or loose:
        return None
    return joint_of(outward, joints[0][0], spot)


def joint_of(outward: Outward, kind: Kind, spot: Spot) -> DrawnJoint:
    """Return the joint that ends make: which of them is the toe, or which pairs run through it."""
    every = tuple(map(named, sorted(outward)))
    if kind in {"end", "plain", "kinked"}:
        return DrawnJoint(spot, "end" if kind == "end" else "plain", every)
    outward = in_order(outward)
    ends = list(outward)
    if kind == "crossing":
        first, *others = ends
        facing = min(others, key=lambda end: continuing(outward[first], outward[end]))
        one, other = (end for end in others if end != facing)
        return DrawnJoint(spot, "crossing", every, through=_pairs((first, facing), (one, other)))
    few, many = _sides(ends, outward)
    if kind == "turnout":
        return DrawnJoint(spot, "turnout", every, named(few[0]))
    (first, second), (one, other) = few, many
    # The smoothest pair of all is one track; the other two are what is left.
    smoothest = min((_change(outward, *pair)[1], number) for number, pair in enumerate(product(few, many)))[1]
    if smoothest in {1, 2}:
        one, other = other, one
    through, slips = _pairs((first, one), (second, other)), _pairs((first, other), (second, one))
    return DrawnJoint(spot, "crossing", every, through=through, slips=slips)


def named(end: int) -> ReachEnd:
    """Return an end by its line and side."""
    return ReachEnd(end // 2, "to" if end % 2 else "from")


def _pairs(*pairs: tuple[int, int]) -> tuple[tuple[ReachEnd, ReachEnd], ...]:
    return tuple(sorted((named(min(pair)), named(max(pair))) for pair in pairs))


def _change(outward: Outward, one: int, other: int) -> tuple[int, int]:
    """Return the changes of direction and of curvature for a train from one end to another, in millionths."""
    return micro(continuing(outward[one], outward[other])), micro(
        abs(outward[one].curvature + outward[other].curvature)
    )


def _axes(ends: Sequence[int], outward: Outward, kink: float) -> list[list[int]]:
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


def _sides(ends: Sequence[int], outward: Outward) -> tuple[list[int], list[int]]:
    """Return the ends along an axis by the way they leave, the fewer first."""
    sides: tuple[list[int], list[int]] = [], []
    for end in ends:
        sides[math.cos(outward[end].heading - outward[ends[0]].heading) <= 0].append(end)
    return sides if len(sides[0]) <= len(sides[1]) else sides[::-1]


def _no_tangent(outward: Outward, loose: Sequence[int], spot: Spot) -> Fault:
    ends = list(outward)
    pairs = [pair for pair in combinations(ends[:CROWD], 2) if pair[0] in loose or pair[1] in loose]
    least = min((continuing(outward[one], outward[other]) for one, other in pairs), default=math.pi)
    text = (
        f"{len(ends)} ends meet here and {len(loose)} of them "
        f"{'continues' if len(loose) == 1 else 'continue'} no other as a tangent: left unjoined"
    )
    return _fault("no-tangent", text, least, spot, outward[loose[0]])


def askew(turn: float, spot: Spot, element: Element) -> Fault:
    """Return the fault of an end that lies on the side of a track at an angle, radians."""
    text = f"track ends on the side of another at {math.degrees(turn):.1f}°: left unjoined"
    return _fault("no-tangent", text, turn, spot, element)


def _fault(code: str, text: str, weight: float, spot: Spot, element: Element) -> Fault:
    return Fault(code, text, spot, element.handle, element.layer, weight=weight)
