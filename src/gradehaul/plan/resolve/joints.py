"""Joints: where lines run and meet, and the moves that a train can make through each joint."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.names import header, listed
from gradehaul.plan.records import Joint, LineEnd
from gradehaul.plan.text.files import LineSpan

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from gradehaul.plan.schema.plan import CrossingTable, TurnoutTable, TurntableTable
    from gradehaul.plan.text.faults import Entry, Faults


class _Meeting(NamedTuple):
    """A declared joint: its table, the line ends that meet there, and how every line runs."""

    name: str
    entry: Entry[object]
    ends: tuple[LineEnd, ...]
    spans: Mapping[str, LineSpan]
    faults: Faults

    def find(self, text: str, inside: str) -> LineEnd | None:
        """Return the line end that a text names, or None with the error reported. Whole names are tried first."""
        if text in self.spans:
            here = [end for end in self.ends if end.line == text]
            if len(here) == 1:
                return here[0]
            if here:
                wrong, write = f"both ends of line {quoted(text)} meet here", f'"{text}.from" or "{text}.to"'
                self.faults.at(self.entry, wrong, write=write, inside=inside)
                return None
            return self._elsewhere(text, inside)
        line, _, side = text.rpartition(".")
        if line in self.spans and side in {"from", "to"}:
            for end in self.ends:
                if end.line == line and end.end == side:
                    return end
            return self._elsewhere(line, inside, side)
        self.faults.unknown(self.entry, "line", text, self.spans, inside=inside)
        return None

    def _elsewhere(self, line: str, inside: str, side: str = "") -> None:
        start, finish, _ = self.spans[line]
        wrong = f"line {quoted(line)} does not end here, it runs from {quoted(start)} to {quoted(finish)}"
        if side:
            at = quoted(finish if side == "to" else start)
            wrong = f"{quoted(f'{line}.{side}')} is at joint {at}, not at {quoted(self.name)}"
        self.faults.at(self.entry, wrong, inside=inside)

    def all_listed(self, found: Sequence[LineEnd], what: str, where: str) -> bool:
        """Return whether each line end that meets here was listed once, and take the errors of those that were not."""
        good = True
        for end in dict.fromkeys(found):
            if found.count(end) > 1:
                good = False
                self.faults.at(self.entry, f"{quoted(str(end))} is listed {found.count(end)} times", write="it once")
        for end in self.ends:
            if end not in found:
                good = False
                self.faults.at(
                    self.entry, f"{quoted(str(end))} ends here too and is {what}", write=f"it in {where} too"
                )
        return good


def meetings(spans: Mapping[str, LineSpan]) -> dict[str, tuple[LineEnd, ...]]:
    """Return the line ends that meet at each joint."""
    found: dict[str, list[LineEnd]] = {}
    for line, span in spans.items():
        for joint, end in span.ends(line):
            found.setdefault(joint, []).append(end)
    return {joint: tuple(ends) for joint, ends in found.items()}


def make_joints(
    spans: Mapping[str, LineSpan], declared: Mapping[str, Entry[Any] | None], faults: Faults
) -> dict[str, Joint]:
    """Return every joint with the moves through it; what is wrong with one goes to the faults.

    `declared` has by name the tables that say how trains pass joints, None where one has a fault.
    """
    ends = meetings(spans)
    for name, entry in declared.items():
        if entry is not None and name not in ends:
            faults.unknown(entry, "line that ends at", name, ends)
    found = {name: _joint(name, meeting, spans, declared, faults) for name, meeting in ends.items()}
    joints = {name: joint for name, joint in found.items() if joint is not None}
    _note_ends(joints, faults)
    return joints


def _joint(
    name: str,
    ends: tuple[LineEnd, ...],
    spans: Mapping[str, LineSpan],
    declared: Mapping[str, Entry[Any] | None],
    faults: Faults,
) -> Joint | None:
    """Return one joint, or None where what is wrong with it went to the faults."""
    if name in declared:
        entry = declared[name]
        if entry is None:
            return None
        meeting = _Meeting(name, entry, ends, spans, faults)
        match entry.path[0]:
            case "turnout":
                return _turnout(meeting, entry.table)
            case "crossing":
                return _crossing(meeting, entry.table)
        return _turntable(meeting, entry.table)
    if len(ends) == 1:
        return Joint(name, "end", ends)
    if len(ends) == 2:
        return Joint(name, "plain", ends, ((ends[0], ends[1]),))
    _undeclared(name, ends, spans, faults)
    return None


def _undeclared(name: str, meeting: Sequence[LineEnd], spans: Mapping[str, LineSpan], faults: Faults) -> None:
    crossing = f", or {header('crossing', name)} with through" if len(meeting) > 3 else ""
    faults.add(
        PlanError(
            f"{len(meeting)} line ends meet here and nothing says how trains pass",
            found=listed(str(end) for end in meeting),
            write=f"{header('turnout', name)} with toe and legs{crossing}, or {header('table', name)} with lines",
        ),
        file=spans[meeting[0].line].file,
        place=f"joint {quoted(name)}",
    )


def _turnout(meeting: _Meeting, table: TurnoutTable) -> Joint | None:
    toe = meeting.find(table.toe, "toe")
    legs = [meeting.find(leg, f"legs, leg {number}") for number, leg in enumerate(table.legs, 1)]
    found = [end for end in (toe, *legs) if end is not None]
    if len(found) <= len(legs) or not meeting.all_listed(found, "neither toe nor leg", "legs"):
        return None
    return Joint(meeting.name, "turnout", meeting.ends, tuple((found[0], leg) for leg in found[1:]))


def _pairs(meeting: _Meeting, key: str, pairs: Sequence[Sequence[str]]) -> list[tuple[LineEnd, LineEnd]] | None:
    found: list[tuple[LineEnd, LineEnd]] = []
    for number, pair in enumerate(pairs, 1):
        first, second = (meeting.find(text, f"{key}, pair {number}") for text in pair)
        if first is not None and second is not None:
            found.append((first, second))
    return found if len(found) == len(pairs) else None


def _crossing(meeting: _Meeting, table: CrossingTable) -> Joint | None:
    through = _pairs(meeting, "through", table.through)
    moves = _pairs(meeting, "moves", table.moves)
    if through is None or moves is None:
        return None
    if not meeting.all_listed([end for pair in through for end in pair], "in no pair of through", "through"):
        return None
    line_of = {end: number for number, pair in enumerate(through) for end in pair}
    onto: dict[tuple[LineEnd, int], LineEnd] = {}
    good = True
    for number, (first, second) in enumerate(moves, 1):
        inside = f"moves, pair {number}"
        if line_of[first] == line_of[second]:
            good = False
            meeting.faults.at(
                meeting.entry,
                "a slip leads from one line of a crossing to the other",
                inside=inside,
                found=f"{first} and {second}",
                write="ends of two pairs of through",
            )
            continue
        for one, other in ((first, second), (second, first)):
            before = onto.setdefault((one, line_of[other]), other)
            if before == other:
                continue
            good = False
            meeting.faults.at(
                meeting.entry,
                f"a train from {quoted(str(one))} cannot turn both ways onto the other line",
                found=f"{before} and {other}",
                write="the one it reaches without reversing",
                inside=inside,
            )
    if not good:
        return None
    slips = tuple({frozenset(pair): pair for pair in moves}.values())
    return Joint(meeting.name, "crossing", meeting.ends, (*through, *slips), slips=slips)


def _turntable(meeting: _Meeting, table: TurntableTable) -> Joint | None:
    lines = [meeting.find(line, f"lines, item {number}") for number, line in enumerate(table.lines, 1)]
    found = [end for end in lines if end is not None]
    if len(found) < len(lines) or not meeting.all_listed(found, "not in lines", "lines"):
        return None
    return Joint(meeting.name, "table", meeting.ends, tuple(combinations(found, 2)), table.length)


def _note_ends(joints: Mapping[str, Joint], faults: Faults) -> None:
    ends = [joint.name for joint in joints.values() if joint.kind == "end"]
    if ends:
        faults.note("", f"track ends at {listed(ends)}")


def check_place_names(
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
