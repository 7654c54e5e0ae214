"""Names for what is drawn: by points of the plan, by texts beside the track, else by kind or layer and a number."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.errors import PlanError
from gradehaul.plan.drawing.elements import gap, order
from gradehaul.plan.drawing.naming.layers import free_name, names_lines
from gradehaul.plan.drawing.nearness import Nearness, beside_texts
from gradehaul.plan.drawing.records import Claim, DrawnJoint, Label, Linked, Spot
from gradehaul.plan.drawing.wording import at_text
from gradehaul.plan.names import quoted
from gradehaul.quantities import describe

LONGEST = 40
"""A text longer than this is a remark, not a name."""

_KIND = {"end": "End", "plain": "Joint", "turnout": "Turnout", "crossing": "Crossing", "table": "Turntable"}


class Names(NamedTuple):
    """The names of joints and lines by their numbers, and how many texts name nothing."""

    joints: tuple[str, ...]
    lines: tuple[str, ...]
    unused: int


def claimed(joints: Sequence[DrawnJoint], claims: Sequence[Claim], unit: str) -> tuple[dict[int, str], list[PlanError]]:
    """Return the joints that are named by a point, by their numbers, and what is wrong with the other points.

    Parameters
    ----------
    joints
        The joints as drawn.
    claims
        Names with their points.
    unit
        The unit of messages.

    Examples
    --------
    >>> joint = DrawnJoint(Spot(1.0, 2.0), "end", ())
    >>> claimed([joint], [Claim("Wharf", 1.001, 2.0, 0.005)], "mm")
    ({0: 'Wharf'}, [])
    """
    found: dict[int, str] = {}
    errors: list[PlanError] = []
    by_name = {claim.name: claim for claim in claims}
    for claim in claims:
        here = Spot(claim.x, claim.y)
        number = min(range(len(joints)), key=lambda each: (gap(joints[each].spot, here), each))
        off = gap(joints[number].spot, here)
        if off > claim.within:
            near = describe(claim.within, "length", unit)
            away = describe(off, "length", unit)
            error = PlanError(
                f"no joint of the drawing lies within {near} of here",
                found=f"{at_text(here, unit)}; the nearest is {away} away, at {at_text(joints[number].spot, unit)}",
                write="its coordinates, or within = ... for a wider look",
            )
        elif number in found:
            other = by_name[found[number]]
            error = PlanError(
                f"joint {quoted(other.name)} names the same joint of the drawing",
                found=f"{at_text(Spot(other.x, other.y), unit)} and {at_text(here, unit)}",
                write="one of the two, or points nearer to the joints that are meant",
            )
        else:
            found[number] = claim.name
            continue
        errors.append(error.at(file=claim.file, place=claim.place))
    return found, errors


def named_marks(marks: Sequence[Label], labels: Sequence[Label], near: float) -> list[Spot]:
    """Return the points that a text of their own layer stands beside, within `near`, m: those are joints."""
    texts = [label for label in labels if len(label.text) <= LONGEST]
    beside = beside_texts(texts, [mark.spot for mark in marks], near)
    found = {mark for _, text, mark in beside if texts[text].layer == marks[mark].layer}
    return [marks[mark].spot for mark in sorted(found)]


def name_all(
    linked: Linked,
    claims: Mapping[int, str],
    labels: Sequence[Label],
    *,
    near: float,
    known_lines: Mapping[int, str] | None = None,
    lines_taken: Collection[str] = (),
    joints_taken: Collection[str] = (),
) -> Names:
    """Return a name for every joint and every line of a network.

    A text within `near` of a joint names the nearest such joint, else the nearest line within it; each joint and line
    takes the nearest of its texts. What is left is called by its kind (a joint) or layer (a line) and a number, which
    counts all of that kind or layer in the order of coordinates.

    Parameters
    ----------
    linked
        The network, its lines and joints in the order of their coordinates.
    claims, known_lines
        Names of joints and of lines that stand already, by number.
    labels
        Texts that may name; one names only what has track on its own layer, or anything if its layer has no track.
    near
        How far from what it names a text may stand, m.
    lines_taken, joints_taken
        Names of the plan's own lines and berths, which nothing may bear, and of its joints, which no line may bear.
    """
    texts = sorted(
        (replace(label, text=_writable(label.text)) for label in labels if len(label.text) <= LONGEST),
        key=lambda label: (order(label.spot), label.text),
    )
    free = list(range(len(texts)))
    joints, lines = {**claims}, {**(known_lines or {})}
    used = {*lines_taken, *claims.values(), *lines.values()}
    for names, beside in zip((joints, lines), _beside(linked, texts, near), strict=True):
        own, free = _nearest_first(free, beside)
        for number in sorted(set(own) - set(names)):
            names[number] = free_name(texts[own[number]].text, used)
            used.add(names[number])
        used.update(joints_taken)

    counts: Counter[str] = Counter()
    used -= set(joints_taken)  # a joint may bear the name of a joint of the plan, and then is that joint
    for number, joint in enumerate(linked.joints):
        kind = _KIND[joint.kind]
        counts[kind] += 1
        if number not in joints:
            joints[number] = free_name(f"{kind} {counts[kind]}", used)
            used.add(joints[number])
    counts.clear()
    used.update(joints_taken)
    for number, line in enumerate(linked.lines):
        layer = _writable(line.layer) or "Line"
        counts[layer] += 1
        if number not in lines:
            lines[number] = free_name(f"{layer} {counts[layer]}", used)
            used.add(lines[number])
    return Names(
        tuple(joints[number] for number in range(len(linked.joints))),
        tuple(lines[number] for number in range(len(linked.lines))),
        len(free) + len(labels) - len(texts),
    )


def _nearest_first(free: Sequence[int], pairs: Sequence[tuple[float, int, int]]) -> tuple[dict[int, int], list[int]]:
    """Return what takes which text, the nearest first, and the texts that are left."""
    left = set(free)
    found: dict[int, int] = {}
    for _, text, thing in sorted(pairs):
        if text in left and thing not in found:
            found[thing] = text
            left.discard(text)
    return found, [text for text in free if text in left]


def _beside(
    linked: Linked, texts: Sequence[Label], near: float
) -> tuple[list[tuple[float, int, int]], list[tuple[float, int, int]]]:
    """Return texts with the joints and with the lines near them that they may name: distance, text, and which it is."""
    if not texts:
        return [], []
    layers = [{element.layer for element in line.elements} for line in linked.lines]
    drawn = set().union(*layers)
    spots = [text.spot for text in texts]
    layers_at = [set().union(*(layers[end.line] for end in joint.ends)) for joint in linked.joints]
    of_joints = [
        (rank, text, joint)
        for rank, text, joint in beside_texts(texts, [joint.spot for joint in linked.joints], near)
        if not names_lines(texts[text]) and (texts[text].layer in layers_at[joint] or texts[text].layer not in drawn)
    ]
    index = Nearness([line.elements for line in linked.lines])
    best: dict[tuple[int, int], float] = {}
    for foot in index.beside(spots, near).feet():
        layer = texts[foot.which].layer
        if layer == index.elements[foot.number].layer or layer not in drawn:
            best[foot.which, foot.row] = min(foot.off, best.get((foot.which, foot.row), math.inf))
    return of_joints, [(off, text, line) for (text, line), off in best.items()]


def _writable(text: str) -> str:
    """Return a text without the halves of characters that no file can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")
