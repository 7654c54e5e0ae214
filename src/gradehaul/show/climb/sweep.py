"""A sweep of helices for a person: a coarse table of cars."""

from __future__ import annotations

import numpy as np

from gradehaul.design.climb.helix import GUARD
from gradehaul.design.climb.helix_sweep import Sweep
from gradehaul.show.base.labels import cars_words
from gradehaul.show.base.page import Page
from gradehaul.show.base.unit_format import UnitFormat

_COLUMNS, _ROWS = 8, 9


def sweep_page(found: Sweep, units: UnitFormat) -> Page:
    """Return the page of a sweep: a table for every power and rail condition, rises down and radii across."""
    page = Page()
    page.line(("Round helices", "bold"), f": cars to run ({found.car}), by radius across and rise per turn down")
    possible = found.possible
    share = f"{100 * float(possible.mean()):.0f} % of the designs work"
    page.line()
    page.line((share if possible.any() else "No design here works", "green" if possible.any() else "bold red"), ".")
    height, width = found.grade.shape
    rows = np.unique(np.linspace(0, height - 1, _ROWS).round().astype(int))
    columns = np.unique(np.linspace(0, width - 1, _COLUMNS).round().astype(int))
    heads = [units.length_unit, *(f"{units.number(float(found.radii[column]))}>" for column in columns)]
    for i, power in enumerate(found.powers):
        for j, rail in enumerate(found.rails):
            page.heading(f"{power}, {rail} rail")
            table = [
                [
                    units.number(float(found.rises[row]), fine=True),
                    *(
                        _letters(found, row, column)
                        + cars_words(int(found.cars[i, j, row, column]))
                        + ("" if found.exact[i, j, row, column] else "+")
                        for column in columns
                    ),
                ]
                for row in rows
            ]
            page.table(heads, table)
    page.line()
    key = f"H: the deck above is too low. G: the grade is beyond {units.grade(found.steepest)}."
    train = "" if found.train is None else f" T: {train_words(found)}."
    page.paragraph(key + train + " +: more cars than are as long as the even stretch may climb too.")
    page.paragraph(GUARD)
    return page


def train_words(found: Sweep) -> str:
    """Return what a design does to the named train that does not get over it."""
    fails = {"up": "does not climb", "down": "does not hold back", "both": "does not climb, or hold back going down,"}
    return f"{found.train} {fails[found.direction]} on {' or '.join(found.judged)} rail"


def _letters(found: Sweep, row: int, column: int) -> str:
    marks = (("H", found.low), ("G", found.steep), ("T", found.stalled))
    letters = "".join(letter for letter, where in marks if where[row, column])
    return f"{letters} " if letters else ""
