"""A drawing becomes a network with names and heights: read, fitted, linked, named, and its heights gathered."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace

import numpy as np

from gradehaul.errors import GradehaulError, Problems, QuantityError, quoted
from gradehaul.plan.drawing.dxf.entities import matches
from gradehaul.plan.drawing.elements import in_plan
from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.drawing.fitting.course import WIDEST_CHORD
from gradehaul.plan.drawing.heights import is_flat, read_heights
from gradehaul.plan.drawing.heights.flat_turns import Turns, flat_helices, level_turns
from gradehaul.plan.drawing.heights.levels import at_zero_elevation, climbing, lifted, raised_by_plan
from gradehaul.plan.drawing.heights.texts import Stand, noted_radii, read_height, says_height
from gradehaul.plan.drawing.joining import joined
from gradehaul.plan.drawing.linking import link
from gradehaul.plan.drawing.linking.flaws import kinks_left, unsure_curves
from gradehaul.plan.drawing.linking.overlaps import overlap_faults
from gradehaul.plan.drawing.naming import LONGEST, KnownLine, claimed, is_radius, name_all, named_marks, recognize
from gradehaul.plan.drawing.naming.layers import berths_of, by_layer, use_of, with_slips
from gradehaul.plan.drawing.naming.one_joint import with_joined, with_turntables
from gradehaul.plan.drawing.naming.tracks import names_of_tracks
from gradehaul.plan.drawing.nearness import pairs
from gradehaul.plan.drawing.outlines import Outlines
from gradehaul.plan.drawing.plausible import center_lines, check_size, doubtful_unit, refuse_rails, without_frames
from gradehaul.plan.drawing.records import (
    Claim,
    Drawing,
    Drawn,
    Fault,
    FloatArray,
    IntArray,
    Label,
    Linked,
    Reach,
    Spot,
    Stroke,
    Terms,
)
from gradehaul.plan.drawing.rows import Rows, wrapped
from gradehaul.plan.drawing.wording import UNUSED, rounded_up
from gradehaul.quantities import describe, read_quantity

_SURELY = 0.01
"""A single segment longer than this, in tolerances, has a length for the fitting too."""
_WIDEST = math.radians(15)
"""Ends that lie on other track at a wider angle, radians, are not taken for turnouts (our own choice)."""
WITHIN = 4.0
"""In snaps: how far from its joint a point may lie (our own choice)."""

Fits = dict[tuple[Stroke, bytes], tuple[tuple[Reach, ...], tuple[Fault, ...]]]
"""What was fitted to a stroke, and its faults, by the stroke and the directions at its ends."""


def assemble(
    drawing: Drawing,
    terms: Terms,
    *,
    claims: Sequence[Claim] = (),
    known: Sequence[KnownLine] = (),
    given: Mapping[str, float] | None = None,
    before: Mapping[str, float] | None = None,
    along: Mapping[str, Sequence[float]] | None = None,
    lines_taken: Collection[str] = (),
    joints_taken: Collection[str] = (),
    fits: Fits | None = None,
) -> Drawn:
    """Return a drawing that was read as a network with names and heights.

    `claims` are names for joints nearest to points, `known` the lines of an earlier drawing, whose names stay. Heights
    of joints that stand already, m, by name, are `given` in the plan, or were in one that is written anew, `before`;
    `along` is where along lines it has heights, m. `lines_taken` are the plan's own lines and berths, `joints_taken`
    its joints. `fits` is what was fitted to strokes when they were assembled before, and takes what is fitted now.

    Raises
    ------
    DrawingError
        The drawing cannot be track.
    Problems
        Points name no joint, or heights contradict one another.
    """
    outlines = Outlines.of(drawing.strokes)
    check_size(drawing, outlines, terms)
    drawing, framed = without_frames(drawing, outlines, terms), drawing
    if drawing is not framed:
        outlines = Outlines.of(drawing.strokes)
    layers = Counter(stroke.layer for stroke in drawing.strokes)
    meetings = np.array([stroke.points[end] for stroke in drawing.strokes for end in (0, -1)]).reshape(-1, 2)
    strokes, dropped, gaps = joined(drawing.strokes, outlines, terms)
    twice = overlap_faults(dropped, {source: length for source, _, length, _ in dropped}, terms.plan_unit)
    separate, drawing = drawing, replace(drawing, strokes=tuple(strokes), faults=(*drawing.faults, *twice, *gaps))
    texts, labels, unread = _sorted_labels(drawing.labels, terms, layers)
    fits = {} if fits is None else fits
    linked, faults, left, circles = _linked(drawing, texts, terms, fits)
    faults = _with_snaps(faults, linked, separate, outlines, texts, terms, fits)
    left, radii = _without_radii(left, linked, terms, drawing.unit)
    faults += (*radii, *unread, *_without_unit(texts, drawing.unit, terms.plan_unit))
    own = by_layer(labels)
    linked, faults = with_joined(linked, faults, own.joined, terms)
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
    for label, why in names.unused:
        text = f"{quoted(label.text[:LONGEST])} names nothing: {why}"
        faults.append(Fault("text-unused", text, label.spot, label.handle, label.layer))
    kept = {*again.values(), *lines_again.values()}.difference(of_tables.values(), named.values())
    for label, name in names.other:
        if name in kept:
            kept_name = f"{quoted(name)}: the plan keeps this name, unless you change it there"
            text = f"{quoted(label.text)} stands beside {kept_name}"
            faults.append(Fault("other-name", text, label.spot, label.handle, label.layer))
    if terms.zero and all(map(is_flat, linked.lines)) and not left:
        faults.append(
            Fault("raise", f"{'--raise' if terms.typed else 'raise'} moves nothing: the drawing has no heights")
        )
    own_heights = {**(before or {}), **(given or {})}
    linked, other_zero = raised_by_plan(linked, drawing.strokes, names.joints, own_heights, terms)
    faults += other_zero
    stand = Stand(along or {}, overriding=given is not None)
    heights = read_heights(linked, names.joints, names.lines, left, given or {}, stand, meetings, terms)
    errors += [error.at(file=drawing.file) for error in heights.errors]
    if errors:
        raise Problems(errors)
    of_plan = {number: (given or {}).get(name) for number, name in enumerate(names.joints)}
    every = heights.joints | {number: height for number, height in of_plan.items() if height is not None}
    faults += flat_helices(circles, linked, heights.along, every, terms)
    tracks, unnamed = names_of_tracks(linked.lines, own.tracks, terms.gauge)
    faults += unnamed
    lines = [
        line._replace(name=name, railhead_at=along, berths=in_berths, names=of_tracks)
        for line, name, along, in_berths, of_tracks in zip(
            linked.lines, names.lines, heights.along, berths, tracks, strict=True
        )
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


def _without_radii(
    texts: Sequence[tuple[Label, float]], linked: Linked, terms: Terms, unit: str
) -> tuple[Sequence[tuple[Label, float]], list[Fault]]:
    """Return texts with their heights, m, without those that note the radius of a curve, and a fault for each.

    `unit` is the drawing's. On a layer that is called after heights all are heights.
    """
    labels = [label for label, _ in texts]
    radii = noted_radii(labels, linked.lines, terms.near, (terms.plan_unit, unit))
    radii -= {number for number, label in enumerate(labels) if use_of(label.layer) == "heights"}
    what = "is the radius of the curve that it stands at"
    own = [labels[number] for number in sorted(radii)]
    faults = [Fault(UNUSED, f"{quoted(each.text)} {what}", each.spot, each.handle, each.layer) for each in own]
    return [text for number, text in enumerate(texts) if number not in radii], faults


def _reaches(
    strokes: Sequence[Stroke], texts: Sequence[tuple[Label, float]], terms: Terms, fits: Fits | None, file: str
) -> tuple[Rows, list[Fault], Sequence[tuple[Label, float]]]:
    """Return what strokes become before they are linked, with all faults, and the heights still to be used."""
    reaches, faults = reaches_of(strokes, tolerance=terms.fit, kink=terms.kink, fits=fits)
    if terms.rails:
        reaches, alone = center_lines(reaches, terms)
        faults += alone
    else:
        refuse_rails(reaches, terms, file)
    reaches, of_turns = climbing(reaches, terms)
    faults += of_turns
    reaches, left = lifted(reaches, texts, terms)
    reaches = at_zero_elevation(reaches, left, terms).upward(terms.zero)  # from here on by the plan's 0
    left = [(label, height + terms.zero) for label, height in left]
    return reaches, faults, left


def _linked(
    drawing: Drawing, texts: Sequence[tuple[Label, float]], terms: Terms, fits: Fits | None
) -> tuple[Linked, list[Fault], Sequence[tuple[Label, float]], list[Turns]]:
    """Return the network of a drawing's strokes, all faults up to here, the heights still to be used, and circles."""
    reaches, faults, left = _reaches(drawing.strokes, texts, terms, fits, drawing.file)
    marks = named_marks(drawing.marks, drawing.labels, terms.near)
    linked = link(reaches, terms, marks)
    of_linking = [fault for fault in linked.faults if not (terms.rails and fault.code in {"duplicate", "overlap"})]
    faults = [*kinks_left(faults, linked, terms.snap), *of_linking, *unsure_curves(linked, terms.plan_unit)]
    faults = _with_kinks(faults, linked, reaches, terms, marks)
    faults += doubtful_unit([element for line in linked.lines for element in line.elements], drawing, terms)
    return linked, [*drawing.faults, *faults], left, level_turns(reaches, terms.snap)


