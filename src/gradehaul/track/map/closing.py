"""By how much closed figures of lines miss closing, and the one track whose change alone would close each."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.plan.names import some
from gradehaul.plan.records import Line, Note, Plan, Track
from gradehaul.quantities import conversion, describe
from gradehaul.quantities.units import digits
from gradehaul.track.curvature import Section, chains, own_sections, sections
from gradehaul.track.map.plane import Leg, legs_of
from gradehaul.track.map.positions import USABLE_ANGLE, USABLE_MISCLOSURE, ClosureError, Positions, map_positions

_NAMED_LINES = 8
"""Lines of a figure that a note names."""
_DRAWN, _LAID_ANGLE = 0.1, math.radians(2)
"""Lines of a drawing that miss one another by less than this share of the gauge and this angle, rad, get no note."""
_PUSHED = math.radians(5)
"""A figure that misses closing by a greater angle, or by more than its gauge, cannot be laid (our own limits)."""
_MOST_ALIKE = 3
"""Of more figures that miss alike only the worst is noted, with their count."""
PERFECT = (1e-4, math.radians(0.01))
"""Misclosures below this distance, m, and angle, rad, are not worth a note: no builder lays track closer."""

_MOST_NAMED = 3
"""Where more changes than so many would close a figure, none is named."""
_MOST_TRIALS = 24
"""Changes tried on the whole plan at most, since each lays out all of it again."""
_MOST_WALKED = 20_000
"""Tracks of figures that miss looked at in one plan at most."""
_FINEST = 5
"""The most decimals of a length in the plan's unit, or of an angle in degrees."""


def closure_notes(
    plan: Plan, positions: Positions, curvature: Mapping[str, Sequence[Section]]
) -> list[tuple[Note, bool]]:
    """Return a note for each figure that misses closing by more than track is laid, and whether that matters.

    It matters where the figure misses by more than track can be pushed into place, and by no break of direction that an
    import was to join; those come first, the worst at the
    head. Many alike are one note with their count. A note names the change of one track that alone would close the
    figure. Diverging tracks drawn at an angle, as symbols of turnouts with straight sides are, are one note as well.
    """
    faults = _likely_faults(plan, positions, curvature)
    drawn: dict[str, ClosureError] = {}
    stated_at: set[str] = set()
    alike: dict[tuple[bool, bool], list[ClosureError]] = {}
    for closure in sorted(positions.closures, key=lambda each: -each.severity):
        if _closes(closure) or _as_drawn(plan, closure, _LAID_ANGLE):
            continue
        if _as_drawn(plan, closure, USABLE_ANGLE) and plan.joints[closure.joint].kind == "turnout":
            drawn.setdefault(closure.joint, closure)
        elif not closure.stated or closure.joint not in stated_at:  # of lines at one joint the worst is enough
            stated_at.update([closure.joint] if closure.stated else [])
            alike.setdefault((not _matters(plan, closure), closure.stated), []).append(closure)
    notes: list[tuple[Note, bool]] = []
    for (slight, stated), closures in sorted(alike.items()):
        many = len(closures) > _MOST_ALIKE
        for closure in closures[:1] if many else closures:
            text = f"{_verb(closure)} by {_miss(plan, closure)}"
            if words := faults.get(closure):
                text += f"; {' or '.join(words)} would close it"
            if many:
                text += f"; the worst of {len(closures)} {'that do' if stated else 'loops that do'}"
            notes.append((Note(figure_name(closure), text), not slight))
    if drawn:
        worst = next(iter(drawn.values()))
        turnouts = "1 turnout has its" if len(drawn) == 1 else f"{len(drawn)} turnouts have their"
        text = f"{turnouts} diverging track drawn at an angle, {degrees(worst.angle or 0.0)}° at most"
        notes.append((Note("drawing", f"{text}, at joint {worst.joint}; no curve is counted for it"), False))
    return notes


def misclosure(plan: Plan, closure: ClosureError) -> str:
    """Return by how much a figure misses closing: in place in the plan's unit, in heading in degrees, or in both."""
    words = [describe(closure.distance, "length", plan.unit, 2)] if closure.distance >= PERFECT[0] else []
    if abs(closure.angle or 0.0) >= PERFECT[1] or not words:
        words.append(f"{degrees(closure.angle or 0.0)}°")
    return " and ".join(words)


