"""Readings at the bench for a person: pulls, what to measure next, and all that follows from them; pulls as CSV."""

from __future__ import annotations

import math
from collections.abc import Collection
from itertools import groupby
from typing import Literal, NamedTuple

from gradehaul.errors import clean
from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.readings import ReadingsAnswer
from gradehaul.haulage.answers.seen_runs import bounds
from gradehaul.haulage.bench.reduction import Mean
from gradehaul.haulage.trust.random_trials import Estimate
from gradehaul.quantities.si import Newtons
from gradehaul.show import READINGS
from gradehaul.show.base.labels import chance_words, counted, from_to
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat

_FIRST = "Try a film on a spare length of track, never first on the layout: it does not come off."
_CAUTION = (
    "Try a film on a spare length of track, never first on the layout: it does not come off, and a dry rag does "
    "not lift it. Follow the data sheet of whatever you wipe with: ventilate the room, no flames, no track power while "
    "it dries. Keep fingers clear of a train that is pulling, and put stops at both ends of a tilted track."
)


def readings_page(answer: ReadingsAnswer, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the pulls and what to measure next as a page, and below it the sections that are named in `more`."""
    page = Page()
    page.line((clean(answer.plan.title), "bold"), ": readings at the bench")
    page.line()
    page.line(*_headline(answer))
    _add_pulls(page, answer, units)
    _add_advice(page, answer)
    page.line()
    page.line(_FIRST)
    page.more(READINGS)
    if "scatter" in more:
        _add_scatter(page, answer, units)
    if "adhesion" in more:
        _add_adhesion(page, answer)
    if "estimates" in more:
        _add_predictions(page, answer, units)
    if "films" in more:
        _add_films(page, answer, units)
    if "cars" in more:
        _add_cars(page, answer, units)
    if "trials" in more:
        _add_trials(page, answer, units)
    if "remarks" in more and answer.remarks:
        page.heading("Look at these again")
        for remark in answer.remarks:
            page.line(str(remark), indent=2)
    if "notes" in more:
        page.heading("Notes")
        page.line(_CAUTION, indent=2)
    return page


def _headline(answer: ReadingsAnswer) -> list[Piece]:
    """Return how much was read, and how much of it is to be looked at again or disagrees with the layout."""
    rows = answer.bench.rows
    if not rows:
        return [
            ("No pull was read", "yellow"),
            ": write [[reading]] with loco, rail and force, or print a sheet (--sheet).",
        ]
    against = sum(not trial.agrees for trial in answer.trials)
    parts = [f"{counted(len({row.loco for row in rows}), 'locomotive')}, {counted(len(rows), 'pull')}"]
    if answer.remarks:
        parts.append(f"{len(answer.remarks)} to check again (--more remarks)")
    if answer.trials:
        trials = f"{counted(len(answer.trials), 'trial')} on the layout"
        against_words = f"{against} of {trials} {'disagrees' if against == 1 else 'disagree'}"
        parts.append(against_words if against else f"{trials} {'agrees' if len(answer.trials) == 1 else 'agree'}")
    return [("; ".join(parts), "bold red" if against else "yellow" if answer.remarks else "green"), "."]


def _add_advice(page: Page, answer: ReadingsAnswer) -> None:
    page.heading("Measure next")
    for number, words in enumerate(answer.measure_next, 1):
        page.line(f"{number}. {words}")
    if not answer.measure_next:
        page.line("Nothing would help much.")


def _add_pulls(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    """Add a row for each locomotive and state, with its pull on each rail condition."""
    rails = dict.fromkeys(row.rail for row in answer.bench.rows)
    pulls: dict[tuple[str, str], dict[str, str]] = {}
    judged, differs = Pulls(answer.judged), False
    for row in answer.bench.rows:
        pull = f"{units.force(row.mean)} ({row.count if row.counted == row.count else f'{row.counted} of {row.count}'})"
        loco = answer.judged.locos[row.loco]
        counts = units.force((judged.standing if row.state == "standing" else judged.slipping)(loco, row.rail).value)
        if row.rail in loco.worked_out and counts != units.force(row.mean):
            pull, differs = f"{pull}, {counts} at 0 h", True
        pulls.setdefault((row.loco, row.state), {})[row.rail] = pull
    if pulls:
        page.line()
        page.line("Pulls on level straight track (readings)")
        heads = ["locomotive", "state", *(f"{rail}>" for rail in rails)]
        page.table(heads, [[*key, *(own.get(rail, "-") for rail in rails)] for key, own in pulls.items()], indent=0)
    if differs:
        page.line("At 0 h: just after the film goes on; check uses that pull unless --hours gives an age.")


def _add_scatter(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    rows = answer.bench.rows
    page.heading("Pulls and their scatter")
    table: list[tuple[Piece, ...]] = []
    for loco, own in groupby(rows, key=lambda row: row.loco):
        table.append((loco,))
        table += [
            (
                f"  {row.rail}{', slipping' * (row.state == 'slipping')}",
                units.force(row.mean),
                from_to(units.force(row.low), units.force(row.high)),
                f"{100 * row.scatter / row.mean:.1f} %" + (" borrowed" if row.borrowed else ""),
                units.force(sum(t.correction * len(t.forces) for t in row.taken) / row.count)
                if any(taken.correction for taken in row.taken)
                else "",
            )
            for row in own
        ]
    page.table(["  rail", "pull>", "95 % between", "scatter", "corrected by>"], table)
    share = f"{100 * answer.bench.pooled.share:.1f} %"
    page.line(f"Scatter is that of a single reading; over all readings it is {share}.", indent=2)
    if any(taken.correction for row in rows for taken in row.taken):
        page.line(
            "Corrected by: average correction for the grade and the curve where it was read.",
            indent=2,
        )


def _add_adhesion(page: Page, answer: ReadingsAnswer) -> None:
    fits = answer.bench.fits
    if not fits:
        return
    page.heading("Adhesion: pull per unit of weight on metal wheels and on tires")
    rows: list[list[Piece]] = [
        [
            fit.rail,
            str(len(fit.locos)),
            _coefficient(fit.metal, fit.metal_error),
            _coefficient(fit.tyred, fit.tyred_error),
            f"{100 * fit.between:.0f} %" if fit.freedom > 0 else "-",
        ]
        for fit in fits.values()
    ]
    page.table(["rail", "locomotives>", "metal>", "tires>", "differ by>"], rows)
    for fit in fits.values():
        if why := fit.why or ("a rough figure" if fit.freedom < 2 else ""):
            page.line(f"{fit.rail}: {why}", indent=2)
    page.line("± is one standard error. Differ by: how much locomotives differ beyond their scatter.", indent=2)


def _coefficient(value: float | None, error: float | None) -> str:
    if value is None or error is None:
        return "not known"
    return f"{value:.3f} ± {error:.3f}"


def _add_predictions(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    if not answer.predictions:
        return
    page.heading("Pulls not measured: estimates from other locomotives and from weight on drivers")
    page.table(
        ["locomotive", "rail", "from others (95 %)", "from weight (95 %)"],
        [
            [each.loco, each.rail, _range(each.pull, units), _range(each.by_weight, units)]
            for each in answer.predictions
        ],
    )
    if unsure := sorted({each.loco for each in answer.predictions if each.less_sure}):
        page.line(
            f"The readings of others say little about {', '.join(unsure)}: use the lower figure until you have read "
            "its own pull.",
            indent=2,
        )


def _range(pull: Estimate, units: UnitFormat) -> str:
    return f"{units.force(pull.value)} ({from_to(units.force(pull.low), units.force(pull.high))})"


def _add_films(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    if not answer.bench.films:
        return
    page.heading("The film over time")
    for film in answer.bench.films:
        clean_pull = "" if film.clean is None else f"; clean {units.force(film.clean)}"
        fresh, settled = units.force(film.fresh), units.force(film.settled)
        if film.time is not None:
            how = f"{fresh} fresh, {settled} after a day's rest, most of it back after {film.time:.3g} h{clean_pull}"
        else:
            steps = ", ".join(f"{units.force(pull)} at {hours:g} h" for hours, pull in film.ages)
            how = f"in steps, since fewer than three ages were read: {steps}{clean_pull}"
        page.line(f"{film.loco} on {film.film}: {how}", indent=2)


def _add_cars(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    bench = answer.bench
    if not bench.cars and bench.curve is None:
        return
    page.heading("Cars and curves")
    for car in bench.cars.values():
        parts = [
            f"{what} {_share(mean)}" for what, mean in (("rolls at", car.rolling), ("starts at", car.starting)) if mean
        ]
        page.line(f"{car.car} {', '.join(parts)} of its weight", indent=2)
    if bench.curve is not None:
        value, error = bench.curve.coefficient.value, bench.curve.error
        words = f"{units.small(value)} ± {units.small(error)}"
        page.line(f"Curve coefficient {words} (grade x radius)", indent=2)


def _share(mean: Mean) -> str:
    return f"{100 * mean.value:.2f} ± {100 * mean.error:.2f} %"


def _add_trials(page: Page, answer: ReadingsAnswer, units: UnitFormat) -> None:
    if not answer.trials:
        return
    page.heading("Trials on the layout")
    for each in answer.trials:
        age = "" if each.trial.hours is None else f", {each.trial.hours:g} h"
        bound = "less than" if each.trial.outcome == "stalls" else "at least"
        page.line(
            "agrees" if each.agrees else ("DISAGREES", "bold red"),
            f": {each.train} on {each.trial.route}, {each.trial.rail}{age}: {each.trial.outcome}, so the pull is "
            f"{bound} {units.force(each.demand)}; predicted {units.force(each.pull)}, risk "
            f"{chance_words(each.stall_probability)}",
            indent=2,
        )
    for (locos, rail, hours), (low, high) in bounds(answer.trials).items():
        if 0 < low < high < math.inf:
            age = "" if hours is None else f" at {hours:g} h"
            between = f"between {units.force(low)} and {units.force(high)}"
            page.line(f"By these trials {locos} on {rail} rail{age} pulls {between}.", indent=2)


class _Pull(NamedTuple):
    loco: str
    rail: str
    state: str
    basis: Literal["measured", "predicted"]
    readings: int
    pull: Newtons
    low: Newtons
    high: Newtons
    scatter: Newtons | None
    error: Newtons


def readings_csv(answer: ReadingsAnswer, units: UnitFormat | None) -> str:
    """Return the pulls as CSV (RFC 4180): a row for each locomotive, rail and state, measured and predicted."""
    rows = [
        _Pull(row.loco, row.rail, row.state, "measured", row.count, row.mean, row.low, row.high, row.scatter, row.error)
        for row in answer.bench.rows
    ]
    rows += [
        _Pull(each.loco, each.rail, "standing", "predicted", 0, pull.value, pull.low, pull.high, None, each.deviation)
        for each in answer.predictions
        for pull in [each.pull]
    ]
    return table(_Pull, " ".join(_Pull._fields), rows, units)
