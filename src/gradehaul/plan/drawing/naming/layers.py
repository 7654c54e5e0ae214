"""Layers known by their names: benchwork, heights and names, and as export writes them lines, berths and slips."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import replace
from glob import escape
from itertools import groupby, pairwise
from typing import Literal, NamedTuple

import numpy as np

from gradehaul.errors import quoted
from gradehaul.plan.drawing.elements import gap, in_plan, place
from gradehaul.plan.drawing.heights.texts import is_number, noted_radii, says_height
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import Drawing, Drawn, DrawnJoint, DrawnLine, Fault, Label
from gradehaul.plan.drawing.rows import Rows
from gradehaul.plan.drawing.wording import NUMBERS

RAILHEAD, HEIGHTS, NAMES = "Railhead line", "Railhead heights", "Names"
"""Layers that export writes: the track in space, and texts with heights and names of joints."""

LINE_NAMES, TRACK_NAMES, TURNTABLES, SLIPS = "Line names", "Single track names", "Turntables", "Slips"
"""Layers whose texts name lines and single tracks, join the ends of track at a turntable, and name the lines that a
slip joins."""

JOINED = "Ends of one joint"
"""The layer whose points and texts join ends that lie apart, as those of a loop that misses closing do."""

BERTH = "Berth "
"""What the name of a layer begins with whose track is a berth."""

EXPORTED = (RAILHEAD, f"{BERTH}*", NAMES, LINE_NAMES, TRACK_NAMES, TURNTABLES, SLIPS, JOINED)
"""The layers of an exported drawing that hold its track and names."""


Use = Literal["track", "heights", "names", "notes", "other"]
_WORDS: dict[Use, tuple[str, ...]] = {
    "track": ("track", "rail", "siding", "yard", "spur", "turnout", "helix", "berth", "gleis"),
    "heights": ("height", "elev", "höhe", "hoehe"),
    "names": ("name", "label", "turntable", "slips"),
    "notes": ("note", "remark", "comment", "annotation", "leader", "notiz", "hinweis"),
    "other": (
        *("bench", "table", "baseboard", "plywood", "riser", "joist", "girder", "wall", "room", "door", "window"),
        *("aisle", "floor", "furniture", "fascia", "backdrop", "building", "structure", "scenery", "terrain"),
        *("contour", "tree", "road", "street", "river", "water", "dim", "border", "frame", "title", "grid", "legend"),
        *("defpoint", "hatch", "viewport", "wiring", "sketch", "tisch", "platte", "wand", "wände", "raum", "tür"),
        *("fenster", "gebäude", "straße", "strasse", "bemaßung", "rahmen"),
    ),
}
"""How words begin that say what a layer shows (our own choice)."""


def use_of(layer: str) -> Use:
    """Return what a layer most likely shows: what the last word of its name says that says anything; else track.

    Examples
    --------
    >>> [use_of(layer) for layer in ("YARD-TRACK", "Track heights", "TABLES", "Yard walls", "0", "Line names")]
    ['track', 'heights', 'other', 'other', 'track', 'names']
    """
    for word in reversed(re.findall(r"[^\W\d_]+", layer.casefold())):
        for use, stems in _WORDS.items():
            if word.startswith(stems):
                return use
    return "track"


def lone_layers(drawn: Drawn) -> list[Fault]:
    """Return a fault for each layer whose lines meet none of another's and whose name does not say that it is track."""
    lines = list(drawn.lines.values())
    met = {
        layer
        for joint in drawn.joints.values()
        for layers in [{element.layer for end in joint.ends for element in lines[end.line].elements}]
        for layer in layers
        if len(layers) > 1
    }
    every = {element.layer: (element, line) for line in lines for element in line.elements}
    return [
        Fault(
            "lone-layer",
            f"nothing on layer {quoted(layer)} meets track of another: if it is not track, name the others in --layers",
            element.start,
            layer=layer,
            weight=line.length,
        )
        for layer, (element, line) in every.items()
        if len(every) > 1 and layer not in met and not re.search("|".join(_WORDS["track"]), layer.casefold())
    ]


def without_notes(drawing: Drawing, lone: Sequence[Fault]) -> Drawing:
    """Return a drawing without the lone layers that are called notes: with neither their lines nor their names."""
    notes = {fault.layer: fault for fault in lone if use_of(fault.layer) == "notes"}
    if not notes:
        return drawing
    faults = [
        Fault("no-track", f"layer {quoted(layer)} meets no track and is called notes: left out", at.spot, layer=layer)
        for layer, at in notes.items()
    ]
    return replace(
        drawing,
        strokes=tuple(stroke for stroke in drawing.strokes if stroke.layer not in notes),
        labels=tuple(each for each in drawing.labels if each.layer not in notes or says_height(each.text)),
        faults=(*drawing.faults, *faults),
    )


STEEPEST = 0.3
"""Numbers that would make a steeper grade are no heights (our own choice)."""
_NUMBERS = 3
"""So many bare numbers on a layer may be heights (our own choice)."""


class Numbers(NamedTuple):
    """A layer with bare numbers beside track, how many it has, and whether they can hardly be anything but heights."""

    layer: str
    amount: int
    surely: bool

    def fault(self, *, taken: bool) -> Fault:
        """Return what is said of it."""
        layer, pattern = quoted(self.layer), quoted(escape(self.layer))
        text = f"{self.amount:,} texts on {layer} look like heights: if they are, add --height-layers {pattern}"
        if taken:
            text = f"{self.amount:,} heights read from numbers on {layer}: if they are not, add --height-layers none"
        return Fault(NUMBERS, text, layer=self.layer)


