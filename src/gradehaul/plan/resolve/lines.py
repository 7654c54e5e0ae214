"""Lines as they are laid: pieces spliced in, tracks numbered along, berths marked off."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, NamedTuple

from gradehaul.plan.names import quoted
from gradehaul.plan.records import Berth, Line, Parallel, Place, Track, Unknown
from gradehaul.plan.resolve.pieces import count_tracks, item_place, splice
from gradehaul.quantities import describe

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping, Sequence

    from gradehaul.plan.resolve.pieces import Spliced
    from gradehaul.plan.schema.lines import LineTable, PieceTable, TrackTable
    from gradehaul.plan.text.faults import Entry, Faults

MOST_FIT = 3
"""The most figures of one line that can be fit: its end has a place, which is two figures, and a heading."""
MOST_TRACKS = 100_000
"""The most tracks in a plan: pieces within pieces could multiply to any number."""
_BY_NUMBER = (
    "turnouts by number are one arc from toe to frog, with the frog's angle; "
    "printed dimensions of your turnouts go before that"
)


@dataclass(slots=True)
class Laid:
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
) -> Laid:
    """Return the lines of a plan, with the tracks of pieces spliced in.

    Parameters
    ----------
    lines, pieces
        The tables by name.
    known_pieces
        The names of all pieces, of those with faults too.
    conditions
        The rail conditions there are.
    gauge
        Distance between the rails, m, from which the arc of a turnout follows.
    faults
        Where errors and notes go.
    """
    counts = count_tracks(pieces, known_pieces, faults)
    for name, piece in pieces.items():
        _check_rails(piece, piece.table.track, conditions, faults)
        if counts.get(name, 0) > MOST_TRACKS:
            faults.at(piece, f"a plan has at most {MOST_TRACKS} tracks", found="more in this piece")
    laid = Laid()
    total = 0
    for name, entry in lines.items():
        _check_rails(entry, entry.table.track, conditions, faults)
        if entry.table.rail is not None and entry.table.rail not in conditions:
            faults.unknown(entry, "rail condition", entry.table.rail, conditions)
        missing = False
        for number, table in enumerate(entry.table.track):
            if table.piece is not None and table.piece not in counts:
                missing = True
                if table.piece not in known_pieces:
                    faults.unknown(
                        entry,
                        "piece",
                        table.piece,
                        known_pieces,
                        declare="[piece.NAME] with its tracks",
                        inside=f"track {number + 1}",
                    )
        if missing:
            continue
        total += sum(counts[table.piece] if table.piece is not None else 1 for table in entry.table.track)
        if total > MOST_TRACKS:
            faults.at(entry, f"a plan has at most {MOST_TRACKS} tracks", found="more up to this line")
            break
        _lay_line(name, entry, pieces, laid, gauge, faults)
    _pair_parallels(laid, lines, faults)
    _note_turnouts((*lines.values(), *pieces.values()), faults)
    return laid


def _note_turnouts(parts: Iterable[Entry[LineTable] | Entry[PieceTable]], faults: Faults) -> None:
    """Note once by what rule turnouts are laid that have only their number."""
    if any(track.turnout is not None for part in parts for track in part.table.track):
        faults.note("", _BY_NUMBER)


def _check_rails(
    entry: Entry[LineTable] | Entry[PieceTable],
    tracks: Sequence[TrackTable],
    conditions: Collection[str],
    faults: Faults,
) -> None:
    for number, table in enumerate(tracks):
        if table.rail is not None and table.rail not in conditions:
            faults.unknown(entry, "rail condition", table.rail, conditions, inside=item_place(table, number))


def _lay_line(
    name: str,
    entry: Entry[LineTable],
    pieces: Mapping[str, Entry[PieceTable]],
    laid: Laid,
    gauge: float,
    faults: Faults,
) -> None:
    table = entry.table
    spliced = list(splice(table.track, pieces))
    tracks = tuple([_track_record(name, number, each, table, gauge) for number, each in enumerate(spliced, 1)])
    for each in spliced[1:-1]:
        if each.table.turnout is not None:
            faults.at(
                entry,
                "a turnout is the first or the last track of a line",
                write="a line for each leg, and [turnout.NAME] where they meet",
                inside=item_place(each.table, each.number),
            )
    figures = [figure for track in tracks for figure in track.fit]
    if len(figures) > MOST_FIT:
        faults.at(
            entry,
            f"at most {MOST_FIT} figures of a line can be fit",
            found=str(len(figures)),
            write="numbers for the others",
        )
    if figures and table.at is not None:
        faults.at(entry, "a line with a figure to fit takes its place from its joints", write="the line without at")
    line = Line(
        name,
        table.from_,
        table.to,
        tracks,
        tuple(sorted((where, height) for where, height in table.railhead_at)),
        table.runs,
        None if table.at is None else Place(table.at[0], table.at[1], table.heading or 0.0),
    )
    laid.lines[name] = line
    if not figures:
        _check_heights(line, entry, faults)
    _mark_berths(line, entry, spliced, laid, faults)


def _pair_parallels(laid: Laid, lines: Mapping[str, Entry[LineTable]], faults: Faults) -> None:
    """Put on each line that runs beside another which one that is; lines with a fault are left as they are."""
    for name, line in list(laid.lines.items()):
        wanted = lines[name].table.parallel
        if wanted is None:
            continue
        entry, ends = lines[name], {line.start, line.finish}
        beside = [
            other.name for other in laid.lines.values() if other is not line and {other.start, other.finish} == ends
        ]
        other = wanted.line or (beside[0] if len(beside) == 1 else None)
        if other is None:
            write = 'parallel = { line = "NAME", distance = "60 mm" }'
            found = f"{len(beside)} lines between the same two joints"
            faults.at(entry, "it is not clear beside which line", found=found, write=write, inside="parallel")
        elif other == name:
            faults.at(entry, "a line does not run beside itself", write="another line", inside="parallel")
        elif other not in laid.lines:
            faults.unknown(entry, "line", other, laid.lines, inside="parallel")
        else:
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
    if table.turnout is not None:
        radius, turned = turnout_arc(table.turnout, gauge)
        # seen from its toe, which is behind where the turnout is the last track of its line
        left = (table.hand == "left") == first
        return _Shape(radius * turned, 1 / radius if left else -1 / radius)
    if table.shape not in {"left", "right"}:
        length = table.straight or table.easement or 0.0
        return _Shape(length, fit=("length",) if math.isnan(length) else ())
    angle = table.angle
    open_radius, open_angle = math.isnan(table.radius), math.isnan(angle or 0.0)
    curvature = math.copysign(math.inf if open_radius else 1 / table.radius, 1.0 if table.shape == "left" else -1.0)
    fit: tuple[Unknown, ...] = ("radius",) if open_radius else ()
    if open_angle:
        return _Shape(math.nan, curvature, (*fit, "angle"))
    if angle is None:
        assert table.length is not None
        return _Shape(table.length, curvature, (*fit, "length") if math.isnan(table.length) else fit)
    # A curve of radius R through the angle θ with easements of length e is R θ − e of arc and twice e.
    return _Shape(table.radius * angle + (table.ease or 0.0), curvature, fit, angle if open_radius else None)


def turnout_arc(number: float, gauge: float) -> tuple[float, float]:
    """Return the radius, m, and the angle, radians, of a turnout's curved leg, from its toe to its frog.

    By geometry alone: one arc of radius R leaves the straight track at the toe, and its outer rail, R + g/2, crosses
    the straight track's rail at the frog, where it has turned through the frog's angle F. So
    (R + g/2) cos F = R - g/2. The number of a frog is N = cot(F/2) / 2 (so the angles printed in NMRA RP-12.7), and
    R = 2 g N². A printed turnout has points and a closure of its own: its dimensions go before these.

    Examples
    --------
    >>> radius, angle = turnout_arc(6, 0.0165)
    >>> round(radius, 3), round(math.degrees(angle), 2)
    (1.188, 9.53)
    """
    return 2 * gauge * number**2, 2 * math.atan(0.5 / number)


def _check_heights(line: Line, entry: Entry[LineTable], faults: Faults) -> None:
    unit = entry.source.unit or "mm"
    seen: set[float] = set()
    for number, (where, _) in enumerate(entry.table.railhead_at):
        inside = f"railhead_at, pair {number + 1}"
        if not 0 <= where <= line.length * (1 + 1e-9):
            faults.at(
                entry,
                "the distance must lie on the line",
                found=f"{_shown(where, unit)} on a line of {_shown(line.length, unit)}",
                inside=inside,
            )
        if where in seen:
            write = "the one that counts"
            faults.at(entry, "two heights at one distance", found=_shown(where, unit), write=write, inside=inside)
        seen.add(where)


def _shown(length: float, unit: str) -> str:
    return describe(length, "length", unit)


def _mark_berths(line: Line, entry: Entry[LineTable], spliced: Sequence[Spliced], laid: Laid, faults: Faults) -> None:
    """Mark off the berths of a line: the whole of it, or runs of tracks that bear one berth's name."""
    table = entry.table
    if table.clear is not None and table.berth is None:
        faults.at(entry, "clear needs a berth", write='berth = "..." beside it')
    for item, track in enumerate(table.track):
        if track.clear is not None and track.berth is None:
            faults.at(entry, "clear needs a berth", write='berth = "..." beside it', inside=item_place(track, item))
    if table.berth is None:
        for berth in _runs(line, spliced):
            _mark_berth(berth, entry, laid, faults)
        return
    clears = () if table.clear is None else (table.clear,)
    _mark_berth(_Run(table.berth, list(line.tracks), list(clears)), entry, laid, faults)
    for each in spliced:
        if each.berth is not None:
            faults.at(
                entry,
                f"this track lies in two berths, {quoted(table.berth)} and {quoted(each.berth)}",
                write="berth either on the line or on its tracks",
                inside=item_place(each.table, each.number),
            )


