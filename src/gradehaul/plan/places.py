"""Places by name: joints, lines and berths, which share their names, and the routes between them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.plan.names import clean, header, nearest, quoted
from gradehaul.plan.records import LineEnd, NamedRoute

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from gradehaul.plan.schema.stock import RouteTable
    from gradehaul.plan.text.faults import Entry, Faults


class LineSpan(NamedTuple):
    """The two joints between which a line runs, and where the line stands in the file."""

    start: str
    finish: str
    file: str = ""

    def ends(self, line: str) -> tuple[tuple[str, LineEnd], ...]:
        """Return each end of the line with its joint."""
        return (self.start, LineEnd(line, "from")), (self.finish, LineEnd(line, "to"))


def line_spans(lines: Mapping[str, Entry[Any]]) -> tuple[dict[str, LineSpan], bool]:
    """Return where each line runs, of lines with faults too, and whether that is known of all."""
    spans: dict[str, LineSpan] = {}
    for name, entry in lines.items():
        table = entry.table if isinstance(entry.table, dict) else {}
        start, finish = (clean(end) if isinstance(end := table.get(key), str) else "" for key in ("from", "to"))
        if start and finish:
            spans[name] = LineSpan(start, finish, entry.file)
    return spans, len(spans) == len(lines)


def berths_named(lines: Mapping[str, Entry[Any]], pieces: Mapping[str, Entry[Any]]) -> dict[str, Entry[Any]]:
    """Return every berth that tables name, those with faults too, so that no message denies that it exists."""
    found: dict[str, Entry[Any]] = {}
    for entry in (*lines.values(), *pieces.values()):
        table = entry.table if isinstance(entry.table, dict) else {}
        tracks = table.get("track")
        for each in (table, *(tracks if isinstance(tracks, list) else ())):
            name = each.get("berth") if isinstance(each, dict) else None
            if isinstance(name, str):
                found.setdefault(clean(name), entry)
    return found


def check_unlike(
    lines: Mapping[str, Entry[Any]], joints: Collection[str], berths: Mapping[str, Entry[Any]], faults: Faults
) -> None:
    """Names are unique among joints, lines and berths: a route names any of them."""
    for name, entry in lines.items():
        if name in joints:
            wrong = f"this line and a joint are both called {quoted(name)}, and a route could mean either"
            faults.at(entry, wrong, write=f"another name for one of them, such as {header('line', f'{name} line')}")
    for name, entry in berths.items():
        other = "line" if name in lines else "joint" if name in joints else ""
        if other:
            wrong = f"this berth and a {other} are both called {quoted(name)}, and a route could mean either"
            faults.at(entry, wrong, write=f'berth = "{name} berth", or another name', inside="berth")


def routes(
    tables: Mapping[str, Entry[RouteTable]],
    lines: Collection[str],
    joints: Collection[str],
    berths: Collection[str],
    *,
    faults: Faults,
    complete: bool,
    laps: bool = True,
) -> dict[str, NamedRoute]:
    """Return the declared routes.

    Where not `complete`, some joints and berths are not known and only laps are checked; without `laps` not even those.
    """
    found: dict[str, NamedRoute] = {}
    places = dict.fromkeys((*joints, *berths))
    named = (("via", "line, joint or berth", dict.fromkeys((*lines, *places))), ("run_round", "berth", berths))
    for name, entry in tables.items():
        table = entry.table
        route = found[name] = NamedRoute(
            name,
            table.from_ or "",
            table.to or "",
            tuple(table.via),
            tuple(table.lap or ()),
            table.reversals,
            tuple(table.run_round),
        )
        if complete and not route.lap:
            _check_place("from", route.origin, entry, lines, places, faults=faults)
            _check_place("to", route.destination, entry, lines, places, faults=faults)
        for key, kind, known in (*(named if complete else ()), *((("lap", "line", lines),) if laps else ())):
            for number, each in enumerate(getattr(route, key), 1):
                faults.known(entry, kind, each, known, inside=f"{key}, item {number}")
    return found


def _check_place(
    key: str, place: str, entry: Entry[RouteTable], lines: Collection[str], places: Collection[str], *, faults: Faults
) -> None:
    """Check that a route begins or ends at a joint, a berth or an end of a line."""
    line, _, side = place.rpartition(".")
    if place in places or (line in lines and side in {"from", "to"}):
        return
    if place in lines:
        wrong = f"a route begins and ends at a joint, a berth or a line's end, and {quoted(place)} is a whole line"
        faults.at(entry, wrong, write=f'"{place}.from" or "{place}.to"', inside=key)
        return
    near = nearest(line, lines) if side in {"from", "to"} and line else None
    if near is not None:
        faults.at(entry, f"there is no line {quoted(line)}", write=quoted(f"{near}.{side}"), inside=key)
        return
    faults.unknown(entry, "joint, berth or line's end", place, places, inside=key)