def layers_with_numbers(labels: Sequence[Label], drawn: Drawn, near: float, unit: str) -> list[Numbers]:
    """Return the layers on which three bare numbers or more, at least half of them, stand beside track, m.

    Radii noted at their curves, in the plan's `unit` or the drawing's, do not count. They can hardly be anything but
    heights if three of them differ, the layer is not called after names, and they are not in a row like the numbers of
    tracks (our own choice).
    """
    found: dict[str, list[str]] = {}
    lines = list(drawn.lines.values())
    radii = noted_radii(labels, lines, near, (unit, drawn.unit))
    numbers = [each for number, each in enumerate(labels) if is_number(each.text) and number not in radii]
    for label in numbers:
        found.setdefault(label.layer, []).append(label.text.strip())
    index = Nearness(Rows.of(line.elements for line in lines))
    at_track = np.unique(index.beside(in_plan([label.seen for label in numbers]), near).which).tolist()
    beside = Counter(numbers[number].layer for number in at_track)
    layers = []
    for layer, texts in sorted(found.items()):
        if beside[layer] >= max(_NUMBERS, len(texts) / 2):
            whole = sorted(int(text) for text in texts if text.isdecimal())
            in_a_row = len(whole) == len(texts) and whole == [*range(whole[0], whole[-1] + 1)]
            surely = len({*texts}) >= _NUMBERS and not in_a_row and use_of(layer) != "names"
            layers.append(Numbers(layer, len(texts), surely))
    return layers


def too_steep(drawn: Drawn) -> bool:
    """Return whether heights along a line, or of its joints, make a grade that no railway has: they are none."""
    joints = list(drawn.joints)
    for line in drawn.lines.values():
        length = sum(element.length for element in line.elements)
        ends = ((0.0, drawn.heights.get(joints[line.start])), (length, drawn.heights.get(joints[line.finish])))
        shown = sorted([*line.railhead_at, *((at, height) for at, height in ends if height is not None)])
        if any(abs(high - low) > STEEPEST * (end - start) for (start, low), (end, high) in pairwise(shown)):
            return True
    return False


class Labels(NamedTuple):
    """Labels by what their layers say of them; `names` are of lines and of joints."""

    names: list[Label]
    turntables: list[Label]
    slips: list[Label]
    berths: list[Label]
    joined: list[Label]
    tracks: list[Label]


def by_layer(labels: Sequence[Label]) -> Labels:
    """Return labels by what their layers say of them; capitals do not matter."""
    found = Labels([], [], [], [], [], [])
    layers = {TURNTABLES: found.turntables, SLIPS: found.slips, JOINED: found.joined, TRACK_NAMES: found.tracks}
    own = {layer.casefold(): labels for layer, labels in layers.items()}
    for label in labels:
        others = found.berths if _is_berth(label.layer) else found.names
        own.get(label.layer.casefold(), others).append(label)
    return found


def names_lines(label: Label) -> bool:
    """Return whether a label may name a line and nothing else."""
    return label.layer.casefold() == LINE_NAMES.casefold()


def _is_berth(layer: str) -> bool:
    return layer.casefold().startswith(BERTH.casefold())


# Slips


def with_slips(joint: DrawnJoint, labels: Sequence[Label], names: Sequence[str], near: float) -> DrawnJoint:
    """Return a crossing with the slips that texts beside it name, each as two lines with ``to`` between them."""
    if joint.kind != "crossing":
        return joint
    texts = {label.text for label in labels if gap(label.spot, joint.spot) <= near}
    by_name = {joint.end_name(end, names): end for end in joint.ends}
    found = [
        (min(by_name[one], by_name[other]), max(by_name[one], by_name[other]))
        for one in by_name
        for other in by_name
        if f"{one} to {other}" in texts
    ]
    return joint._replace(slips=tuple(sorted({*joint.slips, *found}))) if found else joint


# Berths


def berths_of(
    lines: Sequence[DrawnLine], labels: Sequence[Label], taken: Collection[str]
) -> tuple[list[tuple[str, ...]], set[str]]:
    """Return for each line the berth that each of its elements is in, if any is in one, and the names of all berths.

    Track on a layer whose name begins with ``Berth`` is a berth. It bears the name that a text on that layer has, the
    nearest of several, else the rest of the layer's name; one that is taken has a number after it.
    """
    if not any(map(_is_berth, {element.layer for line in lines for element in line.elements})):
        return [()] * len(lines), set()
    used = set(taken)
    found: list[tuple[str, ...]] = []
    for line in lines:
        berths: list[str] = []
        for layer, group in groupby(line.elements, key=lambda element: element.layer):
            elements = list(group)
            name = ""
            if _is_berth(layer):
                middle = place(elements[len(elements) // 2], elements[len(elements) // 2].length / 2)
                texts = [label for label in labels if label.layer == layer]
                nearest = min(texts, key=lambda label: (gap(label.spot, middle), label.text), default=None)
                name = free_name(nearest.text if nearest else layer[len(BERTH) :].strip() or "Berth", used)
            berths += [name] * len(elements)
        found.append(tuple(berths) if any(berths) else ())
    return found, used - set(taken)


def free_name(name: str, used: set[str]) -> str:
    """Return a name that nothing bears yet, this one, or this one and a number; it is `used` from now on.

    Examples
    --------
    >>> free_name("Yard", {"Yard", "Yard 2"})
    'Yard 3'
    """
    found, number = name, 2
    while found in used:
        found, number = f"{name} {number}", number + 1
    used.add(found)
    return found