class _Run(NamedTuple):
    """Tracks in a row that bear one berth's name, and the clear lengths given there."""

    berth: str
    tracks: list[Track]
    clears: list[float]


def _runs(line: Line, spliced: Sequence[Spliced]) -> list[_Run]:
    runs: list[_Run] = []
    before: str | None = None
    for track, each in zip(line.tracks, spliced, strict=True):
        if each.berth is not None:
            if each.berth != before:
                runs.append(_Run(each.berth, [], []))
            runs[-1].tracks.append(track)
            if each.clear is not None:
                runs[-1].clears.append(each.clear)
        before = each.berth
    return runs


def _mark_berth(run: _Run, entry: Entry[LineTable], laid: Laid, faults: Faults) -> None:
    unit = entry.source.unit or "mm"
    inside = f"berth {quoted(run.berth)}"
    if run.berth in laid.berths:
        before = laid.berth_entries[run.berth].place
        faults.at(entry, f"{before} has a berth of this name already", write="another name", inside=inside)
        return
    length = sum(track.length for track in run.tracks)
    clear = run.clears[0] if run.clears else None
    if len(set(run.clears)) > 1:
        lengths = " and ".join(_shown(each, unit) for each in dict.fromkeys(run.clears))
        faults.at(entry, "a berth has one clear length", found=lengths, inside=inside)
    if clear is not None and clear > length * (1 + 1e-9):
        faults.at(
            entry,
            f"clear must not be longer than the berth's tracks, {_shown(length, unit)}",
            found=_shown(clear, unit),
            inside=inside,
        )
    name = run.tracks[0].line
    laid.berths[run.berth] = Berth(run.berth, name, tuple(track.id for track in run.tracks), clear)
    laid.berth_entries[run.berth] = entry
