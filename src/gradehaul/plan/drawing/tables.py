"""A drawing's lines as tables of the plan: they join those that are written, at joints of the same name."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Mapping
from itertools import accumulate
from typing import Any

from gradehaul.errors import DrawingError, Problems, QuantityError
from gradehaul.plan.drawing.drawn import Claim, Drawn, DrawnJoint, DrawnLine
from gradehaul.plan.drawing.records import Element
from gradehaul.plan.names import clean, quoted, shown
from gradehaul.plan.places import berths_named, line_spans
from gradehaul.plan.records import LineEnd
from gradehaul.plan.schema.plan import DrawingTable, JointTable
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.plan.text.files import Tables, is_beside
from gradehaul.plan.text.near_file import near_file
from gradehaul.quantities import length_unit, read_quantity
from gradehaul.scales import Scale

_OF_A_LINE = ("from", "to", "track", "at", "heading")
"""What a drawing tells of a line; a line of the plan that has none of it adds to the drawing's line of its name."""

_SAME_PLACE = 1e-9


def add_drawing(tables: Tables, scale: Scale | None, unit: str, faults: Faults) -> bool:
    """Add what the plan's drawing shows to its tables; return whether all of it is there.

    Parameters
    ----------
    tables
        The tables of the plan, to which lines, turnouts, crossings and heights are added.
    scale
        The plan's scale, None where it could not be read.
    unit
        The unit of the plan's bare lengths.
    faults
        Where errors and notes go.
    """
    entry = tables.single.get("drawing")
    joints = tables.keyed["joint"]
    tables_of_joints = {name: checked(JointTable, each, faults) for name, each in joints.items()}
    if entry is None:
        for joint in joints.values():
            faults.at(joint, "a joint is named by a point of a drawing, and there is none", write="[drawing] with file")
        return True
    drawing = checked(DrawingTable, entry, faults)
    drawn = None
    if drawing is not None and scale is not None and None not in tables_of_joints.values():
        points = {name: each for name, each in tables_of_joints.items() if each is not None}
        drawn = _drawn(drawing, points, tables, scale, unit, faults)
    if drawn is None:
        # Lines that only add to a drawing that could not be read are not called incomplete as well.
        lines = tables.keyed["line"]
        for name in [name for name, line in lines.items() if _only_adds(line.table)]:
            del lines[name]
        return False
    _add_all(drawn, tables, faults)
    from gradehaul.plan.drawing.wording import fault_notes

    for note in fault_notes(drawn.file, drawn.faults, unit):
        faults.notes.append(note)
    return True


def _only_adds(table: object) -> bool:
    return isinstance(table, dict) and not any(key in table for key in _OF_A_LINE)


def _drawn(
    entry: Entry[DrawingTable],
    joints: Mapping[str, Entry[JointTable]],
    tables: Tables,
    scale: Scale,
    unit: str,
    faults: Faults,
) -> Drawn | None:
    """Return the drawing as a network, or None with what is wrong added to the faults."""
    from gradehaul.plan.drawing.assembly import CHORDS, WITHIN, assemble, terms
    from gradehaul.plan.drawing.dxf import read_drawing

    table = entry.table
    folder, name = entry.source.folder, table.file
    if not is_beside(name):
        faults.at(entry, "a drawing stands beside its plan", found=shown(name), write='"tarn.dxf"', inside="file")
        return None
    if folder is None:
        faults.at(entry, "a plan that is no file has no drawing beside it", found=shown(name), inside="file")
        return None
    try:
        own_unit = None if table.unit is None else length_unit(table.unit)
    except QuantityError as error:
        faults.add(error, file=entry.file, place=f"{entry.place}, unit")
        return None
    on = terms(
        scale.gauge,
        unit,
        table.layers,
        snap=table.snap,
        fit=table.fit,
        kink=table.kink,
        height_layers=table.height_layers,
        unit=own_unit,
        rails=table.rails,
    )
    claims = [
        Claim(
            name,
            each.table.at[0],
            each.table.at[1],
            each.table.within or WITHIN * on.snap,
            each.file,
            f"{each.place}, at",
        )
        for name, each in joints.items()
    ]
    own = {name: line for name, line in tables.keyed["line"].items() if not _only_adds(line.table)}
    spans, _ = line_spans(own)
    try:
        drawing = read_drawing(
            folder / name,
            layers=on.layers,
            height_layers=on.height_layers,
            unit=on.unit,
            tolerance=CHORDS * on.gauge,
        )
        return assemble(
            drawing,
            on,
            claims=claims,
            given=_given(tables),
            lines_taken={*own, *berths_named(tables.keyed["line"], tables.keyed["piece"])},
            joints_taken={joint for span in spans.values() for joint in (span.start, span.finish)},
        )
    except Problems as problems:
        faults.errors += problems.errors
    except DrawingError as error:
        if error.wrong == "there is no such file":
            near = near_file(folder / name, ".dxf")
            write = quoted(near) if near else ""
            faults.at(entry, f"there is no file {quoted(table.file)} beside this one", inside="file", write=write)
        else:
            faults.errors.append(error)
    return None


def _given(tables: Tables) -> dict[str, float]:
    """Return the heights that the plan gives, m; what cannot be read is told where the plan is resolved."""
    found: dict[str, float] = {}
    for name, entry in tables.railhead.items():
        try:
            found[name] = read_quantity(entry.table, "length", unit=entry.source.unit)
        except QuantityError:
            continue
    return found


# Adding


