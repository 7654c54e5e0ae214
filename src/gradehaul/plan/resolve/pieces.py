"""Pieces: tracks that are written once and used many times, counted, and spliced into the lists that name them."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from gradehaul.errors import quoted

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
    import networkx as nx  # most plans have no pieces

    within: nx.DiGraph[str] = nx.DiGraph()
    within.add_nodes_from(pieces)
    for name, entry in pieces.items():
        for number, table in enumerate(entry.table.track):
            if table.piece is None:
                continue
            if table.piece in pieces:
                within.add_edge(name, table.piece, place=item_place(table, number))
            elif table.piece not in known:
                faults.unknown(entry, "piece", table.piece, pieces, inside=item_place(table, number))
    counts: dict[str, int] = {}
    depths: dict[str, int] = {}
    for component in nx.strongly_connected_components(within):  # the innermost first
        (name, *others) = (each for each in pieces if each in component)
        if others or within.has_edge(name, name):
            chain = [one for one, _ in nx.find_cycle(within, name)]
            loop = " > ".join(map(quoted, (*chain, chain[0])))
            wrong, inside = f"pieces contain one another in a loop: {loop}", within.edges[chain[-1], chain[0]]["place"]
            faults.at(pieces[chain[-1]], wrong, write="its tracks instead of one of them", inside=inside)
            continue
        inner = [table.piece for table in pieces[name].table.track]
        depths[name] = 1 + max((depths.get(str(piece), 0) for piece in inner), default=0)
        if depths[name] == DEEPEST + 1:  # those around it are left out with it
            faults.at(pieces[name], f"pieces stand within pieces at most {DEEPEST} deep")
        elif all(piece is None or piece in counts for piece in inner):
            counts[name] = sum(1 if piece is None else counts[piece] for piece in inner)
    return counts


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
