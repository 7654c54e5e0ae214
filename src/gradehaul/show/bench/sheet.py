"""The bench sheet: a form to print and fill while measuring, with how to measure and the cautions, as PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gradehaul.plan.records import Plan
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.sheets import PAPER_OF, Form, PaperName, as_pages

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PULLS = (
    "Level straight track without rail joints, on a firm board; check with a level, then turn the level end for end.",
    "Wipe rails and wheels clean, let them dry, and wait a quarter of an hour. Note which way the locomotive faces.",
    "Hook the balance to the coupler, in line with the track. Raise the power slowly until the wheels slide.",
    "Standing: the most that it showed before they slid. Slipping: what it shows while they slide. Then stop at once.",
    "Five readings each, all five even if one looks odd. Note the unit on the balance: g on a balance means gf.",
    "Then wipe the film on this track, not on the layout, and read again: within an hour, and after a day's rest.",
)
CARS = (
    "String: pull ten or so equal cars with the balance, slowly and evenly, on level straight track; read as it moves.",
    "Curve: the same string, the whole of it on a curve of known radius. The difference gives the curve coefficient.",
    "Tilt: one car on a straight track; raise one end until it starts, then find the rise at which it rolls on evenly.",
)
CAUTIONS = (
    "A film does not come off, and a dry rag does not lift it: never try it first on the layout.",
    "Follow the data sheet of whatever you wipe with. Ventilate the room; no flames or sparks; gloves if it says so.",
    "No track power while a wiped rail dries. Wheels that slide heat the motor: a few seconds at a time, then rest.",
    "Trains pulled hard can tip or let go: keep fingers clear, and put a stop at both ends of a tilted track.",
)


_PULL_COLUMNS = (
    ("locomotive", 1.75),
    ("rail", 1.05),
    ("hours", 0.5),
    ("facing", 0.5),
    ("state", 0.65),
    *((str(number), 0.54) for number in range(1, 6)),
)
_CAR_COLUMNS = (
    ("car, how many", 1.75),
    ("string, curve (radius) or tilt (track length)", 2.35),
    *((str(number), 0.61) for number in range(1, 6)),
)


def bench_figures(plan: Plan, units: UnitFormat, paper: PaperName | None = None) -> list[Figure]:
    """Return the pages of the form as figures, on the paper of its units; to be called by the `drawing_rules`.

    It has a row for every locomotive of the plan on clean rail and on each film, fresh and after a rest, standing and
    slipping, and blank ones; then rows for cars.
    """
    unit = units.force_unit or ("gf" if units.system == "metric" else "ozf")
    rows = _pull_rows(plan)
    cars = [
        [name, kind, *[""] * 5]
        for name in [*plan.cars][:8] or [""]
        for kind in ("string of", "curve, radius", "tilt, over")
    ]
    page = Form(
        f"Bench sheet: {plan.title}",
        paper or PAPER_OF[units.system],
        beside="date ____________   by ______________",
        foot="Type the rows into the plan as [[reading]] and [[tilt]], or into a spreadsheet.",
    )
    page.words("How to measure pulls", PULLS)
    page.words("Take care", CAUTIONS)
    page.table(f"Pulls, in {unit}", _PULL_COLUMNS, rows)
    page.words("How to measure cars and curves", CARS)
    page.table(f"Cars: forces in {unit}, rises in {units.length_unit}", _CAR_COLUMNS, cars)
    return page.finish()


bench_sheet = as_pages(bench_figures)


def _pull_rows(plan: Plan) -> list[list[str]]:
    blank = [""] * 5
    rows = []
    for name in [*plan.locos] or ["", ""]:
        rails = [("clean", "-")]
        for film in plan.films:
            rails += [(film, ""), (film, "")]
        rows += [[name, rail, hours, "", state, *blank] for rail, hours in rails for state in ("standing", "slipping")]
    return [*rows, *([""] * 10 for _ in range(2))]
