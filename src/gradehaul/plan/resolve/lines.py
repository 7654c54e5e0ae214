"""Lines as they are laid: pieces spliced in, tracks numbered along, berths marked off, easements beside curves."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import groupby
from typing import TYPE_CHECKING, NamedTuple

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.records import Berth, Line, LineEnd, Parallel, Place, Track, Unknown
from gradehaul.plan.resolve.pieces import count_tracks, item_place, splice
from gradehaul.quantities import describe

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from gradehaul.plan.records import End, Joint
    from gradehaul.plan.resolve.pieces import Spliced
    from gradehaul.plan.schema.lines import LineTable, PieceTable, TrackTable
    from gradehaul.plan.text.faults import Entry, Faults

_MOST_FIT = 3
"""The most figures of one line that can be fit: its end has a place, which is two figures, and a heading."""
_MOST_TRACKS = 100_000
"""The most tracks in a plan: pieces within pieces could multiply to any number."""
_BY_NUMBER = (
    "turnouts by number are one arc from toe to frog, with the frog's angle; "
    "printed dimensions of your turnouts go before that"
)
_SAME = 1 + 1e-9


@dataclass(slots=True)
class LaidLines:
    """The lines and the berths of a plan."""

    lines: dict[str, Line] = field(default_factory=dict)
    berths: dict[str, Berth] = field(default_factory=dict)
    berth_entries: dict[str, Entry[LineTable]] = field(default_factory=dict)


def lay(
    lines: Mapping[str, Entry[LineTable]],
    pieces: Mapping[str, Entry[PieceTable]],
    known_pieces: Collection[str],
    conditions: Collection[str],
    gauge: float,
    faults: Faults,
) -> LaidLines:
    """Return the lines of a plan, with the tracks of pieces spliced in.

    `known_pieces` are the names of all pieces, with faults too; the arc of a turnout follows from the gauge, m.
    """
    counts = count_tracks(pieces, known_pieces, faults)
    parts: list[Entry[LineTable] | Entry[PieceTable]] = [*pieces.values(), *lines.values()]
    for part in parts:
        _check_rails(part, conditions, faults)
    for name, count in counts.items():
        if count > _MOST_TRACKS:
            faults.at(pieces[name], f"a plan has at most {_MOST_TRACKS} tracks", found="more in this piece")
    laid = LaidLines()
    total = 0
    for name, entry in lines.items():
        if entry.table.rail is not None:
            faults.known(entry, "rail condition", entry.table.rail, conditions)
        size = _size(entry, counts, known_pieces, faults)
        if size is None:
            continue
        total += size
        if total > _MOST_TRACKS:
            faults.at(entry, f"a plan has at most {_MOST_TRACKS} tracks", found="more up to this line")
            break
        _lay_line(name, entry, pieces, laid, gauge, faults)
    _pair_parallels(laid, lines, faults)
    if any(track.turnout is not None for part in parts for track in part.table.track):
        faults.note("", _BY_NUMBER)
    return laid


def _check_rails(part: Entry[LineTable] | Entry[PieceTable], conditions: Collection[str], faults: Faults) -> None:
    for number, table in enumerate(part.table.track):
        if table.rail is not None:
            faults.known(part, "rail condition", table.rail, conditions, inside=item_place(table, number))


def _size(
    entry: Entry[LineTable], counts: Mapping[str, int], known_pieces: Collection[str], faults: Faults
) -> int | None:
    """Return how many tracks a line comes to, None where a piece in it has a fault or is not there."""
    size: int | None = 0
    for number, table in enumerate(entry.table.track, 1):
        part = 1
        if table.piece is not None:
            declare, inside = "[piece.NAME] with its tracks", f"track {number}"
            faults.known(entry, "piece", table.piece, known_pieces, declare=declare, inside=inside)
            part = counts.get(table.piece, 0)
        size = None if size is None or not part else size + part
    return size


def _lay_line(
    name: str,
    entry: Entry[LineTable],
    pieces: Mapping[str, Entry[PieceTable]],
    laid: LaidLines,
    gauge: float,
    faults: Faults,
) -> None:
    table = entry.table
    spliced = list(splice(table.track, pieces))
    tracks = tuple([_track_record(name, number, each, table, gauge) for number, each in enumerate(spliced, 1)])
    for each in spliced[1:-1]:
        if each.table.turnout is not None:
            wrong = "a turnout is the first or the last track of a line"
            write = "a line for each leg, and [turnout.NAME] where they meet"
            faults.at(entry, wrong, write=write, inside=item_place(each.table, each.number))
    figures = sum(len(track.fit) for track in tracks)
    if figures > _MOST_FIT:
        wrong, write = f"at most {_MOST_FIT} figures of a line can be fit", "numbers for the others"
        faults.at(entry, wrong, found=str(figures), write=write)
    if figures and table.at is not None:
        faults.at(entry, "a line with a figure to fit takes its place from its joints", write="the line without at")
    line = laid.lines[name] = Line(
        name,
        table.from_,
        table.to,
        tracks,
        tuple(sorted((where, height) for where, height in table.railhead_at)),
        table.runs,
        None if table.at is None else Place(table.at[0], table.at[1], table.heading or 0.0),
    )
    if not figures and table.railhead_at:
        _check_heights(line, entry, faults)
    _mark_berths(line, entry, spliced, laid, faults)


def _pair_parallels(laid: LaidLines, lines: Mapping[str, Entry[LineTable]], faults: Faults) -> None:
    """Put on each line that runs beside another which one that is; lines with a fault are left as they are."""
    for name, line in list(laid.lines.items()):
        entry = lines[name]
        wanted = entry.table.parallel
        if wanted is None:
            continue
        ends = {line.start, line.finish}
        beside = [each.name for each in laid.lines.values() if each is not line and {each.start, each.finish} == ends]
        other = wanted.line or (beside[0] if len(beside) == 1 else None)
        if other is None:
            write = 'parallel = { line = "NAME", distance = "60 mm" }'
            wrong = "several lines run" if beside else "no other line runs"
            faults.at(entry, f"{wrong} between the same two joints", write=write, inside="parallel")
        elif other == name:
            faults.at(entry, "a line does not run beside itself", write="another line", inside="parallel")
        elif faults.known(entry, "line", other, [each for each in laid.lines if each != name], inside="parallel"):
            laid.lines[name] = replace(line, parallel=Parallel(other, wanted.distance))


def _track_record(line: str, number: int, laid: Spliced, whole: LineTable, gauge: float) -> Track:
    table = laid.table
    key = f"{line}:{number}"
    shape = _shape_of(table, gauge, first=number == 1)
    return Track(
        id=key,
        name=table.name or key,
        line=line,
        number=number,
        kind="curve" if shape.curvature else "easement" if table.easement is not None else "straight",
        length=shape.length,
        curvature=-shape.curvature if laid.mirrored and shape.curvature else shape.curvature,
        ease=table.ease or 0.0,
        grade=table.grade,
        rise=table.rise,
        railhead=table.railhead,
        rail=laid.rail or whole.rail,
        pickup=laid.pickup or whole.pickup or 1.0,
        fit=shape.fit,
        turn=shape.turn,
    )


class _Shape(NamedTuple):
    """Length, m, and curvature, 1/m, of a track, with the figures that are left to be found."""

    length: float
    curvature: float = 0.0
    fit: tuple[Unknown, ...] = ()
    turn: float | None = None


def _shape_of(table: TrackTable, gauge: float, *, first: bool) -> _Shape:
    radius = table.radius
    if table.turnout is not None:
        radius, turned = turnout_arc(table.turnout, gauge)
        # seen from its toe, which is behind where the turnout is the last track of its line
        left = (table.hand == "left") == first
        return _Shape(radius * turned, 1 / radius if left else -1 / radius)
    if radius is None:
        length = table.straight or table.easement or 0.0
        return _Shape(length, fit=("length",) if math.isnan(length) else ())
    open_radius = math.isnan(radius)
    curvature = math.copysign(math.inf if open_radius else 1 / radius, 1.0 if table.left is not None else -1.0)
    fit: tuple[Unknown, ...] = ("radius",) if open_radius else ()
    if table.angle is None:
        assert table.length is not None
        return _Shape(table.length, curvature, (*fit, "length") if math.isnan(table.length) else fit)
    if math.isnan(table.angle):
        return _Shape(math.nan, curvature, (*fit, "angle"))
    # A curve of radius R through the angle θ with easements of length e is R θ − e of arc and twice e.
    length = radius * table.angle + (table.ease or 0.0)
    return _Shape(length, curvature, fit, table.angle if open_radius else None)


def turnout_arc(number: float, gauge: float) -> tuple[float, float]:
    """Return the radius, m, and the angle, radians, of a turnout's curved leg, from its toe to its frog.

    By geometry alone: one arc of radius R leaves the straight track at the toe, and its outer rail, R + g/2, crosses
    the straight track's rail at the frog, where it has turned through the frog's angle F. So
    (R + g/2) cos F = R - g/2. The number of a frog is N = cot(F/2) / 2 (so the angles printed in NMRA RP-12.7), and
    R = 2 g N². A printed turnout has points and a closure of its own: its dimensions take precedence over these.
    """
    return 2 * gauge * number**2, 2 * math.atan(0.5 / number)


def _check_heights(line: Line, entry: Entry[LineTable], faults: Faults) -> None:
    seen: set[float] = set()
    for number, (where, _) in enumerate(entry.table.railhead_at, 1):
        inside, found = f"railhead_at, pair {number}", _shown(where, entry)
        if not 0 <= where <= line.length * _SAME:
            found += f" on a line of {_shown(line.length, entry)}"
            faults.at(entry, "the distance must lie on the line", found=found, inside=inside)
        if where in seen:
            write = "the one that counts"
            faults.at(entry, "two heights at one distance", found=found, write=write, inside=inside)
        seen.add(where)


def _shown(length: float, entry: Entry[LineTable]) -> str:
    return describe(length, "length", entry.source.unit or "mm")


def _mark_berths(
    line: Line, entry: Entry[LineTable], spliced: Sequence[Spliced], laid: LaidLines, faults: Faults
) -> None:
    """Mark off the berths of a line: the whole of it, or tracks in a row that bear one berth's name."""
    table = entry.table
    named = [(table, "")] + [(each, item_place(each, number)) for number, each in enumerate(table.track)]
    for each, inside in named:
        if each.clear is not None and each.berth is None:
            faults.at(entry, '"clear" needs a berth', write='berth = "..." beside it', inside=inside)
    if table.berth is not None:
        clears = [] if table.clear is None else [table.clear]
        _mark_berth(table.berth, list(line.tracks), clears, entry, laid, faults)
        for track in spliced:
            if track.berth is not None:
                wrong = f"this track lies in two berths, {quoted(table.berth)} and {quoted(track.berth)}"
                write = "berth either on the line or on its tracks"
                faults.at(entry, wrong, write=write, inside=item_place(track.table, track.number))
        return
    if not any(track.berth for track in spliced):
        return
    for berth, row in groupby(zip(line.tracks, spliced, strict=True), key=lambda pair: pair[1].berth):
        if berth is not None:
            tracks, marks = zip(*row, strict=True)
            clears = [mark.clear for mark in marks if mark.clear is not None]
            _mark_berth(berth, tracks, clears, entry, laid, faults)


