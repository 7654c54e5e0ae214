"""Names for what is drawn: as before, by points of the plan, by texts beside it, else by kind or layer and a number."""

from __future__ import annotations

import math
import re
from collections import Counter, deque
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple, TypeVar

import numpy as np

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.drawing.elements import gap, in_plan, order, turned, wrapped
from gradehaul.plan.drawing.naming.layers import LINE_NAMES, NAMES, free_name, names_lines
from gradehaul.plan.drawing.nearness import Nearness, beside_texts, pairs
from gradehaul.plan.drawing.records import Claim, DrawnJoint, DrawnLine, FloatArray, Label, Linked, Spot
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import at_text
from gradehaul.quantities import convert, describe
from gradehaul.quantities.si import Meters, Radians

LONGEST = 40
"""A text longer than this is a remark, not a name."""

BESIDE, CLEARLY = 1 / 4, 1.25
"""A text farther off than this share of the reach, a gauge, is beside a line, not on it. Beside several it names the
nearest where the next is farther off than that by this factor (our own choice)."""

_RADIUS = re.compile(r"R[ =.]*\d[\d.,]+ *(mm|cm|in|m|\"|'')?", re.IGNORECASE)

_NOMINAL = 0.02
"""A radius is noted as it is drawn but for this share (our own choice)."""

_FARTHER = 1.5
"""A text names a line that is this many times as far off as the nearest, and none farther (our own choice)."""

_KIND = {"end": "End", "plain": "Joint", "turnout": "Turnout", "crossing": "Crossing", "table": "Turntable"}


Named = TypeVar("Named", int, str)
"""A text by its number, or a name."""


class Names(NamedTuple):
    """The names of joints and lines by their numbers, and the texts that name nothing."""

    joints: tuple[str, ...]
    lines: tuple[str, ...]
    unused: tuple[tuple[Label, str], ...]
    """Each with why."""
    other: tuple[tuple[Label, str], ...]
    """Texts beside what has another name already, each with that name."""


def claimed(joints: Sequence[DrawnJoint], claims: Sequence[Claim], unit: str) -> tuple[dict[int, str], list[PlanError]]:
    """Return the joints that are named by a point, by their numbers, and what is wrong with the other points.

    Examples
    --------
    >>> joint = DrawnJoint(Spot(1.0, 2.0), "end", ())
    >>> claimed([joint], [Claim("Wharf", Spot(1.001, 2.0), 0.005)], "mm")
    ({0: 'Wharf'}, [])
    """
    found: dict[int, str] = {}
    errors: list[PlanError] = []
    by_name, spots = {claim.name: claim for claim in claims}, in_plan([joint.spot for joint in joints])
    for claim in claims:
        here = claim.at
        number = int(np.argmin(np.hypot(*(spots - here[:2]).T)))
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
                found=f"{at_text(other.at, unit)} and {at_text(here, unit)}",
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
    beside = beside_texts(texts, in_plan([mark.spot for mark in marks]), near)
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
    """Return a name for every joint and every line of a network, in the order of their coordinates.

    A text within `near` of a joint, m, names the nearest such joint, else the nearest line within it, or one hardly
    farther off if that has a nearer text, but none where it stands between two; each joint and line takes the nearest
    of its texts. A text names only what has track on its own layer, or anything if its layer has no track. What is left
    is called by its kind (a joint) or layer (a line) and a number, which counts all of that kind or layer. `claims` and
    `known_lines` are names that stand already, by number; no line and no joint bears one of `lines_taken`, the plan's
    own lines and berths, and no line one of `joints_taken`.
    """
    radii = np.unique([1 / abs(each.curvature) for line in linked.lines for each in line.elements if each.curvature])
    why = [_remark(label, radii) for label in labels]
    remarks = [(label, what) for label, what in zip(labels, why, strict=True) if what]
    texts = sorted(
        (replace(label, text=_writable(label.text)) for label, what in zip(labels, why, strict=True) if not what),
        key=lambda label: (order(label.spot), label.text),
    )
    free = set(range(len(texts)))
    joints, lines = {**claims}, {**(known_lines or {})}
    used = {*lines_taken, *claims.values(), *lines.values()}
    near_track: set[int] = set()
    other: list[tuple[Label, str]] = []
    of_joints, of_lines = _beside(linked, texts, near)
    between = _between(of_lines, texts, near)
    for names, beside, apart in ((joints, of_joints, set[int]()), (lines, _hardly_farther(of_lines), between)):
        near_track.update(text for _, text, _ in beside)
        able = free - apart
        own = _nearest_first(each for each in beside if each[1] in able)
        free -= set(own.values())
        there = [(texts[own[number]], names[number]) for number in sorted(set(own) & set(names))]
        other += [(label, name) for label, name in there if not re.fullmatch(rf"{re.escape(label.text)}( \d+)?", name)]
        for number in sorted(set(own) - set(names)):
            names[number] = free_name(texts[own[number]].text, used)
        used.update(joints_taken)

    def rest(names: dict[int, str], kinds: Sequence[str]) -> None:
        counts: Counter[str] = Counter()
        for number, kind in enumerate(kinds):
            counts[kind] += 1
            if number not in names:
                names[number] = free_name(f"{kind} {counts[kind]}", used)

    def unused(text: int) -> str:
        return _BETWEEN if text in between else _TAKEN if text in near_track else _FAR

    used -= set(joints_taken)  # a joint may bear the name of a joint of the plan, and then is that joint
    rest(joints, [_KIND[joint.kind] for joint in linked.joints])
    used.update(joints_taken)
    rest(lines, [_writable(line.layer) or "Line" for line in linked.lines])
    return Names(
        tuple(joints[number] for number in range(len(linked.joints))),
        tuple(lines[number] for number in range(len(linked.lines))),
        (*((texts[number], unused(number)) for number in sorted(free)), *remarks),
        tuple(other),
    )


