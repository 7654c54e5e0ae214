"""A drawing's lines as tables of the plan: they join those that are written, at joints of the same name."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from itertools import accumulate
from typing import Any, Literal

from gradehaul.errors import DrawingError, Problems, QuantityError, clean, quoted, shown
from gradehaul.plan.drawing.heights import is_flat
from gradehaul.plan.drawing.records import CHORDS, Claim, Drawn, DrawnJoint, DrawnLine, ReachEnd, Spot, terms
from gradehaul.plan.names import near_file
from gradehaul.plan.schema.plan import DrawingTable, JointTable
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.plan.text.files import Tables, berths_named, is_beside, line_spans
from gradehaul.quantities import length_unit, read_quantity
from gradehaul.scales import Scale

_OF_A_LINE = ("from", "to", "track", "at", "heading")
"""What a drawing shows of a line; a line of the plan that has none of it adds to the drawing's line of its name."""

_SAME_PLACE = 1e-9


def add_drawing(tables: Tables, scale: Scale | None, unit: str, faults: Faults) -> bool:
    """Add lines, joints and heights of the plan's drawing to its tables; return whether all of it is there.

    `unit` is that of the plan's bare lengths; `faults` takes errors and notes.
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
    from gradehaul.plan.drawing.wording import doubtful_heights, fault_notes

    faults.notes += fault_notes(drawn.file, drawn.faults, unit)
    faults.doubts += doubtful_heights(drawn.file, drawn.faults, unit)
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
    from gradehaul.plan.drawing.assembly import WITHIN, assemble
    from gradehaul.plan.drawing.dxf import read_drawing

    table = entry.table
    folder, name = entry.source.folder, table.file
    if not is_beside(name):
        wrong = "a drawing must be in its plan's folder or below it"
        faults.at(entry, wrong, found=shown(name), write='"tarn.dxf"', inside="file")
        return None
    if folder is None:
        faults.at(entry, "a plan that is not a file has no drawing beside it", found=shown(name), inside="file")
        return None
    if not (folder / name).exists():
        near = near_file(folder / name, ".dxf")
        write = quoted(near) if near else ""
        faults.at(entry, f"there is no file {quoted(name)} beside this one", inside="file", write=write)
        return None
    try:
        own_unit = None if table.unit is None else length_unit(table.unit)
    except QuantityError as error:
        faults.add(error, file=entry.file, place=f"{entry.place}, unit")
        return None
    own = {name: line for name, line in tables.keyed["line"].items() if not _only_adds(line.table)}
    spans, _ = line_spans(own)
    given = {name: getattr(table, name) for name in ("snap", "fit", "height_layers", "rails")}
    try:
        path, fine = folder / name, CHORDS * scale.gauge
        drawing = read_drawing(
            path, layers=table.layers, height_layers=table.height_layers or (), unit=own_unit, tolerance=fine
        )
        on = terms(scale.gauge, unit, table.layers, **given, kink=table.kink or drawing.kink, zero=table.raise_)
        claims = [
            Claim(name, Spot(*each.table.at), each.table.within or WITHIN * on.snap, each.file, f"{each.place}, at")
            for name, each in joints.items()
        ]
        return assemble(
            drawing,
            on,
            claims=claims,
            given=_given(tables),
            along={name: stations_given(line.table, line.source.unit) for name, line in tables.keyed["line"].items()},
            lines_taken={*own, *berths_named(tables.keyed["line"], tables.keyed["piece"])},
            joints_taken={joint for span in spans.values() for joint in (span.start, span.finish)},
        )
    except Problems as problems:
        faults.errors += problems.errors
    except DrawingError as error:
        faults.errors.append(error)
    return None


def _given(tables: Tables) -> dict[str, float]:
    """Return the heights that the plan gives, m; what cannot be read is an error where the plan is resolved."""
    found: dict[str, float] = {}
    for name, entry in tables.railhead.items():
        with suppress(QuantityError):
            found[name] = read_quantity(entry.table, "length", unit=entry.source.unit)
    return found


def stations_given(line: object, unit: str | None) -> list[float]:
    """Return where along a line its table in the plan gives heights, m; what cannot be read is an error later on."""
    found: list[float] = []
    pairs = line.get("railhead_at") if isinstance(line, dict) else None
    for pair in pairs if isinstance(pairs, list) else ():
        if isinstance(pair, list) and pair:
            with suppress(QuantityError):
                found.append(read_quantity(pair[0], "length", unit=unit))
    return found


# Adding


def _add_all(drawn: Drawn, tables: Tables, faults: Faults) -> None:
    source = Source(drawn.file, "m", {}, {})
    written = tables.keyed["line"]
    lines: dict[str, Entry[Any]] = {}
    at, drawn_lines = list(drawn.joints), list(drawn.lines)
    for name, line in drawn.lines.items():
        addition = written.get(name)
        if addition is not None and isinstance(addition.table, dict):
            lines[name] = Entry(addition.source, addition.path, _added_to(line, at, addition.table))
        else:
            lines[name] = Entry(source, ("line", name), line_table(line, at))
    for name, entry in written.items():
        if name not in lines and _only_adds(entry.table):
            faults.unknown(entry, "line of the drawing", name, drawn.lines, declare="from, to and track for a new one")
        elif name not in lines:
            lines[name] = entry
    tables.keyed["line"].clear()
    tables.keyed["line"].update(lines)
    declared = {name for section in ("turnout", "crossing", "table") for name in tables.keyed[section]}
    for name, joint in drawn.joints.items():
        if name not in declared and (found := joint_table(joint, drawn_lines)):
            section, table = found
            tables.keyed[section][name] = Entry(source, (section, name), table)
    for name, height in drawn.heights.items():
        tables.railhead.setdefault(clean(name), Entry(source, ("railhead", name), height))


def _added_to(line: DrawnLine, joints: Sequence[str], addition: Mapping[str, Any]) -> dict[str, Any]:
    """Return a line's table with what the plan adds to it; heights are added to those that are drawn."""

    def figure(value: float, kind: str) -> float | str:
        return float(value) if kind in {"angle", "turn"} else f"{float(value)!r} m"

    drawn = line_table(line, joints, figure)
    if "berth" in addition:  # the plan's own, in place of those that are drawn
        for track in drawn["track"]:
            track.pop("berth", None)
    table = {**drawn, **addition}
    if isinstance(more := addition.get("railhead_at"), list):  # its own pairs first, for messages
        table["railhead_at"] = [*more, *drawn.get("railhead_at", [])]
    return table