def _with_kinks(
    faults: Sequence[Fault], linked: Linked, reaches: Rows, terms: Terms, marks: Sequence[Spot]
) -> list[Fault]:
    """Return faults, those of ends left unjoined for their angle with the kink, in whole degrees, that joins them.

    It is tried, and counts where no crossing is lost by it.
    """
    open_ = [fault for fault in faults if fault.code == "no-tangent" and terms.kink < fault.weight <= _WIDEST]
    if not open_:
        return list(faults)
    wider = math.floor(math.degrees(max(fault.weight for fault in open_)) + 0.05) + 1
    again = link(reaches, replace(terms, kink=math.radians(wider)), marks)
    left = [fault.spot for fault in again.faults if fault.code == "no-tangent" and fault.spot]
    crossings, kept = (
        in_plan([joint.spot for joint in each.joints if joint.kind == "crossing" and not joint.slips])
        for each in (linked, again)
    )
    if len({*pairs(crossings, terms.snap, kept)[0].tolist()}) < len(crossings):
        return list(faults)
    spots = in_plan([fault.spot for fault in open_ if fault.spot])
    still = {*pairs(spots, terms.snap, in_plan(left))[0].tolist()}
    joins = f"{terms.option('kink', str(wider))} joins it"
    cured = {id(fault) for number, fault in enumerate(open_) if number not in still}
    return [replace(each, text=f"{each.text}; {joins}") if id(each) in cured else each for each in faults]