_TAKEN, _FAR = "what it stands beside has another name", "too far from track that it may name"
_BETWEEN = "it stands as near to one track as to another"


def _remark(label: Label, radii: FloatArray) -> str:
    """Return why a text can be no name, empty where it can; `radii` are those of the curves, m, in order.

    A track may be called R12 where no curve has that radius in any unit of a layout.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Spot
    >>> texts = ("R 280", 'R18"', "R600", "R24", "R12", "R2", "Ridge")
    >>> [_remark(Label(text, Spot(0, 0), "0", ""), np.array([0.6, 0.61])) for text in texts]
    ['a radius', 'a radius', 'a radius', 'a radius', '', '', '']
    """
    if len(label.text) > LONGEST:
        return "longer than a name"
    if not is_radius(label):
        return ""
    if bare := re.fullmatch(r"R(\d+)", label.text.strip(), re.IGNORECASE):
        noted = np.array([float(bare[1]) / convert(1.0, unit) for unit in ("mm", "cm", "in")])
        first, last = (
            np.searchsorted(radii, noted * (1 - _NOMINAL)),
            np.searchsorted(radii, noted * (1 + _NOMINAL), "right"),
        )
        return "a radius" if (first < last).any() else ""
    return "a radius"


def is_radius(label: Label) -> bool:
    """Return whether a text is a note of a radius, such as R280, of two digits or more; export's names are none."""
    own = {NAMES.casefold(), LINE_NAMES.casefold()}
    return bool(_RADIUS.fullmatch(label.text.strip())) and label.layer.casefold() not in own


def _nearest_first(pairs: Iterable[tuple[float, Named, int]]) -> dict[int, Named]:
    """Return which thing takes which name or text, those that are nearest first."""
    found: dict[int, Named] = {}
    taken: set[Named] = set()
    for _, name, number in sorted(pairs):
        if number not in found and name not in taken:
            found[number] = name
            taken.add(name)
    return found


def _beside(
    linked: Linked, texts: Sequence[Label], near: float
) -> tuple[list[tuple[float, int, int]], list[tuple[float, int, int]]]:
    """Return texts with the joints and with the lines near them that they may name: distance, text, and which it is."""
    if not texts:
        return [], []
    layers = [{element.layer for element in line.elements} for line in linked.lines]
    drawn = set().union(*layers)
    spots = in_plan([text.seen for text in texts])
    layers_at = [set().union(*(layers[end.line] for end in joint.ends)) for joint in linked.joints]
    of_joints = [
        (rank, text, joint)
        for rank, text, joint in beside_texts(texts, in_plan([joint.spot for joint in linked.joints]), near)
        if not names_lines(texts[text]) and (texts[text].layer in layers_at[joint] or texts[text].layer not in drawn)
    ]
    index = Nearness(Rows.of(line.elements for line in linked.lines))
    best: dict[tuple[int, int], float] = {}
    for foot in index.beside(spots, near).feet():
        layer = texts[foot.which].layer
        if layer == index.rows.origins[index.rows.origin[foot.number]][1] or layer not in drawn:
            best[foot.which, foot.row] = min(foot.off, best.get((foot.which, foot.row), math.inf))
    return of_joints, [(off, text, line) for (text, line), off in best.items()]


def _hardly_farther(of_lines: Sequence[tuple[float, int, int]]) -> list[tuple[float, int, int]]:
    """Return texts with the lines that they may name: the nearest, and those hardly farther off."""
    nearest: dict[int, float] = {}
    for off, text, _ in of_lines:
        nearest[text] = min(off, nearest.get(text, math.inf))
    return [each for each in of_lines if each[0] <= _FARTHER * nearest[each[1]]]


