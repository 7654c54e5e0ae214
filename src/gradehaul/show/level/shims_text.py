"""A surveyed hill for a person: where it is too steep, and what to do at each riser; and as a table."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import NamedTuple

import numpy as np

from gradehaul.design.deck import STRENGTH
from gradehaul.design.level.shims import CorrectedSurveys, Corrections, Shim, Steep
from gradehaul.errors import clean
from gradehaul.haulage.resistance import NORMAL_95
from gradehaul.show import RISERS
from gradehaul.show.base.labels import from_to
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.sheets import on_rule

CAUTION = (
    "Support the deck before a riser is loosened, and check the clear height over tracks below when one goes down. "
    + STRENGTH
)


def shims_page(found: CorrectedSurveys, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the answer for some surveys as a page, those that cannot reach the target first."""
    page = Page()
    page.line((clean(found.plan.title), "bold"), ": surveyed hills")
    for each in sorted(found.surveys, key=lambda each: (each.met, not each.before)):
        _add(page, each, units, every="stations" in more)
    page.line()
    if any(each.total for each in found.surveys):
        page.line("Once they are set, read every railhead again: the new readings go into the plan, not these figures.")
    page.line(CAUTION)
    page.more(RISERS)
    return page


def _add(page: Page, found: Corrections, units: UnitFormat, *, every: bool) -> None:
    """Add a survey: what is steeper than the target, and what to do at each riser that moves, or at every one."""
    hill = found.surveyed
    page.line()
    done = on_rule(found.total, found.step)
    name = f"{clean(hill.name)}: "
    if not found.before:
        page.line((f"{name}nowhere steeper than the target", "green"), ".")
    elif found.met:
        page.line((f"{name}on target with the corrections below", "green"), f", which add up to {done}.")
    elif found.step_alone:
        step = on_rule(found.step, found.step)
        page.line(
            (f"{name}{units.grade(found.reached)} with the nearest steps of {step}", "yellow"),
            f", which add up to {done}. The difference to {units.grade(found.target)} is the step of the shims: "
            "thinner ones would meet it.",
        )
    else:
        page.line(
            (f"{name}it cannot reach the target", "bold red"),
            f" with shims of at most {units.length(found.shim, fine=True)} and fixed ends. "
            + (
                f"The corrections below, which add up to {done}, bring it to {units.grade(found.reached)}."
                if found.total
                else "No shim within what is allowed helps."
            ),
        )
    for steep in found.before:
        page.line(*_steep(steep, units), indent=2)
    assumed = "assumed, " if hill.reading_assumed else ""
    page.line(
        f"Target: at most {units.grade(found.target)}; even from end to end it is {units.grade(hill.even_grade)}. "
        f"Error of a reading: {units.small(hill.reading)} ({assumed}one standard deviation).",
        indent=2,
    )
    rows = [row for row, moves in _stations(found, units) if moves or every]
    if rows:
        page.table(["reading (at)>", "railhead>", "grade to next (90 % range)>", "correction", "then>"], rows)
    else:
        page.line("No riser needs a shim.", indent=2)


def _stations(found: Corrections, units: UnitFormat) -> Iterator[tuple[list[Piece], bool]]:
    """Yield a row for each reading, named by its number and place, and whether the riser there moves."""
    after = np.diff(found.surveyed.height + found.corrections) / np.diff(found.surveyed.distance)
    for riser, steps, then in zip(found.risers, found.steps, [*after.tolist(), None], strict=True):
        row: list[Piece] = [
            f"{riser.riser} ({units.length(riser.at)})",  # not the numbers of `risers`, which stand at joints, too
            units.length(riser.railhead, fine=True),
            "" if riser.grade is None else _ranged(riser.grade, riser.spread or 0.0, units),
            (correction_text(steps, found.step), "yellow" if steps else ""),
            "" if then is None else units.grade(then),
        ]
        yield row, bool(steps)


def _steep(steep: Steep, units: UnitFormat) -> tuple[Piece, ...]:
    grade = _ranged(steep.grade, steep.spread, units, "90 % range ")
    where = f" from {units.length(steep.start)} to {units.length(steep.stop)}: {grade}"
    if steep.sure:
        return ("Steeper than the target", "bold red"), where
    return ("Perhaps steeper than the target", "yellow"), f"{where}, too near for these readings to tell"


def _ranged(grade: float, spread: float, units: UnitFormat, range_words: str = "") -> str:
    """Return a grade with its 90 % range in brackets, behind words on what that is."""
    low, high = (units.grade(grade + deviations * spread) for deviations in (-NORMAL_95, NORMAL_95))
    return f"{units.grade(grade)} ({range_words}{from_to(low, high)})"


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


class _Surveyed(NamedTuple):
    survey: str
    riser: Shim


def shims_csv(found: CorrectedSurveys, units: UnitFormat | None) -> str:
    """Return the risers as CSV (RFC 4180); the grade is that to the next reading."""
    columns = "survey riser.riser riser.at riser.railhead riser.grade riser.spread riser.correction"
    rows = (_Surveyed(each.surveyed.name, riser) for each in found.surveys for riser in each.risers)
    return table(_Surveyed, columns, rows, units)
