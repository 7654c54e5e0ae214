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


class _Counting(NamedTuple):
    """Pieces being counted: those that are done, and those that have a fault, each reported once."""

    pieces: Mapping[str, Entry[PieceTable]]
    counts: dict[str, int]
    depths: dict[str, int]
    faulty: set[str]
    faults: Faults

    def count_piece(self, name: str, around: tuple[str, ...] = ()) -> int | None:
        """Return how many tracks a piece comes to; `around` are the pieces in which it is being counted."""
        if name in self.counts or name in self.faulty:
            return self.counts.get(name)
        entry = self.pieces[name]
        if len(around) >= DEEPEST:
            return self._too_deep(name)
        parts = [self._part(table, number, (*around, name)) for number, table in enumerate(entry.table.track)]
        good = [part for part in parts if part is not None]
        if len(good) < len(parts):
            self.faulty.add(name)
            return None
        inner = [table.piece for table in entry.table.track if table.piece is not None]
        self.depths[name] = 1 + max((self.depths[each] for each in inner), default=0)
        if self.depths[name] > DEEPEST:  # counted from the innermost outward
            return self._too_deep(name)
        self.counts[name] = sum(good)
        return self.counts[name]

    def _too_deep(self, name: str) -> None:
        self.faults.at(self.pieces[name], f"pieces stand within pieces at most {DEEPEST} deep")
        self.faulty.add(name)

    def _part(self, table: TrackTable, number: int, chain: tuple[str, ...]) -> int | None:
        """Return how many tracks one item of the last piece of a chain comes to."""
        inner = table.piece
        if inner is None:
            return 1
        entry = self.pieces[chain[-1]]
        if inner in chain:
            loop = " > ".join(quoted(name) for name in (*chain[chain.index(inner) :], inner))
            self.faults.at(
                entry,
                f"pieces contain one another in a loop: {loop}",
                write="its tracks instead of one of them",
                inside=item_place(table, number),
            )
            return None
        if inner not in self.pieces and inner not in self.faulty:
            self.faults.unknown(entry, "piece", inner, self.pieces, inside=item_place(table, number))
            return None
        return self.count_piece(inner, chain)


def count_tracks(pieces: Mapping[str, Entry[PieceTable]], known: Collection[str], faults: Faults) -> dict[str, int]:
    """Return how many tracks each piece comes to; pieces with a fault are left out, and each fault is reported once.

    Parameters
    ----------
    pieces
        The pieces by name.
    known
        The names of all pieces, of those with faults too.
    faults
        Where errors go.
    """
    counting = _Counting(pieces, {}, {}, set(known) - set(pieces), faults)
    for name in pieces:
        counting.count_piece(name)
    return counting.counts


def splice(
    tracks: Sequence[TrackTable], pieces: Mapping[str, Entry[PieceTable]], outer: Spliced | None = None
) -> Iterator[Spliced]:
    """Yield the tracks of a list with those of pieces in their places."""
    for item, table in enumerate(tracks):
        number = outer.number if outer else item
        mirrored = outer.mirrored if outer else False
        laid = Spliced(
            table,
            mirrored,
            number,
            table.rail or (outer.rail if outer else None),
            table.pickup or (outer.pickup if outer else None),
            table.berth or (outer.berth if outer else None),
            table.clear if table.clear is not None else (outer.clear if outer else None),
        )
        if table.piece is None:
            yield laid
        else:
            turned = laid._replace(mirrored=mirrored != (table.hand == "right"))
            yield from splice(pieces[table.piece].table.track, pieces, turned)
