"""Pieces: tracks that are written once and used many times, counted, and spliced into the lists that name them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from gradehaul.plan.names import quoted

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from gradehaul.plan.schema.lines import PieceTable, TrackTable
    from gradehaul.plan.text.faults import Entry, Faults

DEEPEST = 16
"""How deep pieces may stand within pieces."""


class Spliced(NamedTuple):
    """One track of a line: what its table says, whether its hand is turned, and what a piece adds to it."""

    table: TrackTable
    mirrored: bool
    number: int
    """The item of the line's list from which it comes, from 0."""
    rail: str | None
    pickup: float | None
    berth: str | None
    clear: float | None


def item_place(table: TrackTable, number: int) -> str:
    """Return the words for one item of a list of tracks as it is written."""
    return f"track {number + 1} {quoted(table.name)}" if table.name else f"track {number + 1}"


def count_tracks(pieces: Mapping[str, Entry[PieceTable]], known: Collection[str], faults: Faults) -> dict[str, int]:
    """Return how many tracks each piece comes to; pieces with a fault are left out, and each fault is reported once.

    `known` are the names of all pieces, of those with faults too.
    """
    counts: dict[str, int | None] = {name: None for name in known if name not in pieces}
    depths: dict[str, int] = {}

    def too_deep(name: str) -> int | None:
        faults.at(pieces[name], f"pieces stand within pieces at most {DEEPEST} deep")
        counts[name] = None
        return None

    def count(name: str, around: tuple[str, ...] = ()) -> int | None:
        """Return how many tracks a piece comes to, None where it has a fault; it stands within those around it."""
        if name in counts:
            return counts[name]
        if len(around) >= DEEPEST:
            return too_deep(name)
        entry, chain = pieces[name], (*around, name)
        parts: list[int | None] = []
        for number, table in enumerate(entry.table.track):
            inner = table.piece
            part = None
            if inner is None:
                part = 1
            elif inner in chain:
                loop = " > ".join(quoted(each) for each in (*chain[chain.index(inner) :], inner))
                wrong = f"pieces contain one another in a loop: {loop}"
                write = "its tracks instead of one of them"
                faults.at(entry, wrong, write=write, inside=item_place(table, number))
            elif inner in known:
                part = count(inner, chain)
            else:
                faults.unknown(entry, "piece", inner, pieces, inside=item_place(table, number))
            parts.append(part)
        good = [part for part in parts if part is not None]
        counts[name] = sum(good) if len(good) == len(parts) else None
        depths[name] = 1 + max((depths.get(str(table.piece), 0) for table in entry.table.track), default=0)
        if counts[name] is not None and depths[name] > DEEPEST:  # counted from the innermost outward
            return too_deep(name)
        return counts[name]

    found = {name: count(name) for name in pieces}
    return {name: number for name, number in found.items() if number is not None}


def splice(
    tracks: Sequence[TrackTable], pieces: Mapping[str, Entry[PieceTable]], outer: Spliced | None = None
) -> Iterator[Spliced]:
    """Yield the tracks of a list with those of pieces in their places."""
    for item, table in enumerate(tracks):
        if outer is None:
            laid = Spliced(table, False, item, table.rail, table.pickup, table.berth, table.clear)
        else:
            laid = outer._replace(
                table=table,
                rail=table.rail or outer.rail,
                pickup=table.pickup or outer.pickup,
                berth=table.berth or outer.berth,
                clear=table.clear if table.clear is not None else outer.clear,
            )
        if table.piece is None:
            yield laid
        else:
            turned = laid._replace(mirrored=laid.mirrored != (table.hand == "right"))
            yield from splice(pieces[table.piece].table.track, pieces, turned)
