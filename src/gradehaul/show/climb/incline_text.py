"""An incline for a person and as JSON: its figures, its changes of grade against practice, and its trains."""

from __future__ import annotations

import json
import math
from collections.abc import Collection
from typing import Any

from gradehaul.design.climb.backward import Found
from gradehaul.design.climb.easing import WANTED, easement_shift, wants_easement
from gradehaul.design.climb.incline import CARE, Incline, practice_car
from gradehaul.design.climb.steps import steps_of
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan.records import Plan
from gradehaul.show.base.digits import rounded
from gradehaul.show.base.page import Page
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.document import check_document
from gradehaul.show.climb.hill_text import add_longest, add_named, add_stop, add_worst
from gradehaul.show.sections import CLIMB

_PRACTICE = 0.01
"""Change of grade within a car's length that practice allows (common practice)."""


def incline_page(
    found: Found[Incline],
    stock: Plan,
    answer: CheckAnswer,
    reader: Reader,
    *,
    find: str | None = None,
    more: Collection[str] = (),
) -> Page:
    """Return the page of an incline; parameters as those of `helix_page`."""
    page, incline, car = Page(), found.design, practice_car(stock)
    page.line(("Incline", "bold"), f", scale {stock.scale.name}")
    page.line()
    add_worst(page, answer)
    if find is not None and found.stops is not None:
        step = steps_of(stock.unit)
        better = (
            f"A length {reader.small(step.length)} shorter"
            if find == "length"
            else f"A rise {reader.small(step.rise)} higher"
        )
        add_stop(page, better, found.stops)
    rows = [
        ("rise", reader.length(incline.rise, fine=True)),
        ("length, level to level", reader.length(incline.length, fine=True)),
        ("grade of straights", reader.grade(incline.grade)),
    ]
    for number, bend in enumerate(incline.bends, 1):
        hand = "left" if bend.angle > 0 else "right"
        turned = f"{hand} {reader.length(bend.radius)}, {abs(math.degrees(bend.angle)):.4g} deg"
        rows.append((f"grade in curve {number}, {turned}", reader.grade(incline.grade_in(bend))))
    rows += [
        ("effective grade, away from vertical curves", reader.grade(incline.effective_grade)),
        ("greatest effective grade at any point", reader.grade(answer.routes[0].ruling.effective)),
        ("each straight", reader.length(incline.straight)),
        ("vertical curves", reader.length(incline.vertical)),
        (f"change of grade in a car length, {reader.length(car)}", reader.grade(incline.change_per_car(car))),
    ]
    page.line()
    page.table(["", ">"], rows, indent=0)
    page.line()
    sharp = incline.change_per_car(car) > _PRACTICE * (1 + 1e-6)
    page.paragraph(
        "Vertical curves of about a car length, or a foot, for each 1 % of change (common practice): ",
        ("SHARPER than that." if sharp else "as long or longer.", "bold red" if sharp else "green"),
    )
    short = [curve for curve in incline.curves if curve.length < incline.vertical * (1 - 1e-9)]
    if short:
        page.paragraph(
            f"{len(short)} vertical curves come out shorter, down to "
            f"{reader.length(min(curve.length for curve in short))}: the grades beside them are no longer."
        )
    page.paragraph(CARE)
    page.more(CLIMB)
    if "loads" in more:
        add_longest(page, answer)
    if "trains" in more:
        add_named(page, answer)
    if "notes" in more:
        page.heading("Notes")
        if incline.bends:
            _add_curve_notes(page, incline, stock, answer, reader)
        else:
            page.line("None.", indent=2)
    return page


def _add_curve_notes(page: Page, incline: Incline, stock: Plan, answer: CheckAnswer, reader: Reader) -> None:
    """Add how far easements move the curves, and what becomes of the grade on them."""
    _add_easements(page, incline, stock, reader)
    eased = (
        "is eased on curves by what they add; a vertical curve reaches over where a curve begins, so that at points "
        "there the effective grade is more than on either side"
        if incline.compensated and answer.routes[0].ruling.effective > incline.effective_grade * (1 + 1e-6)
        else "is eased on curves by what they add"
        if incline.compensated
        else "is the same on curves"
    )
    page.line(f"The grade {eased}.", indent=2)


def _add_easements(page: Page, incline: Incline, stock: Plan, reader: Reader) -> None:
    """Add how far easements move their curves, or that some curve needs one."""
    shifts = [easement_shift(bend.ease, bend.radius) for bend in incline.bends if bend.ease]
    if shifts:
        page.line(
            f"Easements move their curves inward, by {reader.length(max(shifts), fine=True)} at the most: ease² / 24 R "
            "(textbooks).",
            indent=2,
        )
    elif any(wants_easement(bend.radius, stock.scale) for bend in incline.bends):
        page.line(WANTED, indent=2)


def incline_json(found: Found[Incline], stock: Plan, answer: CheckAnswer) -> str:
    """Return the incline as JSON text, beside what `check` says of it; keys as in `check_json`."""
    incline, car = found.design, practice_car(stock)
    document: dict[str, Any] = {
        "incline": {
            "rise_m": rounded(incline.rise),
            "length_m": rounded(incline.length),
            "grade_pct": rounded(100 * incline.grade),
            "effective_pct": rounded(100 * incline.effective_grade),
            "greatest_effective_pct": rounded(100 * answer.routes[0].ruling.effective),
            "compensated": incline.compensated,
            "curves": [
                {
                    "radius_m": rounded(bend.radius),
                    "angle_deg": rounded(math.degrees(bend.angle)),
                    "ease_m": rounded(bend.ease),
                    "grade_pct": rounded(100 * incline.grade_in(bend)),
                }
                for bend in incline.bends
            ],
            "straight_m": rounded(incline.straight),
            "vertical_curve_m": rounded(incline.vertical),
            "car_length_m": rounded(car),
            "change_per_car_pct": rounded(100 * incline.change_per_car(car)),
            "stops": None if found.stops is None else found.stops.reason,
            "stops_on": None if found.stops is None else found.stops.rail,
            "stops_why": None if found.stops is None else found.stops.words,
        },
        "care": CARE,
        **check_document(answer),
    }
    return json.dumps(document, indent=1, allow_nan=False) + "\n"
