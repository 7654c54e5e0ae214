"""A surveyed hill for a person: what it makes, where it is too steep, and what to do at each riser."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.design.level.risers import Corrections
from gradehaul.design.level.survey import Steep
from gradehaul.plan.names import clean
from gradehaul.plan.records import Plan
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.base.rule_reading import on_rule

CAUTION = (
    "Support the deck before a riser is loosened, and check the clear height over tracks below when one goes down. "
    "Decks bear only as they are built: follow local codes, and ask a qualified person where structure, mains or "
    "stairs are touched."
)


def risers_page(plan: Plan, found: Sequence[Corrections], reader: Reader) -> Page:
    """Return the answer for some surveys as a page."""
    page = Page()
    page.line("Surveyed hills: ", (plan.title, "bold"), f" ({clean(plan.file)})")
    for each in found:
        _add(page, each, reader)
    page.heading("Caution")
    page.line(CAUTION, indent=2)
    return page


def _add(page: Page, found: Corrections, reader: Reader) -> None:
    hill = found.surveyed
    page.heading(f"Survey {clean(hill.name)}")
    assumed = ", assumed" if hill.reading_assumed else ""
    page.line(
        f"Meant: {reader.grade(found.target)} at the most; even from end to end it is {reader.grade(hill.even_grade)}. "
        f"A reading is good to {reader.length(hill.reading, fine=True)}{assumed}.",
        indent=2,
    )
    if not found.before:
        page.line(("Nowhere steeper than meant", "green"), ".", indent=2)
    for steep in found.before:
        page.line(*_steep(steep, reader), indent=2)
    done = on_rule(found.total, found.step)
    if not found.total:
        page.line("No riser need be touched." if found.met else "No shim within what is allowed helps.", indent=2)
    elif found.met:
        page.line(("With the corrections below", "green"), f", {done} in all, it is as meant.", indent=2)
    else:
        page.line(
            ("It cannot be as meant", "bold red"),
            f" with shims of at most {reader.length(found.shim, fine=True)} and its ends left: the corrections below, "
            f"{done} in all, bring it to {reader.grade(found.reached)}.",
            indent=2,
        )
    grades, spreads = hill.grades, hill.spreads
    after = (hill.height + found.corrections)[1:] - (hill.height + found.corrections)[:-1]
    runs = hill.distance[1:] - hill.distance[:-1]
    rows: list[list[Piece]] = []
    for k, steps in enumerate(found.steps):
        told = k < grades.size
        rows.append(
            [
                str(k + 1),
                reader.length(float(hill.distance[k])),
                reader.length(float(hill.height[k]), fine=True),
                f"{reader.grade(float(grades[k]))} ± {100 * float(spreads[k]):.2g} %" if told else "",
                (correction_text(steps, found.step), "yellow" if steps else ""),
                reader.grade(float(after[k] / runs[k])) if told else "",
            ]
        )
    for k, steps in enumerate(found.steps):
        if steps:
            page.line((f"riser {k + 1}: {correction_text(steps, found.step)}", "yellow"), indent=4)
    page.table(["riser>", "at>", "railhead>", "grade to next>", "correction>", "then>"], rows)


def _steep(steep: Steep, reader: Reader) -> tuple[Piece, ...]:
    where = (
        f" from {reader.length(steep.start)} to {reader.length(steep.stop)}: {reader.grade(steep.grade)} ± "
        f"{100 * steep.spread:.2g} %"
    )
    if steep.sure:
        return ("Steeper than meant", "bold red"), where
    return ("Perhaps steeper than meant", "yellow"), f"{where}, within the error of reading"


def correction_text(steps: int, step: float) -> str:
    """Return a correction in words: how far, and whether up or down; lengths of a step in m.

    Where the step is a fraction of an inch so is the correction, else it is in millimeters.

    Examples
    --------
    >>> correction_text(6, 0.0254 / 32), correction_text(-40, 0.0254 / 32), correction_text(3, 0.0005)
    ('up 3/16 in', 'down 1 1/4 in', 'up 1.5 mm')
    >>> correction_text(0, 0.0005)
    'leave'
    """
    if not steps:
        return "leave"
    return f"{'up' if steps > 0 else 'down'} {on_rule(abs(steps) * step, step)}"