def _add_all(drawn: Drawn, tables: Tables, faults: Faults) -> None:
    source = Source(drawn.file, "m", {}, {})
    written = tables.keyed["line"]
    lines: dict[str, Entry[Any]] = {}
    for name, line in drawn.lines.items():
        addition = written.get(name)
        if addition is not None and isinstance(addition.table, dict):
            lines[name] = Entry(addition.source, addition.path, _added_to(line, addition.table))
        else:
            lines[name] = Entry(source, ("line", name), line_table(line))
    for name, entry in written.items():
        if name not in lines and _only_adds(entry.table):
            faults.unknown(entry, "line of the drawing", name, drawn.lines, declare="from, to and track for a new one")
        elif name not in lines:
            lines[name] = entry
    tables.keyed["line"].clear()
    tables.keyed["line"].update(lines)
    declared = {name for section in ("turnout", "crossing", "table") for name in tables.keyed[section]}
    for name, joint in drawn.joints.items():
        if name not in declared and (found := joint_table(joint)):
            section, table = found
            tables.keyed[section][name] = Entry(source, (section, name), table)
    for name, height in drawn.heights.items():
        tables.railhead.setdefault(clean(name), Entry(source, ("railhead", name), height))


def _added_to(line: DrawnLine, addition: Mapping[str, Any]) -> dict[str, Any]:
    """Return a line's table with what the plan adds to it; heights are added to those that are drawn."""
    drawn = _with_unit(line_table(line))
    if "berth" in addition:  # the plan's own, in place of those that are drawn
        for track in drawn["track"]:
            track.pop("berth", None)
    table = {**drawn, **addition}
    if isinstance(more := addition.get("railhead_at"), list):  # its own pairs first, for messages
        table["railhead_at"] = [*more, *drawn.get("railhead_at", [])]
    return table


def line_table(line: DrawnLine) -> dict[str, Any]:
    """Return a line as a plan's table, with bare lengths in m.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, Spot
    >>> quarter = Element(Spot(0, 0), Spot(0.5, 0.5), 0.0, 2.0, 0.785, "", "")
    >>> line_table(DrawnLine("Hill", "A", "B", (quarter,), ""))["track"]
    [{'left': 0.5, 'length': 0.785}]
    """
    first = line.elements[0]
    table: dict[str, Any] = {
        "from": line.start,
        "to": line.finish,
        "at": [float(first.start.x), float(first.start.y)],
        "heading": math.degrees(first.heading),
        "track": [_track_table(element) for element in line.elements],
    }
    ends, between = split_heights(line)
    for number, height in ends.items():
        table["track"][number]["railhead"] = height
    if between:
        table["railhead_at"] = [[where, height] for where, height in between]
    add_berths(table, line)
    return table


def add_berths(table: dict[str, Any], line: DrawnLine) -> None:
    """Add the berths of a line to its table and its tracks."""
    if line.berths and line.berths[0] and len(set(line.berths)) == 1:
        table["berth"] = line.berths[0]
        return
    for track, berth in zip(table["track"], line.berths, strict=bool(line.berths)):
        if berth:
            track["berth"] = berth


def split_heights(line: DrawnLine) -> tuple[dict[int, float], list[tuple[float, float]]]:
    """Return the heights along a line at the far ends of its tracks, by their numbers from 0, and those in between.

    A height where two tracks meet is written with the track, so that no rounding sets the two apart.
    """
    ends: dict[int, float] = {}
    between: list[tuple[float, float]] = []
    stops = list(accumulate(float(element.length) for element in line.elements))
    for where, height in line.railhead_at:
        after = min(bisect_left(stops, where), len(stops) - 1)
        number = after - 1 if after and where - stops[after - 1] <= stops[after] - where else after
        if abs(stops[number] - where) <= _SAME_PLACE:
            ends[number] = height
        else:
            between.append((where, height))
    return ends, between


def _track_table(element: Element) -> dict[str, float]:
    length, curvature = float(element.length), float(element.curvature)
    if curvature == 0:
        return {"straight": length}
    return {"left" if curvature > 0 else "right": 1 / abs(curvature), "length": length}


def joint_table(joint: DrawnJoint) -> tuple[str, dict[str, Any]] | None:
    """Return the section and the table that tell how trains pass a joint, None where it needs none."""
    lines = [end.line for end in joint.ends]

    def named(end: LineEnd) -> str:
        return str(end) if lines.count(end.line) > 1 else end.line

    if joint.kind == "turnout" and joint.toe is not None:
        return "turnout", {"toe": named(joint.toe), "legs": [named(end) for end in joint.legs]}
    if joint.kind == "crossing":
        table = {"through": [[named(one), named(other)] for one, other in joint.through]}
        if joint.slips:
            table["moves"] = [[named(one), named(other)] for one, other in joint.slips]
        return "crossing", table
    if joint.kind == "table":
        length = {} if joint.length is None else {"length": joint.length}
        return "table", {"lines": [named(end) for end in joint.ends], **length}
    return None


def _with_unit(table: dict[str, Any]) -> dict[str, Any]:
    """Return a table whose lengths in m bear their unit, for a source of another unit."""

    def told(value: Any) -> Any:  # noqa: ANN401 - a table as TOML has it
        if isinstance(value, float):
            return f"{value!r} m"
        if isinstance(value, list):
            return [told(each) for each in value]
        if isinstance(value, dict):
            return {key: told(each) for key, each in value.items()}
        return value

    return {key: value if key == "heading" else told(value) for key, value in table.items()}
