"""A drawing becomes a network with names and heights: read, fitted, linked, named, and its heights gathered."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np

from gradehaul.errors import GradehaulError, Problems, QuantityError
from gradehaul.plan.drawing.dxf.entities import matches
from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.heights import read_heights
from gradehaul.plan.drawing.heights.flat_turns import Turns, flat_helices, level_turns
from gradehaul.plan.drawing.heights.levels import at_zero_elevation, climbing, raised_by_plan
from gradehaul.plan.drawing.heights.texts import read_height, says_height
from gradehaul.plan.drawing.joining import joined
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.linking.duplicates import overlap_faults
from gradehaul.plan.drawing.linking.flaws import kinks_left, uncertain_radii
from gradehaul.plan.drawing.naming import LONGEST, KnownLine, claimed, name_all, named_marks, recognize
from gradehaul.plan.drawing.naming.layers import berths_of, by_layer, use_of, with_slips, with_turntables
from gradehaul.plan.drawing.plausible import center_lines, check_size, refuse_rails, sharp_curves, without_frames
from gradehaul.plan.drawing.records import (
    Claim,
    Drawing,
    Drawn,
    Element,
    Fault,
    Label,
    Linked,
    Reach,
    Spot,
    Stroke,
    Terms,
)
from gradehaul.plan.drawing.wording import UNUSED
from gradehaul.plan.names import quoted

SHORTEST = 1e-5
"""An element shorter than this, m, is no track: what rounding leaves where pieces meet."""
LEAST_TURN = 1e-5
"""A curve that turns by less than this, radians, is a straight: a tenth of a millimeter aside over ten meters."""
_SURELY = 0.01
"""A single segment longer than this, in tolerances, has a length for the fitting too."""
WITHIN = 4.0
"""In snaps: how far from its joint a point may lie (our own choice)."""


def assemble(
    drawing: Drawing,
    terms: Terms,
    *,
    claims: Sequence[Claim] = (),
    known: Sequence[KnownLine] = (),
    given: Mapping[str, float] | None = None,
    given_along: Mapping[str, Sequence[float]] | None = None,
    before: Mapping[str, float] | None = None,
    lines_taken: Collection[str] = (),
    joints_taken: Collection[str] = (),
) -> Drawn:
    """Return a drawing that was read as a network with names and heights.

    Parameters
    ----------
    drawing, terms
        What was read, and on what terms.
    claims
        Names for joints nearest to points.
    known
        The lines of an earlier drawing, whose names stay.
    given, before
        Heights of joints that stand already, m, by name: in the plan, and in one that is to be written anew.
    given_along
        Where along lines the plan gives heights, m, by name of line.
    lines_taken, joints_taken
        Names of the plan's own lines and berths, and of its joints.

    Raises
    ------
    DrawingError
        The drawing cannot be track.
    Problems
        Points name no joint, or heights contradict one another.
    """
    check_size(drawing, terms)
    drawing = without_frames(drawing, terms)
    layers = Counter(stroke.layer for stroke in drawing.strokes)
    strokes, dropped, gaps = joined(drawing.strokes, terms)
    twice = overlap_faults(dropped, {source: length for source, _, length, _ in dropped}, terms.plan_unit)
    drawing = replace(drawing, strokes=tuple(strokes), faults=(*drawing.faults, *twice, *gaps))
    texts, labels, unread = _sorted_labels(drawing.labels, terms, layers)
    linked, faults, circles = _linked(drawing, texts, terms)
    faults += unread
    own = by_layer(labels)
    linked, of_tables, lengths = with_turntables(linked, own.turntables, terms.near, terms.plan_unit)
    berths, of_berths = berths_of(linked.lines, own.berths, {*lines_taken, *joints_taken})
    named, wrong = claimed(linked.joints, claims, terms.plan_unit)
    errors: list[GradehaulError] = [*wrong]
    again, lines_again = recognize(linked, known, WITHIN * terms.snap)
    gone = {name for line in known for name in (line.name, line.start, line.finish)}
    names = name_all(
        linked,
        {**again, **of_tables, **named},
        own.names,
        near=terms.near,
        known_lines=lines_again,
        lines_taken={*lines_taken, *gone, *of_berths},
        joints_taken=joints_taken,
    )
    for label in names.unused:
        why = "longer than a name" if len(label.text) > LONGEST else "too far from track that it may name"
        text = f"{quoted(label.text[:LONGEST])} names nothing: {why}"
        faults.append(Fault("text-unused", text, label.spot, label.handle, label.layer))
    linked = raised_by_plan(linked, drawing.strokes, names.joints, {**(before or {}), **(given or {})})
    heights = read_heights(linked, names.joints, names.lines, texts, given or {}, given_along or {}, terms)
    errors += [error.at(file=drawing.file) for error in heights.errors]
    if errors:
        raise Problems(errors)
    own_heights = {number: (given or {}).get(name) for number, name in enumerate(names.joints)}
    every = heights.joints | {number: height for number, height in own_heights.items() if height is not None}
    faults += flat_helices(circles, linked, heights.along, every, terms)
    lines = [
        line._replace(name=name, railhead_at=along, berths=in_berths)
        for line, name, along, in_berths in zip(linked.lines, names.lines, heights.along, berths, strict=True)
    ]
    joints = [
        with_slips(joint, own.slips, names.lines, terms.near)._replace(name=name, length=lengths.get(number))
        for number, (name, joint) in enumerate(zip(names.joints, linked.joints, strict=True))
    ]
    return Drawn(
        file=drawing.file,
        unit=drawing.unit,
        layers=dict(sorted(layers.items())),
        texts=(sorted({label.layer for label in labels}), sorted({label.layer for label, _ in texts})),
        lines={line.name: line for line in lines},
        joints={joint.name: joint for joint in joints},
        heights={names.joints[number]: height for number, height in sorted(heights.joints.items())},
        faults=(*faults, *heights.faults),
    )


def _linked(
    drawing: Drawing, texts: Sequence[tuple[Label, float]], terms: Terms
) -> tuple[Linked, list[Fault], list[Turns]]:
    """Return the network of a drawing's strokes, all faults up to here, and circles."""
    reaches, faults = reaches_of(drawing.strokes, tolerance=terms.fit, kink=terms.kink)
    if terms.rails:
        reaches, alone = center_lines(reaches, terms)
        faults += alone
    else:
        refuse_rails(reaches, terms, drawing.file)
    reaches, of_turns = climbing(reaches, terms)
    faults += of_turns
    reaches = at_zero_elevation(reaches, texts, terms)
    marks = named_marks(drawing.marks, drawing.labels, terms.near)
    linked = link(reaches, terms, marks)
    lines = tuple(line._replace(elements=tidied(line.elements)) for line in linked.lines)
    linked = replace(linked, lines=lines)
    of_linking = [fault for fault in linked.faults if not (terms.rails and fault.code in {"duplicate", "overlap"})]
    faults = [*kinks_left(faults, linked, terms.snap), *of_linking, *uncertain_radii(linked, terms.plan_unit)]
    faults += sharp_curves([element for line in linked.lines for element in line.elements], drawing, terms)
    return linked, [*drawing.faults, *faults], level_turns(reaches, terms.snap)