def degrees(angle: float) -> str:
    """Return the size of an angle, rad, in degrees to two digits that count; to a thousandth, as it is never laid."""
    return digits(round(math.degrees(abs(angle)), 3), 2)


def _miss(plan: Plan, closure: ClosureError) -> str:
    """Return by how much a figure misses closing, as a share of its length, and where it shows."""
    text = misclosure(plan, closure)
    if closure.distance >= PERFECT[0]:
        share = describe(closure.share, "share", "%", 2)
        text += f" over {describe(closure.length, 'length', plan.unit)} ({share})"
    text += f", at joint {closure.joint}" if closure.joint else ""
    to_join = _as_drawn(plan, closure, plan.kink)
    return (
        f"{text}; import was to join such a break, and no curve is counted for it: draw one there" if to_join else text
    )


def _matters(plan: Plan, closure: ClosureError) -> bool:
    """Return whether a figure misses closing by more than track can be pushed into place or import was to join."""
    return not _as_drawn(plan, closure, plan.kink) and (
        closure.distance > plan.scale.gauge or abs(closure.angle or 0.0) > _PUSHED or closure.share > USABLE_MISCLOSURE
    )


def figure_misses(closure: ClosureError) -> str:
    """Return the words that a figure misses closing."""
    return f"{figure_name(closure)} {_verb(closure)}"


def _verb(closure: ClosureError) -> str:
    return "miss one another" if closure.stated else "misses closing"


def _as_drawn(plan: Plan, closure: ClosureError, angle: float) -> bool:
    """Return whether lines of a drawing meet in place, and in heading to within an angle, rad."""
    near = closure.distance < _DRAWN * plan.scale.gauge
    return closure.stated and near and abs(closure.angle or 0.0) <= angle


def figure_name(closure: ClosureError) -> str:
    """Return the words that name a figure by its lines: a loop, or lines whose places are stated."""
    return f"{'lines' if closure.stated else 'loop'} {some(closure.lines, _NAMED_LINES)}"


class _Change(NamedTuple):
    """A track as it would close a figure, and words for it."""

    track: Track
    words: str


def _closes(closure: ClosureError) -> bool:
    """Return whether a figure closes as well as track is laid."""
    return closure.distance < PERFECT[0] and abs(closure.angle or 0.0) < PERFECT[1]


def _likely_faults(
    plan: Plan, positions: Positions, curvature: Mapping[str, Sequence[Section]]
) -> dict[ClosureError, tuple[str, ...]]:
    """Return for each figure that misses the changes of one track that alone would close it, in words.

    Each is tried: with it, the figure closes and no other that closed is opened. Figures that no single change closes,
    or that many would, are left out.
    """
    found: dict[ClosureError, tuple[str, ...]] = {}
    legs: dict[str, Leg] | None = None
    trials, walked = _MOST_TRIALS, 0
    for number, closure in enumerate(positions.closures):
        if _closes(closure) or not closure.steps:
            continue
        walked += sum(len(plan.lines[name].tracks) for name in closure.lines)
        if walked > _MOST_WALKED or not trials:
            break
        legs = legs_of(curvature) if legs is None else legs
        changes = list(_changes(plan, closure, legs))
        if not 0 < len(changes) <= 2 * _MOST_NAMED or len(changes) > trials:
            continue
        trials -= len(changes)
        good = [change for change in changes if _mends(plan, positions, number, change.track)]
        if 0 < len(good) <= _MOST_NAMED:
            found[closure] = tuple(change.words for change in good)
    return found


def _changes(plan: Plan, closure: ClosureError, legs: Mapping[str, Leg]) -> Iterator[_Change]:
    """Yield the changes of one track that close a figure.

    The walk round the figure is a product of legs, which is nothing where it closes. So all legs but one determine
    that one; a change is yielded where a straight, or a curve of its radius, can be it.
    """
    walk: list[tuple[Track | None, bool, Leg]] = []
    for step in closure.steps:
        if step.reverses:
            walk.append((None, True, Leg(0j, math.pi)))
        tracks = plan.lines[step.line].tracks if step.line else ()
        for each in tracks if step.forward else reversed(tracks):
            leg = legs[each.id]
            walk.append((each, step.forward, leg if step.forward else leg.reversed()))
    behind = [Leg(0j, 0.0)]
    for _, _, leg in reversed(walk):
        behind.append(leg.then(behind[-1]))
    behind.reverse()
    ahead = Leg(0j, 0.0)
    for place, (track, forward, leg) in enumerate(walk):
        if track is not None and track.kind != "easement":
            needed = ahead.inverse().then(behind[place + 1].inverse())
            wanted = needed if forward else needed.reversed()
            if change := _change(plan, track, wanted):
                yield change
        ahead = ahead.then(leg)