def _mark_berth(
    berth: str,
    tracks: Sequence[Track],
    clears: Sequence[float],
    entry: Entry[LineTable],
    laid: LaidLines,
    faults: Faults,
) -> None:
    inside = f"berth {quoted(berth)}"
    if berth in laid.berths:
        wrong = f"{laid.berth_entries[berth].place} has a berth of this name already"
        faults.at(entry, wrong, write="another name", inside=inside)
        return
    length = sum(track.length for track in tracks)
    clear = clears[0] if clears else None
    if len(set(clears)) > 1:
        found = " and ".join(_shown(each, entry) for each in dict.fromkeys(clears))
        faults.at(entry, "a berth has one clear length", found=found, inside=inside)
    if clear is not None and clear > length * _SAME:
        wrong = f'"clear" must not be longer than the berth\'s tracks, {_shown(length, entry)}'
        faults.at(entry, wrong, found=_shown(clear, entry), inside=inside)
    laid.berths[berth] = Berth(berth, tracks[0].line, tuple(track.id for track in tracks), clear)
    laid.berth_entries[berth] = entry


def check_easements(
    lines: Mapping[str, Line], joints: Mapping[str, Joint], files: Mapping[str, str], faults: Faults
) -> None:
    """Take the errors of easements that stand in a row or have no curve to ease.

    `files` has the file of each line, for the messages; an easement runs on across plain joints.
    """
    reported: set[frozenset[str]] = set()
    for line in lines.values():
        for index, track in enumerate(line.tracks):
            if track.kind != "easement":
                continue
            before = line.tracks[index - 1] if index else _across(line, "from", lines, joints)
            after = line.tracks[index + 1] if index + 1 < len(line.tracks) else _across(line, "to", lines, joints)
            for error in _easement_faults(track, [each for each in (before, after) if each is not None], reported):
                faults.add(error, file=files[line.name], place=track.place)


def _easement_faults(track: Track, beside: Sequence[Track], reported: set[frozenset[str]]) -> Iterator[PlanError]:
    twins = [other for other in beside if other.kind == "easement"]
    for other in twins:
        pair = frozenset({track.id, other.id})
        if pair not in reported:
            reported.add(pair)
            yield PlanError("two easements in a row", found=f"another in {other.place}", write="one easement")
    if twins or any(other.kind == "curve" and not other.ease for other in beside):
        return
    if any(other.ease for other in beside):
        wrong = "nothing to ease here: the curve beside this easement has an ease of its own"
        yield PlanError(wrong, write="one of them")
    else:
        yield PlanError("nothing to ease here: an easement belongs beside a curve", write="straight = ... instead")


def _across(line: Line, end: End, lines: Mapping[str, Line], joints: Mapping[str, Joint]) -> Track | None:
    """Return the track that goes on beyond an end of a line, None where a plain joint does not join it to one."""
    own, joint = LineEnd(line.name, end), joints.get(line.joint(end))
    if joint is None or joint.kind != "plain":
        return None
    other = next(each for each in joint.ends if each != own)
    return lines[other.line].tracks[0 if other.end == "from" else -1]