def reaches_of(strokes: Sequence[Stroke], *, tolerance: float, kink: float) -> tuple[list[Reach], list[Fault]]:
    """Return what `fit_stroke` makes of every stroke, in their order, with all its faults.

    Single lines and arcs, which need no fitting, are made at once; `tolerance`, m, and `kink`, radians, are its own.
    """
    found: list[Reach] = []
    faults: list[Fault] = []
    single = _single(strokes, _SURELY * tolerance) if tolerance > 0 and kink > 0 else {}
    for number, stroke in enumerate(strokes):
        own = single.get(number)
        if own is not None:
            found.append(own)
            continue
        reaches, wrong = fit_stroke(stroke, tolerance=tolerance, kink=kink)
        found += reaches
        faults += wrong
    return found, faults


def _single(strokes: Sequence[Stroke], shortest: float) -> dict[int, Reach]:
    """Return the reaches of strokes that are one exact segment longer than `shortest`, m, by number.

    A bulge is the tangent of a quarter of the turn, and the chord of a turn 2h is sin(h)/h of the arc (plane geometry).
    """
    numbers = [number for number, stroke in enumerate(strokes) if len(stroke.bulges) == 1 and stroke.exact]
    if not numbers:
        return {}
    tips = np.concatenate([strokes[number].points for number in numbers]).reshape(-1, 4)
    across, up = tips[:, 2:].T - tips[:, :2].T
    chord, half = np.hypot(across, up), 2 * np.arctan(np.concatenate([strokes[number].bulges for number in numbers]))
    heading = np.arctan2(up, across) - half
    heading -= math.tau * np.rint(heading / math.tau)
    with np.errstate(all="ignore"):
        rows = np.column_stack((tips, heading, 2 * np.sin(half) / chord, chord / np.sinc(half / math.pi)))
    found: dict[int, Reach] = {}
    for number, size, (x, y, x2, y2, way, bend, length) in zip(numbers, chord.tolist(), rows.tolist(), strict=True):
        if size <= shortest:
            continue
        stroke = strokes[number]
        low, high = (None, None) if stroke.heights is None else stroke.heights.tolist()
        element = Element(Spot(x, y, low), Spot(x2, y2, high), way, bend, length, stroke.handle, stroke.layer)
        found[number] = Reach((element,))
    return found