def _with_snaps(
    faults: Sequence[Fault],
    linked: Linked,
    drawing: Drawing,
    outlines: Outlines,
    texts: Sequence[tuple[Label, float]],
    terms: Terms,
    fits: Fits,
) -> list[Fault]:
    """Return faults, those of ends that nearly meet with the snap that joins them.

    It is tried for all of them, then for the nearest, and counts where nothing but these is joined, and nothing lost.
    """
    misses = [fault for fault in faults if fault.code == "near-miss" and fault.spot]
    offs = [terms.snap / fault.weight for fault in misses]
    for most in sorted({max(offs), min(offs)} if offs else (), reverse=True):
        figure = rounded_up(most, terms.plan_unit)
        snap = read_quantity(figure, "length", unit=terms.plan_unit)
        own = [fault for fault, off in zip(misses, offs, strict=True) if off <= snap]
        with suppress(GradehaulError):
            wider = replace(terms, snap=snap)
            strokes, *_ = joined(drawing.strokes, outlines, wider)
            reaches, *_ = _reaches(strokes, texts, wider, fits, drawing.file)
            again = link(reaches, wider, named_marks(drawing.marks, drawing.labels, terms.near))
            if _joins_only(linked, again, in_plan([fault.spot for fault in own if fault.spot]), snap):
                others = "" if len(own) == 1 else f" and {len(own) - 1} other{'s' if len(own) > 2 else ''}"
                joins = f"{terms.option('snap', figure)} joins it{others}"
                cured = {id(fault) for fault in own}
                return [replace(each, text=f"{each.text}; {joins}") if id(each) in cured else each for each in faults]
    return list(faults)


def _joins_only(before: Linked, after: Linked, misses: FloatArray, snap: float) -> bool:
    """Return whether a wider snap, m, joins all ends that nearly meet, at points of shape (n, 2), and no others."""

    def elsewhere(spots: Sequence[Spot], others: FloatArray) -> bool:
        """Return whether one of some points is none of others."""
        return len({*pairs(in_plan(spots), snap, others)[0].tolist()}) < len(spots)

    def joints(linked: Linked, *kinds: str) -> list[Spot]:
        return [joint.spot for joint in linked.joints if joint.kind in kinds]

    def wrong(linked: Linked) -> list[Spot]:
        codes = {"no-tangent", "kink", "level-miss", "stray"}
        return [fault.spot for fault in linked.faults if fault.code in codes and fault.spot]

    for kinds in (("end",), ("plain",), ("turnout", "crossing")):
        one, other = joints(before, *kinds), joints(after, *kinds)
        here, there = (np.concatenate((in_plan(each), misses)) for each in (one, other))
        if elsewhere(one, there) or elsewhere(other, here):
            return False
    joined_all = not len(pairs(misses, snap / 2, in_plan(joints(after, "end")))[0])
    return joined_all and not elsewhere(wrong(after), in_plan(wrong(before)))


