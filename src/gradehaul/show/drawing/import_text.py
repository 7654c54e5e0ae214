"""What came of a drawing, for a person: what was found in it, what could not be read, and what changed in the plan."""

from __future__ import annotations

import math
from collections import Counter

from gradehaul.plan.drawing.records import Drawn
from gradehaul.plan.drawing.wording import at_text, by_code, fault_text
from gradehaul.plan.edit.importing import Imported
from gradehaul.plan.names import clean, quoted
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader, reader_of

_LISTED = 10
_NAMED = 20


def import_page(imported: Imported, plan: str) -> Page:
    """Return what came of a drawing as a page; `plan` is the file that is written."""
    drawn, reader = imported.drawn, reader_of(imported.unit)
    page = Page()
    _add_found(page, drawn, reader)
    _add_faults(page, drawn, imported.unit)
    page.line()
    if imported.new:
        page.line(f"The plan is {clean(plan)}.")
    else:
        _add_changes(page, imported, plan)
    if imported.problems:
        page.heading("To be mended in the plan before it answers")
        for problem in imported.problems:
            page.line(str(problem), indent=2)
    return page


def _counted(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or f'{one}s'}"


def _add_found(page: Page, drawn: Drawn, reader: Reader) -> None:
    elements = [element for line in drawn.lines.values() for element in line.elements]
    kinds = Counter(joint.kind for joint in drawn.joints.values())
    length = reader.length(math.fsum(element.length for element in elements))
    page.line((clean(drawn.file), "bold"))
    parts = [
        _counted(len(drawn.lines), "line"),
        _counted(len(elements), "track"),
        _counted(kinds["turnout"], "turnout"),
        _counted(kinds["crossing"], "crossing"),
        _counted(kinds["end"], "end of track", "ends of track"),
    ]
    page.line(f"Found {', '.join(parts)}; {length} of track.", indent=2)
    layers = ", ".join(f"{quoted(layer)} ({count:,})" for layer, count in drawn.layers.items())
    page.line(f"Layers read, with what is drawn on them: {layers}.", indent=2)
    curves = [element for element in elements if element.curvature]
    if curves:
        tightest = max(curves, key=lambda element: abs(element.curvature))
        radius = reader.length(1 / abs(tightest.curvature))
        page.line(
            f"The tightest curve has radius {radius}, at {at_text(tightest.start, reader.length_unit)}.", indent=2
        )
    along = sum(bool(line.railhead_at) for line in drawn.lines.values())
    if drawn.heights or along:
        joints = _counted(len(drawn.joints), "joint")
        page.line(f"Heights of {len(drawn.heights):,} of {joints}, and along {_counted(along, 'line')}.", indent=2)
    else:
        page.line("No heights: write those that you know under [railhead].", indent=2)


def _add_faults(page: Page, drawn: Drawn, unit: str) -> None:
    faults = by_code(drawn.faults)
    if not faults:
        page.line("All of it could be read.", indent=2)
        return
    page.heading("Mended, passed over or in doubt, the worst first")
    for code, found in faults.items():
        page.line(f"{code}: {len(found):,}", indent=2)
        for fault in found[:_LISTED]:
            page.line(fault_text(fault, unit), indent=4)
        if len(found) > _LISTED:
            page.line(f"and {len(found) - _LISTED:,} more", indent=4)


def _add_changes(page: Page, imported: Imported, plan: str) -> None:
    changes = imported.changes
    page.line((f"Changes to {clean(plan)}", "bold"))
    any_change = False
    for words, names in (
        ("added", changes.added),
        ("removed", changes.removed),
        ("changed", changes.changed),
        ("yours, and kept as they are, though drawn otherwise", changes.kept),
        ("heights", changes.heights),
    ):
        if names:
            any_change = True
            more = f" and {len(names) - _NAMED:,} more" if len(names) > _NAMED else ""
            page.line(f"{words}: {'; '.join(names[:_NAMED])}{more}", indent=2)
    if not any_change:
        page.line("none", indent=2)