def tidied(elements: Sequence[Element]) -> tuple[Element, ...]:
    """Return elements without those too short to be track, and with those that hardly turn as straights.

    What is left out goes to the length of its neighbor. A line that is shorter than any track as a whole stays.

    Examples
    --------
    >>> long = Element(Spot(0, 0), Spot(2, 0), 0.0, 1e-7, 2.0, "", "")
    >>> short = Element(Spot(2, 0), Spot(2.000001, 0), 0.0, 1.0, 1e-6, "", "")
    >>> [[(element.length, element.curvature) for element in tidied(row)] for row in ([long, short], [short, long])]
    [[(2.000001, 0.0)], [(2.000001, 0.0)]]
    """
    if all(e.length >= SHORTEST and (e.curvature == 0 or abs(e.curvature) * e.length >= LEAST_TURN) for e in elements):
        return tuple(elements)
    found: list[Element] = []
    waiting = 0.0
    for element in elements:
        if element.length >= SHORTEST or len(elements) == 1:
            straight = abs(element.curvature) * element.length < LEAST_TURN
            curvature = 0.0 if straight else element.curvature
            found.append(element._replace(length=element.length + waiting, curvature=curvature))
            waiting = 0.0
        elif found:
            found[-1] = found[-1]._replace(length=found[-1].length + element.length, end=element.end)
        else:
            waiting += element.length
    return tuple(found) if found else (elements[0]._replace(length=waiting, end=elements[-1].end),)


def _sorted_labels(
    labels: Sequence[Label], terms: Terms, tracks: Collection[str]
) -> tuple[list[tuple[Label, float]], list[Label], list[Fault]]:
    """Return texts that are heights, m, texts that may be names, and faults for heights that cannot be read.

    `tracks` are the layers with track: on one of these, or on one that is named as track too, a text on a layer of
    heights may be a name, unless that layer is called after heights.
    """
    heights: list[tuple[Label, float]] = []
    names: list[Label] = []
    faults: list[Fault] = []
    named = [pattern for pattern in terms.layers if pattern != "*"]
    for label in labels:
        of_heights = matches(label.layer, terms.height_layers)
        if not of_heights and not says_height(label.text):
            names.append(label)
            continue
        try:
            heights.append((label, read_height(label.text, terms.plan_unit)))
        except QuantityError as error:
            of_names = (label.layer in tracks or matches(label.layer, named)) and use_of(label.layer) != "heights"
            if not of_heights or of_names:
                names.append(label)
                continue
            code = UNUSED if any(map(str.isdigit, label.text)) else "height-unread"  # a figure may be a height
            text = f"the text {quoted(label.text)} is no height ({error.wrong})"
            faults.append(Fault(code, text, label.spot, label.handle, label.layer))
    return heights, names, faults