def _between(of_lines: Iterable[tuple[float, int, int]], texts: Sequence[Label], near: float) -> set[int]:
    """Return the texts beside track that stand as near to one line as to another, as the name of a place does.

    Those on a line are of that line, whatever crosses it there.
    """
    offs: dict[int, list[float]] = {}
    for off, text, _ in of_lines:
        offs.setdefault(text, []).append(off)
    pairs_of = {text: sorted(own)[:2] for text, own in offs.items() if len(own) > 1 and not names_lines(texts[text])}
    return {text for text, (one, other) in pairs_of.items() if one > BESIDE * near and other < CLEARLY * one}


def _writable(text: str) -> str:
    """Return a text without the halves of characters that no file can hold."""
    return text.encode("utf-8", "replace").decode("utf-8")


# As before


_SAME_WAY = math.radians(5)


class KnownLine(NamedTuple):
    """A line as it was drawn before: its name, its joints, where its ends lie, and how it leaves them."""

    name: str
    start: str
    finish: str
    at: Spot
    heading: Radians
    end: Spot
    end_heading: Radians
    length: Meters


def recognize(linked: Linked, known: Sequence[KnownLine], within: float) -> tuple[dict[int, str], dict[int, str]]:
    """Return the names of joints and of lines that were there before, by their numbers in the new network.

    A joint is known by its place. Where one end of a line has moved, so that the line is longer or shorter than
    before, that end is known by the line, which still leaves the other end in the same direction. A line is known by
    its joints; of several between the same two, each by the directions in which it leaves them and by its length. A
    joint may have moved by `within`, m, to be known by its place.
    """
    if not known:
        return {}, {}
    joints = _by_place(linked, known, within)
    _by_lines(linked, known, joints)
    free: dict[frozenset[str], list[KnownLine]] = {}
    for line in known:
        free.setdefault(frozenset((line.start, line.finish)), []).append(line)
    lines = _nearest_first(
        (_unlike(drawn, before, same_way=joints[drawn.start] == before.start), before.name, number)
        for number, drawn in enumerate(linked.lines)
        if drawn.start in joints and drawn.finish in joints
        for before in free.get(frozenset((joints[drawn.start], joints[drawn.finish])), ())
    )
    return joints, lines


def _unlike(drawn: DrawnLine, before: KnownLine, *, same_way: bool) -> float:
    """Return by how much a line differs from one before: in length, and in where its directions lead at its ends, m."""
    leaves = [drawn.elements[0].heading, turned(drawn.elements[-1]).heading]
    one, other = leaves if same_way else leaves[::-1]
    turn = abs(wrapped(one - before.heading)) + abs(wrapped(other - before.end_heading))
    return abs(before.length - drawn.length) + before.length * float(turn)


def _by_place(linked: Linked, known: Sequence[KnownLine], within: float) -> dict[int, str]:
    places = {name: spot for line in reversed(known) for name, spot in ((line.finish, line.end), (line.start, line.at))}
    before, now = list(places.items()), [joint.spot for joint in linked.joints]
    near = pairs(in_plan(list(places.values())), within, in_plan(now))
    return _nearest_first(
        (gap(before[name][1], now[number]), before[name][0], number)
        for name, number in zip(*(each.tolist() for each in near), strict=True)
    )


def _by_lines(linked: Linked, known: Sequence[KnownLine], joints: dict[int, str]) -> None:
    """Name the joints at the moved ends of lines whose other ends are known, and so on from there."""
    lines_at: dict[int, list[DrawnLine]] = {}
    for drawn in linked.lines:
        for joint in {drawn.start, drawn.finish}:
            lines_at.setdefault(joint, []).append(drawn)
    known_at: dict[str, list[tuple[str, float]]] = {}
    for line in known:
        known_at.setdefault(line.start, []).append((line.finish, line.heading))
        known_at.setdefault(line.finish, []).append((line.start, line.end_heading))
    names = set(joints.values())
    waiting = deque(sorted(joints))
    while waiting:
        number = waiting.popleft()
        for drawn in lines_at.get(number, ()):
            far, heading = _seen_from(drawn, number)
            if far in joints:
                continue
            same = [
                other
                for other, before in known_at.get(joints[number], ())
                if other not in names and abs(wrapped(before - heading)) < _SAME_WAY
            ]
            if len(same) == 1:
                joints[far] = same[0]
                names.add(same[0])
                waiting.append(far)


def _seen_from(line: DrawnLine, joint: int) -> tuple[int, float]:
    """Return the far joint of a line seen from one of its joints, and the heading in which it leaves that one."""
    if line.start == joint:
        return line.finish, line.elements[0].heading
    return line.start, turned(line.elements[-1]).heading