def reaches_of(
    strokes: Sequence[Stroke], *, tolerance: float, kink: float, fits: Fits | None = None
) -> tuple[Rows, list[Fault]]:
    """Return what `fit_stroke` makes of every stroke, in their order, with all its faults.

    Single lines and arcs, which need no fitting, are made at once; `tolerance`, m, and `kink`, radians, are its own.
    Strokes that have theirs in `fits` keep it; it takes those of all others.
    """
    single, done = _single(strokes, _SURELY * tolerance if tolerance > 0 and kink > 0 else math.inf)
    found: list[Reach] = []
    faults: list[Fault] = []
    of = [done]
    left = np.setdiff1d(np.arange(len(strokes)), done)
    tips = _directions(strokes, left, tolerance, kink)
    for number, own in zip(left.tolist(), tips, strict=True):
        stroke = strokes[number]
        key, (begin, finish) = (stroke, own.tobytes()), own.tolist()  # where nothing is known, too
        reaches, wrong = (fits or {}).get(key) or fit_stroke(
            stroke, tolerance=tolerance, kink=kink, tips=(begin, finish)
        )
        if fits is not None:
            fits[key] = reaches, wrong
        found += reaches
        faults += wrong
        of.append(np.full(len(reaches), number))
    if not found:
        return single, faults
    fitted = Rows.of([reach.elements for reach in found], [reach.closed for reach in found])
    order = np.argsort(np.concatenate(of), kind="stable")
    return single.and_those_of(fitted).only(order), faults


def _directions(strokes: Sequence[Stroke], numbers: IntArray, tolerance: float, kink: float) -> FloatArray:
    """Return in which directions some strokes begin and end, radians, shape (n, 2): those of exact ones that they meet.

    An end meets another within `tolerance`, m, where that goes on about as the first chord does; of several that which
    is nearest to its direction. An arc leaves its chord by half of what it turns (plane geometry).
    """
    found = np.full(2 * len(numbers), math.nan)
    exact = [stroke for stroke in strokes if stroke.exact]
    if len(numbers) and exact:
        ends, others = Outlines.of([strokes[number] for number in numbers.tolist()]), Outlines.of(exact)
        half = 2 * np.arctan(others.bulges[np.column_stack((others.first[:-1], others.first[1:] - 2)).ravel()])
        half[::2] *= -1
        one, other = pairs(ends.tips[:, :2], tolerance, others.tips[:, :2])
        off = wrapped(others.outward[other] + half[other] + math.pi - ends.outward[one])
        near = np.abs(off) <= kink + WIDEST_CHORD / 2
        order = np.lexsort((np.abs(off[near]), one[near]))
        met, first = np.unique(one[near][order], return_index=True)
        found[met] = (ends.outward[met] + off[near][order][first]) + math.pi * (met % 2)
    return found.reshape(-1, 2)


def _single(strokes: Sequence[Stroke], shortest: float) -> tuple[Rows, IntArray]:
    """Return the strokes that are one exact segment longer than `shortest`, m, a row each, and their numbers.

    A bulge is the tangent of a quarter of the turn, and the chord of a turn 2h is sin(h)/h of the arc (plane geometry).
    """
    numbers = [number for number, stroke in enumerate(strokes) if len(stroke.bulges) == 1 and stroke.exact]
    tips = np.array([strokes[number].points for number in numbers], dtype=np.float64).reshape(-1, 4)
    across, up = tips[:, 2:].T - tips[:, :2].T
    chord = np.hypot(across, up)
    half = 2 * np.arctan(np.array([strokes[number].bulges[0] for number in numbers], dtype=np.float64))
    unknown = (math.nan, math.nan)
    own = (strokes[number].heights for number in numbers)
    heights = np.array([unknown if each is None else each for each in own], dtype=np.float64).reshape(-1, 2)
    with np.errstate(all="ignore"):
        bend, length = 2 * np.sin(half) / chord, chord / np.sinc(half / math.pi)
    heading = wrapped(np.arctan2(up, across) - half)
    fair = chord > shortest
    start, end = (np.column_stack((tips[:, 2 * side : 2 * side + 2], heights[:, side]))[fair] for side in (0, 1))
    each = np.arange(np.count_nonzero(fair))
    done = np.array(numbers, dtype=np.int64)[fair]
    origins = [(strokes[number].handle, strokes[number].layer, None) for number in done.tolist()]
    first, closed = np.arange(len(each) + 1), np.zeros(len(each), dtype=bool)
    return Rows(start, end, heading[fair], bend[fair], length[fair], first, closed, each, origins, {}), done


def _without_unit(texts: Sequence[tuple[Label, float]], unit: str, plan_unit: str) -> list[Fault]:
    """Return a fault where heights, m, would be others in the drawing's own unit."""
    bare = (text for text in texts if not math.isclose(read_height(text[0].text, unit), text[1]))
    for label, height in bare:
        counted = describe(height, "length", plan_unit)
        words = f"one without a unit counts in the plan's: {quoted(label.text)} is {counted}; the drawing is in {unit}"
        return [Fault("no-unit", words, label.spot, label.handle, label.layer)]
    return []


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
        if is_radius(label) or not (of_heights or says_height(label.text)):
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