Figure = Callable[[float, Literal["length", "size", "turn", "angle"]], Any]
"""What stands in a table for a length, m, a length or an angle above 0, or any angle, degrees."""


def line_table(
    line: DrawnLine, joints: Sequence[str], figure: Figure = lambda value, _: float(value)
) -> dict[str, Any]:
    """Return a line between joints of these names as a plan's table, with what stands there for each figure.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, Spot
    >>> quarter = Element(Spot(0, 0), Spot(0.5, 0.5), 0.0, 2.0, 0.785, "", "")
    >>> line_table(DrawnLine((quarter,), 0, 1, ""), ["A", "B"], lambda value, _: round(value, 1))["track"]
    [{'left': 0.5, 'angle': 90.0}]
    """
    tracks: list[dict[str, Any]] = []
    for element in line.elements:
        if element.curvature == 0:
            tracks.append({"straight": figure(element.length, "size")})
        else:
            hand = "left" if element.curvature > 0 else "right"
            turn = math.degrees(abs(element.curvature) * element.length)
            tracks.append({hand: figure(1 / abs(element.curvature), "size"), "angle": figure(turn, "turn")})
    first = line.elements[0]
    table: dict[str, Any] = {
        "from": joints[line.start],
        "to": joints[line.finish],
        "at": [figure(first.start.x, "length"), figure(first.start.y, "length")],
        "heading": figure(math.degrees(first.heading), "angle"),
    }
    ends, between = _split_heights(line)
    for number, height in ends.items():
        tracks[number]["railhead"] = figure(height, "length")
    if line.railhead_at or not is_flat(line):  # also where an even climb needs none between
        table["railhead_at"] = [[figure(each, "length") for each in pair] for pair in between]
    table["track"] = tracks
    if line.berths and line.berths[0] and len(set(line.berths)) == 1:
        table["berth"] = line.berths[0]
    else:
        for track, berth in zip(tracks, line.berths, strict=bool(line.berths)):
            track |= {"berth": berth} if berth else {}  # noqa: PLW2901 - changed in place
    for track, name in zip(tracks, line.names, strict=bool(line.names)):
        track |= {"name": name} if name else {}  # noqa: PLW2901 - changed in place
    return table


def _split_heights(line: DrawnLine) -> tuple[dict[int, float], list[tuple[float, float]]]:
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


def joint_table(joint: DrawnJoint, names: Sequence[str]) -> tuple[str, dict[str, Any]] | None:
    """Return the section and the table that show how trains pass a joint of lines of these names; None for none."""

    def named(end: ReachEnd) -> str:
        return joint.end_name(end, names)

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
