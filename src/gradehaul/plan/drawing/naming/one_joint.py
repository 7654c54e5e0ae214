"""Joints that texts of an exported drawing make one: ends of track at a turntable, and ends that lie apart."""

from __future__ import annotations

import re
from collections.abc import Collection, Sequence

from gradehaul.errors import QuantityError
from gradehaul.plan.drawing.elements import gap, in_plan, turned
from gradehaul.plan.drawing.linking.turnouts import joined
from gradehaul.plan.drawing.nearness import pairs
from gradehaul.plan.drawing.records import DrawnJoint, DrawnLine, Element, Fault, Label, Linked, ReachEnd, Terms
from gradehaul.plan.drawing.wording import gap_text
from gradehaul.quantities import read_quantity


def _merged(
    linked: Linked, groups: Sequence[Collection[int]], joints_of: Sequence[DrawnJoint]
) -> tuple[Linked, dict[int, int]]:
    """Return a network with another joint in place of each group of joints, and their new numbers."""
    first = {number: min(numbers) for numbers in groups for number in numbers}
    kept = [number for number in range(len(linked.joints)) if first.get(number, number) == number]
    after = {number: count for count, number in enumerate(kept)}
    joints = {number: linked.joints[number] for number in kept}
    joints |= {min(numbers): joint for numbers, joint in zip(groups, joints_of, strict=True)}
    after |= {number: after[there] for number, there in first.items()}
    lines = tuple(line._replace(start=after[line.start], finish=after[line.finish]) for line in linked.lines)
    return Linked(lines, tuple(joints.values()), linked.faults), after


# Turntables


def with_turntables(
    linked: Linked, labels: Sequence[Label], near: float, unit: str
) -> tuple[Linked, dict[int, str], dict[int, float]]:
    """Return a network whose ends of track with the same text on the layer of turntables are one joint.

    Also the names of turntables and the lengths of their bridges, m, by number of joint.

    A text stands `near` the end of its track, m: a name, and the length of the bridge in parentheses where it is known.
    """
    if not labels:
        return linked, {}, {}
    ends = [number for number, joint in enumerate(linked.joints) if joint.kind == "end"]
    groups: dict[str, dict[int, None]] = {}
    for label in labels:
        nearest = min(ends, key=lambda each: gap(linked.joints[each].spot, label.spot), default=None)
        if nearest is not None and gap(linked.joints[nearest].spot, label.spot) <= near:
            groups.setdefault(label.text, {})[nearest] = None
    groups = {text: numbers for text, numbers in groups.items() if len(numbers) > 1}
    tables = [
        DrawnJoint(
            linked.joints[min(own)].spot, "table", tuple(sorted(end for n in own for end in linked.joints[n].ends))
        )
        for own in groups.values()
    ]
    linked, after = _merged(linked, [*groups.values()], tables)
    bridges = {after[min(numbers)]: _bridge(text, unit) for text, numbers in groups.items()}
    lengths = {number: length for number, (_, length) in bridges.items() if length is not None}
    return linked, {number: name for number, (name, _) in bridges.items()}, lengths


def _bridge(text: str, unit: str) -> tuple[str, float | None]:
    """Return a turntable's name and the length of its bridge, m, where the text has one.

    Examples
    --------
    >>> _bridge("Round house (300 mm)", "in"), _bridge("Round house (old)", "in")
    (('Round house', 0.3), ('Round house (old)', None))
    """
    if found := re.fullmatch(r"(.+) \(([^()]+)\)", text):
        try:
            return found[1], read_quantity(found[2], "length", unit=unit)
        except QuantityError:
            pass
    return text, None


# Ends that lie apart


def with_joined(
    linked: Linked, faults: Sequence[Fault], labels: Sequence[Label], terms: Terms
) -> tuple[Linked, list[Fault]]:
    """Return a network whose ends at texts alike, on the layer of joined ends, are one joint, and the faults then left.

    They stay apart where they make no joint by their tangents. Lines stay as long as they are.
    """
    if not labels:
        return linked, list(faults)
    near = pairs(in_plan([label.spot for label in labels]), terms.snap, in_plan([each.spot for each in linked.joints]))
    groups: dict[str, set[int]] = {}
    for label, number in zip(*(each.tolist() for each in near), strict=True):
        groups.setdefault(labels[label].text, set()).add(number)
    made: dict[str, DrawnJoint] = {}
    for text, numbers in groups.items():
        if any(numbers & groups[other] for other in made):
            continue
        spot = linked.joints[min(numbers)].spot
        ends = {end: _outward(linked.lines, end) for number in numbers for end in linked.joints[number].ends}
        if len(numbers) > 1 and (joint := joined(ends, spot, terms.kink)) is not None:
            made[text] = joint
    gone: list[Fault] = []
    apart: list[Fault] = []
    for text in made:
        own = [linked.joints[number].spot for number in groups[text]]
        most = max(gap(one, other) for one in own for other in own)
        apart.append(Fault("gap", gap_text(most, terms.plan_unit), own[0], weight=most))
        gone += [
            fault
            for fault in faults
            if fault.code in {"no-tangent", "near-miss"}
            and fault.spot
            and any(gap(fault.spot, spot) <= max(most, terms.snap) for spot in own)
        ]
    linked, _ = _merged(linked, [groups[text] for text in made], [*made.values()])
    left = {id(fault) for fault in gone}
    return linked, [*(fault for fault in faults if id(fault) not in left), *apart]


def _outward(lines: Sequence[DrawnLine], end: ReachEnd) -> Element:
    """Return the element at an end as a train meets it that leaves the joint."""
    elements = lines[end.line].elements
    return elements[0] if end.end == "from" else turned(elements[-1])
