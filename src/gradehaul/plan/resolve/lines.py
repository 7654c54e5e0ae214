"""Lines as they are laid: pieces spliced in, tracks numbered along, berths marked off."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from gradehaul.plan.names import quoted
from gradehaul.plan.records import Berth, Line, Place, Track
from gradehaul.plan.resolve.pieces import count_tracks, item_place, splice
from gradehaul.quantities import describe

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from gradehaul.plan.resolve.pieces import Spliced
    from gradehaul.plan.schema.lines import LineTable, PieceTable, TrackTable
    from gradehaul.plan.text.faults import Entry, Faults

MOST_TRACKS = 100_000
"""The most tracks in a plan: pieces within pieces could multiply to any number."""


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
        _lay_line(name, entry, pieces, laid, faults)
    return laid


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
    name: str, entry: Entry[LineTable], pieces: Mapping[str, Entry[PieceTable]], laid: Laid, faults: Faults
) -> None:
    spliced = list(splice(entry.table.track, pieces))
    tracks = tuple([_track_record(name, number, each, entry.table) for number, each in enumerate(spliced, 1)])
    line = Line(
        name,
        entry.table.from_,
        entry.table.to,
        tracks,
        tuple(sorted((where, height) for where, height in entry.table.railhead_at)),
        entry.table.runs,
        None if entry.table.at is None else Place(entry.table.at[0], entry.table.at[1], entry.table.heading or 0.0),
    )
    laid.lines[name] = line
    _check_heights(line, entry, faults)
    _mark_berths(line, entry, spliced, laid, faults)


def _track_record(line: str, number: int, laid: Spliced, whole: LineTable) -> Track:
    table = laid.table
    key = f"{line}:{number}"
    length = table.straight or table.easement or 0.0
    curvature, ease = 0.0, 0.0
    kind = table.shape
    if kind in {"left", "right"}:
        ease = table.ease or 0.0
        # A curve of radius R through the angle θ with easements of length e is R θ − e of arc and twice e.
        length = table.length if table.length is not None else table.radius * (table.angle or 0.0) + ease
        curvature = 1 / table.radius if (kind == "left") != laid.mirrored else -1 / table.radius
    return Track(
        id=key,
        name=table.name or key,
        line=line,
        number=number,
        kind="curve" if curvature else "easement" if table.easement is not None else "straight",
        length=length,
        curvature=curvature,
        ease=ease,
        grade=table.grade,
        rise=table.rise,
        railhead=table.railhead,
        rail=laid.rail or whole.rail,
        pickup=laid.pickup or whole.pickup or 1.0,
    )


def _check_heights(line: Line, entry: Entry[LineTable], faults: Faults) -> None:
    unit = entry.source.unit or "mm"
    seen: set[float] = set()
    for number, (where, _) in enumerate(entry.table.railhead_at):
        inside = f"railhead_at, pair {number + 1}"
        if not 0 <= where <= line.length * (1 + 1e-9):
            faults.at(
                entry,
                "the distance must lie on the line",
                found=f"{_told(where, unit)} on a line of {_told(line.length, unit)}",
                inside=inside,
            )
        if where in seen:
            write = "the one that counts"
            faults.at(entry, "two heights at one distance", found=_told(where, unit), write=write, inside=inside)
        seen.add(where)


def _told(length: float, unit: str) -> str:
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
        told = " and ".join(_told(each, unit) for each in dict.fromkeys(run.clears))
        faults.at(entry, "a berth has one clear length", found=told, inside=inside)
    if clear is not None and clear > length * (1 + 1e-9):
        faults.at(
            entry,
            f"clear must not be longer than the berth's tracks, {_told(length, unit)}",
            found=_told(clear, unit),
            inside=inside,
        )
    name = run.tracks[0].line
    laid.berths[run.berth] = Berth(run.berth, name, tuple(track.id for track in run.tracks), clear)
    laid.berth_entries[run.berth] = entry
