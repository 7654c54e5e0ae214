"""Texts that are heights: at the joints that they stand beside, else along the lines."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from gradehaul.errors import quoted
from gradehaul.plan.drawing.elements import beyond, in_plan
from gradehaul.plan.drawing.nearness import Nearness, along_texts, beside_texts
from gradehaul.plan.drawing.records import DrawnLine, Fault, FloatArray, IntArray, Label, Linked, Source, Terms
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import UNUSED, bare
from gradehaul.plan.text.toml import key_written
from gradehaul.quantities import convert, describe, read_quantity

MISFIT = 0.002
"""Heights of one place that differ by more than this, m, contradict one another; rises round a loop likewise."""
AT_END = 0.02
"""A text along a line within this of where two tracks meet, m, shows the height there: about the height of two letters
on a plan (our own choice)."""
_RADIUS_SHARE = 0.01
"""A bare number this near to the radius of a curve, as a share, is that radius where it stands at its middle."""
_CLEARLY = 2.0
"""A text belongs to the nearest track if any other is this many times as far from it (our own choice)."""
_CALLED = re.compile(
    r"(?:(?P<name>h|ht|height|höhe|z|el|elev|elevation)(?P<mark>[ .:=]*)(?=[-+.0-9(]))?(?P<figure>.*)",
    re.IGNORECASE | re.DOTALL,
)


def read_height(text: str, unit: str) -> float:
    """Return the height that a text says, m: a figure with or without its unit, parentheses, and a word for a height.

    `unit` is that of a bare figure.

    Raises
    ------
    QuantityError
        The text says no height.

    Examples
    --------
    >>> [read_height(text, "mm") for text in ("25", "h=25", "EL. 25.0", "z: 2.5 cm", "(25)")]
    [0.025, 0.025, 0.025, 0.025, 0.025]
    """
    called = _CALLED.fullmatch(_bared(text))
    assert called is not None
    return read_quantity(_bared(called["figure"]), "length", unit=unit)


def is_number(text: str) -> bool:
    """Return whether a text is a bare number: a height, or the number of a track.

    Examples
    --------
    >>> [is_number(text) for text in ("25", "+20.4", "(25)", "3 1/2", "25 mm", "R280", "7B")]
    [True, True, True, True, False, False, False]
    """
    return bool(re.fullmatch(r"[-+]?\d[\d., /]*", _bared(text)))


def says_height(text: str) -> bool:
    """Return whether a text says itself that it is a height, so that it can be no name.

    Examples
    --------
    >>> [says_height(text) for text in ("h=25", "el. 25", "h 25", "(25)", "Hill 25", "Elm")]
    [True, True, False, False, False, False]
    """
    called = _CALLED.fullmatch(_bared(text))
    return bool(called and called["mark"] and ({"=", ":"} & {*called["mark"]} or called["name"].casefold()[:2] == "el"))


def _bared(text: str) -> str:
    """Return a text without the parentheses around it."""
    text = text.strip()
    return text[1:-1].strip() if re.fullmatch(r"\([^()]*\)", text) else text


def noted_radii(labels: Sequence[Label], lines: Sequence[DrawnLine], near: float, units: Sequence[str]) -> set[int]:
    """Return which bare numbers, in one of the units, are the radius of the curve at whose middle half they stand.

    A text stands at a curve within `near`, m.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, Spot
    >>> curve = Element(Spot(0, 0), Spot(0.6, 0.6), 0.0, 1 / 0.6, 0.3 * math.pi, "", "")
    >>> labels = [Label(text, Spot(0.43, 0.18), "", "") for text in ("600", "601", "60", "500")]
    >>> sorted(noted_radii(labels, [DrawnLine((curve,), 0, 1, "")], 0.05, ["mm", "cm"]))
    [0, 1, 2]
    """
    numbers = [number for number, label in enumerate(labels) if is_number(label.text)]
    if not numbers:
        return set()
    figures = [read_height(labels[number].text, "m") for number in numbers]
    index = Nearness(Rows.of(line.elements for line in lines))
    found: set[int] = set()
    for foot in index.beside(in_plan([labels[number].seen for number in numbers]), near).feet():
        share, bend = foot.on / float(index.rows.length[foot.number]), abs(float(index.rows.curvature[foot.number]))
        noted = (figures[foot.which] / convert(1.0, unit) for unit in units)
        if 1 / 4 <= share <= 3 / 4 and any(abs(radius * bend - 1) <= _RADIUS_SHARE for radius in noted):
            found.add(numbers[foot.which])
    return found


def at_joints(
    linked: Linked, texts: Sequence[tuple[Label, float]], shown: list[list[Source]], near: float
) -> list[tuple[Label, float]]:
    """Give each text that is a height to the joint nearest to it, within `near`, m; return those that stand near none.

    One nearer to where two tracks of a line meet, within `AT_END`, belongs there. `shown` are the heights that each
    joint has so far.
    """
    labels, spots = [label for label, _ in texts], in_plan([joint.spot for joint in linked.joints])
    meetings = in_plan([element.end for line in linked.lines for element in line.elements[:-1]])
    nearest = {number: rank for rank, number, _ in reversed(beside_texts(labels, meetings, AT_END))}
    taken: set[int] = set()
    for rank, number, joint in beside_texts(labels, spots, near):
        if number not in taken and rank <= nearest.get(number, math.inf):
            taken.add(number)
            shown[joint].append(Source(texts[number][1], f"the text {quoted(texts[number][0].text)}"))
    return [each for number, each in enumerate(texts) if number not in taken]


_FAR = 3.0
"""Track that is this many times too far from a text is looked for, to say how far it is."""
_MOST_PARTS = 200
"""Into so many parts a side of a text is parted at the most, to look at what lies beside them."""
_AT_ONCE = 10_000
"""The points that are looked up at once: all that lies beside many more would take much memory."""


class Stand(NamedTuple):
    """Where a plan has heights along its lines, by their names, as distances, m; these may override texts."""

    at: Mapping[str, Sequence[float]]
    overriding: bool


_Place = tuple[float, int, float]
"""How far off a place on a line lies, m, the line, and how far along it, m."""


def along_lines(
    linked: Linked,
    names: Sequence[str],
    stand: Stand,
    texts: Sequence[tuple[Label, float]],
    meetings: FloatArray,
    terms: Terms,
) -> tuple[list[list[tuple[float, float]]], list[Fault]]:
    """Return for each line the distances and heights, m, that texts beside it show, and a fault for each unused one.

    A text within `AT_END` of where two tracks of its line meet shows the height there. Of several at one place the
    nearest counts. One that may belong to several places is not used, nor one that contradicts the z of its line; but
    within `AT_END` of `meetings` of drawn strokes, shape (n, 2), on one line alone, it belongs there. No text is
    missed where a height `stand`s in the plan.
    """
    found: list[list[tuple[float, float]]] = [[] for _ in linked.lines]
    if not texts:
        return found, []
    faults = []
    unit = terms.plan_unit
    own = [stand.at.get(name, ()) for name in names]
    rows = Rows.of(line.elements for line in linked.lines)
    index = Nearness(rows)
    nearest = _nearest(index, texts, meetings, terms)
    far = _far({number: texts[number][0] for number, feet, _ in nearest if not feet}, index, terms)
    stops = _stops_beside([label for label, _ in texts], rows)
    for number, feet, unclear in sorted(nearest, key=lambda row: row[1][:1]):
        label, height = texts[number]
        wrong = far.get(number, "")
        for _, row, along in feet[:1]:
            line = linked.lines[row]
            at = stops.get((number, row), along)
            places = [(row, at)] if stand.overriding else []
            places += [(row, along) for _, row, along in feet] if unclear else []
            if any(abs(each - there) <= terms.near for row, each in places for there in own[row]):
                break
            if unclear:
                cure = f"railhead_at = [[{bare(at, unit)}, {bare(height, unit)}]] in [line.{key_written(names[row])}]"
                wrong = f"is beside several tracks; for the nearest write {cure}"
            else:
                wrong = _taken(found[row], (at, height), beyond(line.elements, at).z, unit)
        if wrong:
            faults.append(Fault(UNUSED, f"{quoted(label.text)} {wrong}", label.spot, label.handle, label.layer))
    return found, faults


def _taken(pairs: list[tuple[float, float]], pair: tuple[float, float], drawn: float | None, unit: str) -> str:
    """Add a distance and a height, m, to those of a line unless its z or one of them has another; return why not."""
    at, height = pair
    if drawn is not None:
        off = abs(drawn - height) > MISFIT
        return f"contradicts the z of its line, {describe(drawn, 'length', unit)}" if off else ""
    for place, other in pairs:
        if abs(place - at) <= AT_END:
            same = f"is farther off than {describe(other, 'length', unit)} at this place"
            return same if other != height else ""
    pairs.append(pair)
    return ""


def _nearest(
    index: Nearness, texts: Sequence[tuple[Label, float]], meetings: FloatArray, terms: Terms
) -> list[tuple[int, list[_Place], bool]]:
    """Return for each text the places on lines beside it, the one it belongs to first, and whether that is unclear.

    It is beside what is near to where it was put, or to its middle, and stands abreast of where it was put if it can;
    else beside what is near to its box. What is clearly nearer to its box than the first is makes it unclear.
    """
    labels = [label for label, _ in texts]
    each = np.arange(len(labels))
    put = _places(index, each, in_plan([label.spot for label in labels]), terms.near)
    middle = _places(index, each, in_plan([label.seen for label in labels]), terms.near)
    boxed = _places(index, *_boxes(labels, terms.near / 4), terms.near)
    met: dict[int, list[_Place]] = {}
    for foot in index.beside(meetings, terms.snap).feet():
        met.setdefault(foot.which, []).append((foot.off, foot.row, foot.along))
    beside: dict[int, list[int]] = {}
    for _, text, meeting in beside_texts(_both(labels), meetings, AT_END):
        beside.setdefault(text // 2, []).append(meeting)
    found = []
    for number, label in enumerate(labels):
        own, box = sorted(put[number] + middle[number]) or boxed[number], boxed[number]
        unclear = False
        if own:
            spread = 2 * terms.near + 2 * math.hypot(*label.half)
            off = [each[0] for each in own[1:] if not _together(own[0], each, spread)]
            unclear = any(each < _CLEARLY * own[0][0] + AT_END / 4 for each in off)
            mine = min((each[0] for each in box if _together(own[0], each, spread)), default=own[0][0])
            unclear |= any(_CLEARLY * each[0] + AT_END / 4 < mine for each in box)
            own = [each for each in put[number] if _together(own[0], each, spread)][:1] + own
        if unclear:
            there = [place for meeting in beside.get(number, ()) for place in met.get(meeting, ())]
            if there and all(_together(there[0], each, 2 * AT_END) for each in there):
                own, unclear = there, False
        found.append((number, own, unclear))
    return found


def _far(labels: Mapping[int, Label], index: Nearness, terms: Terms) -> dict[int, str]:
    """Return what is said of texts beside no track: how far off the nearest is, and the limit."""
    owner, spots = _boxes([*labels.values()], terms.near / 4)
    away = np.full(len(labels), math.inf)
    for first in range(0, len(spots), _AT_ONCE):
        near = index.beside(spots[first : first + _AT_ONCE], _FAR * terms.near)
        np.minimum.at(away, owner[first + near.which], near.off)
    limit = f"{describe(terms.near, 'length', terms.plan_unit)} is the limit"
    said = (
        f"the nearest is {describe(off, 'length', terms.plan_unit)} away, " if off < math.inf else ""
        for off in away.tolist()
    )
    return {number: f"is beside no track ({off}{limit})" for number, off in zip(labels, said, strict=True)}


def _boxes(labels: Sequence[Label], step: float) -> tuple[IntArray, FloatArray]:
    """Return points along both long sides of the boxes in which texts are seen, and of which text each is."""
    of, points = along_texts(labels, step, _MOST_PARTS)
    figures = np.array([(*label.middle, *label.half) for label in labels], dtype=np.float64).reshape(-1, 4)
    up = (figures[:, :2] - figures[:, 2:])[of]  # it was put at a corner of its box
    return np.concatenate((of, of)), np.concatenate((points - up, points + up))


def _places(index: Nearness, owner: IntArray, spots: FloatArray, near: float) -> list[list[_Place]]:
    """Return for each owner the places within a distance, m, of any of its points, shape (n, 2), the nearest first."""
    found: list[list[_Place]] = [[] for _ in range(int(owner.max(initial=-1)) + 1)]
    of = owner.tolist()
    for foot in index.beside(spots, near).feet():
        found[of[foot.which]].append((foot.off, foot.row, foot.along))
    return [sorted(places) for places in found]


def _together(one: _Place, other: _Place, spread: float) -> bool:
    """Return whether two places lie on one line, so near to one another along it, m."""
    return one[1] == other[1] and abs(one[2] - other[2]) <= spread


def _stops_beside(labels: Sequence[Label], rows: Rows) -> dict[tuple[int, int], float]:
    """Return where two tracks of a line meet beside a text, as a distance along the line, m, by text and line."""
    stops = np.flatnonzero(rows.before)
    owner, along = rows.owner[stops].tolist(), rows.before[stops].tolist()
    found: dict[tuple[int, int], float] = {}
    for _, text, stop in beside_texts(_both(labels), rows.end[stops - 1], AT_END):
        found.setdefault((text // 2, owner[stop]), along[stop])
    return found


def _both(labels: Sequence[Label]) -> list[Label]:
    """Return each label as seen where it was put, and as it is seen."""
    return [each for label in labels for each in (Label(label.text, label.spot, label.layer, label.handle), label)]
