"""What came of a drawing, for a person: what was found in it, what could not be read, and what changed in the plan."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Sequence

from gradehaul.errors import clean, quoted
from gradehaul.plan.drawing.records import Drawn
from gradehaul.plan.drawing.wording import (
    FLAT_HELIX,
    NUMBERS,
    at_text,
    by_code,
    fault_text,
    kind_text,
    unused_heights,
    unused_text,
)
from gradehaul.plan.edit.importing import Imported
from gradehaul.show import IMPORT
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.unit_format import UnitFormat, units_of
from gradehaul.show.check.first_screen import add_doubts
from gradehaul.track.alignment import FirstLook

_LISTED, _NAMED, _FEW = 100, 100, 6
"""Faults of a kind, and names of changes, shown at the most; names before all are."""


def import_page(
    imported: Imported,
    plan: str,
    more: Collection[str] = (),
    *,
    look: FirstLook = FirstLook(),  # noqa: B008 - a tuple
    offer: bool = True,
) -> Page:
    """Return what came of a drawing as a page.

    `plan` is the file that is written, empty where it is printed, `more` the sections to add, `look` what is wrong
    with the track as it lies; `offer` names all that the command can add.
    """
    drawn, units = imported.drawn, units_of(imported.unit)
    page = Page()
    if unused := unused_text(unused_heights(drawn.faults)):
        page.line((unused, "bold red"))
    found = by_code(drawn.faults)
    for fault in (*found.get(FLAT_HELIX, []), *found.get(NUMBERS, [])):
        page.line((fault_text(fault, imported.unit), "bold red"))
    if cuts := sum(len(found.get(code, ())) for code in ("no-tangent", "level-miss", "near-miss")):
        what = "1 place" if cuts == 1 else f"{cuts:,} places"
        page.line((f"Track may be cut at {what}, where ends meet or nearly meet and are not joined", "bold red"))
    add_doubts(page, look.doubts, "gradehaul check")
    _add_own_heights(page, imported, every="changes" in more)
    done = f"imported into {clean(plan)}" if plan else "plan printed"
    page.line((clean(drawn.file), "bold"), f": {done}, {len(imported.text.encode()):,} bytes")
    page.line()
    if problems := (*imported.problems, *look.problems):
        page.line(("Mend these in the plan before it answers", "bold red"), ":")
        for problem in problems:
            page.line(str(problem), indent=2)
    _add_found(page, drawn, units)
    _add_faults(page, drawn, imported.unit, every="faults" in more)
    if not imported.new:
        _add_changes(page, imported, plan, every="changes" in more)
    if offer:
        page.line()
        page.more(IMPORT)
    if "layers" in more:
        page.heading("Layers read, with what is drawn on them")
        page.table(["layer", "drawn>"], [[quoted(layer), f"{count:,}"] for layer, count in drawn.layers.items()])
    return page


def _add_own_heights(page: Page, imported: Imported, *, every: bool) -> None:
    """Add the person's heights that the drawing has otherwise, those whose drawing has changed first."""
    if redrawn := imported.changes.redrawn:
        have = "has" if len(redrawn) == 1 else "have"
        heights = _counted(len(redrawn), "height")
        page.line((f"{heights} that you changed {have} changed in the drawing, too:", "bold red"))
        for each in redrawn:
            page.line((each, "bold red"), indent=2)
    contrary = imported.changes.contrary
    shown = contrary if every else contrary[:_FEW]
    for each in (*shown, *([f"and {len(contrary) - len(shown):,} more: --more changes"] * (shown != contrary))):
        page.line((each, "bold red"))


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or f'{one}s'}"


def _named(layers: Sequence[str]) -> str:
    """Return some layers by their names, and how many more."""
    more = f" and {len(layers) - _FEW} more" if len(layers) > _FEW else ""
    return f"{_counted(len(layers), 'layer').split(' ')[1]} {', '.join(map(quoted, layers[:_FEW]))}{more}"


def _add_found(page: Page, drawn: Drawn, units: UnitFormat) -> None:
    elements = [element for line in drawn.lines.values() for element in line.elements]
    kinds = Counter(joint.kind for joint in drawn.joints.values())
    length = units.length(math.fsum(element.length for element in elements))
    parts = [
        _counted(len(drawn.lines), "line"),
        _counted(len(elements), "track"),
        _counted(kinds["turnout"], "turnout"),
        _counted(kinds["crossing"], "crossing"),
        _counted(kinds["end"], "end of track", "ends of track"),
    ]
    page.line(f"Found {', '.join(parts)}; {length} of track.")
    names, heights = drawn.texts
    layers = [
        f"{what} on {_named(found)}"
        for what, found in (("track", list(drawn.layers)), ("names", names), ("heights", heights))
        if found
    ]
    page.line(f"Read: {', '.join(layers)}.")
    curves = [element for element in elements if element.curvature]
    if curves:
        tightest = max(curves, key=lambda element: abs(element.curvature))
        radius = units.length(1 / abs(tightest.curvature))
        page.line(f"The tightest curve has radius {radius}, at {at_text(tightest.start, units.length_unit)}.")
    along = sum(bool(line.railhead_at) for line in drawn.lines.values())
    if drawn.heights or along:
        joints = _counted(len(drawn.joints), "joint")
        too = f", and along {_counted(along, 'line')}" if along else ""
        page.line(f"Heights of {len(drawn.heights):,} of {joints}{too}.")
    else:
        page.line("No heights: write those that you know under [railhead].")


def _add_faults(page: Page, drawn: Drawn, unit: str, *, every: bool) -> None:
    """Add a row for each kind of fault, the worst first, or every fault."""
    faults = by_code(drawn.faults)
    if not faults:
        page.line("All of it could be read.")
        return
    page.heading("Repaired, skipped or doubtful, worst first")
    if not every:
        rows: list[list[Piece]] = [
            [kind_text(code, len(found)), fault_text(found[0], unit)] for code, found in faults.items()
        ]
        page.table(["kind", "the first"], rows, indent=0)
        return
    for code, found in faults.items():
        page.line(kind_text(code, len(found)), indent=2)
        for fault in found[:_LISTED]:
            page.line(fault_text(fault, unit), indent=4)
        if len(found) > _LISTED:
            page.line(f"and {len(found) - _LISTED:,} more", indent=4)


def _add_changes(page: Page, imported: Imported, plan: str, *, every: bool) -> None:
    """Add how much of the plan changed, by name if wanted."""
    changes = imported.changes
    page.heading(f"Changes to {clean(plan)}")
    rows: list[list[Piece]] = []
    for words, names in (
        ("added", changes.added),
        ("removed", changes.removed),
        ("changed", changes.changed),
        ("yours, kept, though drawn otherwise", changes.kept),
        ("heights", changes.heights),
        ("your heights kept, marks moved", changes.marks),
    ):
        most = _NAMED if every else _FEW
        if names:
            more = f" and {len(names) - most:,} more" if len(names) > most else ""
            rows.append([words, f"{len(names):,}", f"{'; '.join(names[:most])}{more}"])
    if rows:
        page.table(["", ">", ""], rows, indent=0)
    else:
        page.line("none")