def _fits(track: Track, wanted: Leg) -> bool:
    distance, angle = legs_of({track.id: own_sections(track)})[track.id].apart(wanted)
    return distance < PERFECT[0] and abs(angle) < PERFECT[1]


def _change(plan: Plan, track: Track, wanted: Leg) -> _Change | None:
    """Return a track with another hand, angle or length that leads as wanted; None where there is none."""
    if track.kind == "straight":
        return _other_length(plan, track, wanted)
    return _other_hand(plan, track, wanted) or _other_angle(track, wanted)


def _other_length(plan: Plan, track: Track, wanted: Leg) -> _Change | None:
    times, parts = conversion(plan.unit)
    straight = _roundest(
        wanted.chord.real * parts / times, lambda number: replace(track, length=number * times / parts), wanted
    )
    if straight is None:
        return None
    now, then = (describe(each.length, "length", plan.unit) for each in (track, straight))
    return _Change(straight, f"{_name(track)} at {then} instead of {now}")


def _other_hand(plan: Plan, track: Track, wanted: Leg) -> _Change | None:
    other = replace(track, curvature=-track.curvature)
    if abs(math.remainder(wanted.turn + _turned(track), math.tau)) > PERFECT[1] or not _fits(other, wanted):
        return None
    hand = "left" if other.curvature > 0 else "right"
    turnout = _turnout(plan, plan.lines[track.line], track)
    return _Change(
        other, f"turnout {turnout} laid {hand} ({_name(track)})" if turnout else f"{_name(track)} laid {hand}"
    )


def _other_angle(track: Track, wanted: Leg) -> _Change | None:
    now = abs(_turned(track))
    angle = now + math.remainder(math.copysign(1.0, track.curvature) * wanted.turn - now, math.tau)

    def through(degrees: float) -> Track:
        return replace(track, length=math.radians(degrees) / abs(track.curvature) + track.ease)

    curve = _roundest(math.degrees(angle), through, wanted)
    if curve is None:
        return None
    degrees = math.degrees(abs(_turned(curve)))
    return _Change(curve, f"{_name(track)} through {degrees:.6g} degrees instead of {math.degrees(now):.6g}")


def _roundest(figure: float, with_figure: Callable[[float], Track], wanted: Leg) -> Track | None:
    """Return a track with a figure of the fewest decimals with which it leads as wanted; None where none does."""

    def leads(track: Track) -> bool:
        return track.length > max(PERFECT[0], 2 * track.ease) and _fits(track, wanted)

    if not leads(with_figure(figure)):
        return None
    tried = (with_figure(round(figure, decimals)) for decimals in range(_FINEST + 1))
    return next((track for track in tried if leads(track)), None)


def _turned(track: Track) -> float:
    """Return by how much a curve turns, radians: an easement at both ends turns half of what an arc as long does."""
    return track.curvature * (track.length - track.ease)


def _name(track: Track) -> str:
    own = f" ({track.name})" if track.name != track.id else ""
    return f"{track.kind} {track.number} of {track.line}{own}"


def _turnout(plan: Plan, line: Line, track: Track) -> str:
    """Return the turnout of which a curve is the beginning of a leg, or no name."""
    for end, first in (("from", line.tracks[0]), ("to", line.tracks[-1])):
        joint = plan.joints[line.start if end == "from" else line.finish]
        if first.id == track.id and joint.kind == "turnout":
            return joint.name
    return ""


def _mends(plan: Plan, positions: Positions, number: int, track: Track) -> bool:
    """Return whether a change closes a figure of a plan and opens no other."""
    line = plan.lines[track.line]
    tracks = tuple(track if each.id == track.id else each for each in line.tracks)
    changed = replace(plan, lines={**plan.lines, line.name: replace(line, tracks=tracks)})
    after = map_positions(changed, sections(changed, chains(changed))).closures
    if len(after) != len(positions.closures) or not _closes(after[number]):
        return False
    return all(_closes(now) or not _closes(then) for then, now in zip(positions.closures, after, strict=True))
