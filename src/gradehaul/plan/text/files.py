"""The files of a plan: the main one and those it includes, merged into tables that stand once each."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any, NamedTuple

from gradehaul.errors import PlanError, QuantityError, clean, quoted, shown
from gradehaul.plan.names import nearest
from gradehaul.plan.records import LineEnd
from gradehaul.plan.schema.plan import HEAD, KEYED, LISTED, SINGLE
from gradehaul.plan.text.faults import Entry, Faults, Source, table_header
from gradehaul.plan.text.toml import KeyPath, headers, parse, read_text
from gradehaul.quantities import length_unit

if TYPE_CHECKING:
    from collections.abc import Mapping

_MAIN_ONLY = ("title", "scale", "practice")
_TRADE_WORDS = {
    **dict.fromkeys(("switch", "point", "points"), "turnout"),
    **dict.fromkeys(("locomotive", "engine"), "loco"),
    **dict.fromkeys(("wagon", "carriage", "coach"), "car"),
    "track": "line",
    "film": "rail",
}
"""Words of the trade, and the table that a plan has for each."""
_MOST_FILES = 100
_FALLBACK_UNIT = "in"


@dataclass(slots=True)
class Tables:
    """All tables of a plan as TOML gave them, each with the file it stands in."""

    main: Source
    keyed: dict[str, dict[str, Entry[Any]]] = field(default_factory=lambda: {section: {} for section in KEYED})
    single: dict[str, Entry[Any]] = field(default_factory=dict)
    listed: dict[str, list[Entry[Any]]] = field(default_factory=lambda: {section: [] for section in LISTED})
    railhead: dict[str, Entry[Any]] = field(default_factory=dict)


def gather(text: str, file: str, folder: Path | None, faults: Faults, data: dict[str, Any] | None = None) -> Tables:
    """Return the tables of a plan, given as text, with `data` where it is parsed already, and of all it includes."""
    main = _source(text, data, file, None, folder, faults)
    tables = Tables(main)
    _merge(main, tables, faults)
    _include(main, tables, faults)
    return tables


def _source(
    text: str, known: dict[str, Any] | None, file: str, outer_unit: str | None, folder: Path | None, faults: Faults
) -> Source:
    data = parse(text, file) if known is None else known
    unit = outer_unit
    if "unit" in data:
        try:
            unit = length_unit(data["unit"])
        except QuantityError as error:
            faults.add(error, file=file, place="unit")
            unit = _FALLBACK_UNIT  # so that the one fault does not show up again at every length
    return Source(file, unit, data, headers(text), folder)


def _include(main: Source, tables: Tables, faults: Faults) -> None:
    """Read the included files, and those that they include, in the order in which they are named."""
    included_by = {_key(main.folder, Path(main.file).name): ""}
    waiting = [main]
    for source in waiting:  # which grows
        for name in _names(source, faults):
            if source.folder is None:
                _refuse(source, "a plan that is not a file cannot include others", faults, found=shown(name))
                continue
            path, file = source.folder / name, str(Path(source.file).parent / name)
            key = _key(path.parent, path.name)
            if key in included_by:
                by = f"already included by {quoted(included_by[key])}" if included_by[key] else "the plan itself"
                _refuse(source, f"{quoted(file)} is {by}", faults)
                continue
            if len(included_by) >= _MOST_FILES:
                _refuse(source, f"a plan has at most {_MOST_FILES} files", faults)
                return
            included_by[key] = source.file
            if not path.exists():
                _refuse(source, f"there is no file {quoted(name)} beside this one", faults)
                continue
            try:
                inner = _source(read_text(path, file), None, file, source.unit, path.parent, faults)
            except PlanError as error:
                faults.errors.append(error)
                continue
            _merge(inner, tables, faults, included=True)
            waiting.append(inner)


def _refuse(source: Source, wrong: str, faults: Faults, *, found: str = "", write: str = "") -> None:
    faults.take(source.file, "include", wrong, found=found, write=write)


def _key(folder: Path | None, name: str) -> str:
    if folder is None:
        return name
    try:
        return str((folder / name).resolve())
    except (OSError, RuntimeError):  # links that lead round in a circle: reading it will say so
        return str(folder / name)


def _names(source: Source, faults: Faults) -> list[str]:
    """Return the names of the files that one file includes."""
    raw = source.data.get("include", [])
    if not isinstance(raw, list) or not all(isinstance(name, str) for name in raw):
        write = 'include = ["stock.toml"]'
        _refuse(source, "must be a list of file names", faults, found=shown(raw), write=write)
        return []
    for name in raw:
        if not is_beside(name):
            wrong = "an included file must be in this file's folder or below it"
            _refuse(source, wrong, faults, found=shown(name), write='"stock.toml"')
    return [name for name in raw if is_beside(name)]


def is_beside(name: str) -> bool:
    """Return whether a name leads to a file beside the plan, or in a folder below it, and nowhere else."""
    path = PurePosixPath(name)
    sneaky = "\0" in name or "\\" in name or ":" in name[:2]
    return bool(path.name) and not sneaky and not path.is_absolute() and ".." not in path.parts


def _merge(source: Source, tables: Tables, faults: Faults, *, included: bool = False) -> None:
    """Add one file's tables to the plan's."""
    for key, value in source.data.items():
        if key in KEYED or key == "railhead":
            for name, table in _named(source, key, value, faults):
                into = tables.railhead if key == "railhead" else tables.keyed[key]
                path: KeyPath = (key, name)
                _put(into, clean(name), Entry(source, path, table), faults)
        elif key in LISTED:
            _add_list(source, key, value, tables, faults)
        elif key in SINGLE:
            _put(tables.single, key, Entry(source, (key,), value), faults)
        elif key not in HEAD:
            known = [*HEAD, "railhead", *KEYED, *LISTED, *SINGLE]
            near = _TRADE_WORDS.get(key.casefold()) or nearest(key, known, alike=0.7)
            what = "table" if isinstance(value, (dict, list)) else "key"
            write = table_header(near) if near and what == "table" else near or f"one of {', '.join(known)}"
            faults.take(source.at((key,)), "", f"unknown {what} {quoted(key)}", write=write)
        elif included and key in _MAIN_ONLY:
            wrong = f"{key} stands in the main file only"
            faults.take(source.file, "", wrong, write=f"it in {quoted(tables.main.file)}")


def _add_list(source: Source, section: str, value: object, tables: Tables, faults: Faults) -> None:
    if not isinstance(value, list):
        at, write = source.at((section,)), f"[[{section}]], in two brackets"
        faults.take(at, f"[{section}]", "must be a list of tables", found=shown(value), write=write)
        return
    tables.listed[section] += [Entry(source, (section, number), table) for number, table in enumerate(value)]


def _named(source: Source, section: str, value: object, faults: Faults) -> list[tuple[str, object]]:
    """Return the tables of a section by the names they were given."""
    at, place = source.at((section,)), f"[{section}]"
    if not isinstance(value, dict):
        if section == "railhead":
            wrong, write = "must be a table", "[railhead] with a height for each joint"
        else:
            wrong, write = "must be a table for each name", f"[{section}.NAME] with a name"
        faults.take(at, place, wrong, found=shown(value), write=write)
        return []
    good: list[tuple[str, object]] = []
    for name, table in value.items():
        if clean(name):
            good.append((name, table))
        else:
            at, write = source.at((section, name)), f'[{section}."a name"]'
            faults.take(at, place, "a name must not be empty", found=shown(name), write=write)
    return good


def _put(into: dict[str, Entry[Any]], name: str, entry: Entry[Any], faults: Faults) -> None:
    """Add a table under its name, which no other file may have used."""
    before = into.get(name)
    if before is None:
        into[name] = entry
        return
    write = "one of the two" if entry.path[0] in (*SINGLE, "railhead") else "another name"
    faults.at(entry, f"{quoted(name)} is already given at {before.file}", write=write)


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
