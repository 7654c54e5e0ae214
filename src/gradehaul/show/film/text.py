"""The keep-clean plan for a person: what it depends on, track by track, and what if the film spreads."""

from __future__ import annotations

import math
from itertools import groupby

from gradehaul.haulage.answers.judged import outcome_of
from gradehaul.haulage.outcome import FAILS
from gradehaul.haulage.verdict import Verdict
from gradehaul.plan.names import clean
from gradehaul.show.base.labels import USE_TOLD, WOULD
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.outcome_words import OUTCOMES, misfit_words, short_words
from gradehaul.treatment.keep_clean import KeepCleanPlan, Row, TrainOutcome, Use
from gradehaul.treatment.needs import Need

_USES: dict[Use, str] = {
    "film": "may be filmed",
    "has film": "has film already",
    "keep clean": "keep clean",
    "buffer": "also keep clean: wheels would spread film from here",
    "no effect": "film or not: no locomotive in question runs there",
}
_NEEDS: dict[Need, str] = {
    "climbs": "every train gets through even if its wheels slip, restarts anywhere, and holds back downhill",
    "marginal": "every train gets through as long as its wheels never slip, and holds back downhill",
}
_CAUTION = (
    "Film does not come off again: try it on a loose plank of track first, and measure there. Wipe with little, on a "
    "cloth, away from flames and with fresh air, as its maker's data sheet says; keep it from children. Switch track "
    "power off while you wipe."
)


def treat_page(found: KeepCleanPlan, reader: Reader) -> Page:
    """Return the keep-clean plan as a page."""
    page = Page()
    page.line("Where the film may go: ", (found.plan.title, "bold"), f" ({clean(found.plan.file)})")
    page.line(
        f'So that {_NEEDS[found.options.need]}, with film "{found.film}" fresh or rested, as wiped and once it has '
        f"spread{_held(found)}."
    )
    page.line()
    add_film_plan(page, found, reader)
    page.heading("Caution")
    page.line(_CAUTION, indent=2)
    return page


def add_film_plan(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    """Add what the plan depends on, what it comes to, each track, and what becomes of trains."""
    if found.beyond:
        _add_beyond(page, found, reader)
    else:
        _add_depends_on(page, found, reader)
        _add_totals(page, found, reader)
        _add_rows(page, found, reader)
    _add_trains(page, found, reader)


def _held(found: KeepCleanPlan) -> str:
    return f", with {100 * found.options.reserve:.3g} % of the pull held back" if found.options.reserve else ""


def _add_beyond(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    there = (
        "with the film that is there already" if any(t.rail for t in found.plan.tracks.values()) else "on clean rail"
    )
    page.line(("No plan can help", "bold red"), f": {there} and no more, not every train gets by.")
    for place in found.beyond:
        page.line(
            f"{place.train} {WOULD[place.test]} with its head at {reader.length(place.head)}, on {place.track}: "
            f"{reader.force(place.short)} of pull short",
            indent=2,
        )
    page.line("Shorten these trains, or leave them out: treat --train names those that must run.", indent=2)


def _add_depends_on(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    """Say first what the plan depends on."""
    kept = any(row.use == "keep clean" for row in found.rows)
    if not kept:
        page.line(("Nothing must be kept clean", "green"), ": all track may be filmed.")
        return
    carry = reader.length(found.options.carry)
    if found.depends_on_carry:
        page.line(
            ("This plan depends on a guess", "yellow"),
            f": wheels spread the film no farther than {carry}. Nobody has measured it. If they spread it farther, the "
            "last column of the trains below is what happens.",
        )
    elif found.one_piece:
        page.line(f"No track is left to film: a carry-over of {carry} is longer than all track together, which is one "
                  "piece then.")  # fmt: skip
    else:
        page.line(f"No track is left to film: all of it is needed clean, or lies within {carry} of such track.")
    if found.options.step is None and found.length("film") < found.length("buffer"):
        page.line("Tracks are wiped or left whole here; treat --step divides them, and may leave more to film.")
    if found.at_risk:
        names = ", ".join(dict.fromkeys(row.unit.name for row in found.at_risk))
        page.line(
            ("Film is there already", "bold red"),
            f" within {carry} of track that must stay clean, and wheels will spread it there: {names}. The trains "
            "below are judged with it there.",
        )
    if found.need_film:
        page.line(
            ("All that may be filmed must be filmed", "yellow"),
            f": {', '.join(found.need_film)} would not get by on clean rail.",
        )
    if math.isinf(found.gap):
        page.line("The search was stopped before it found track to film: there may be some.")
    elif found.gap > 0:
        page.line(f"The search was stopped: a plan up to {100 * found.gap:.2g} % better may exist.")


def _add_totals(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    page.heading("In all")
    rows = []
    for use, words in _USES.items():
        rows_of = [row for row in found.rows if row.use == use]
        if rows_of:
            rows.append([words, reader.length(found.length(use)), str(len({row.unit.track for row in rows_of}))])
    page.table(["track that", "length>", "tracks>"], rows)


def _add_rows(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    page.heading("Track by track")
    heads = ["track", "length>", "is to be", "since"]
    table: list[list[Piece]] = []
    told = groupby(found.rows, key=lambda row: (row.unit.track, row.use, _since(row, found, reader)))
    for (_, use, since), group in told:
        units = [row.unit for row in group]
        first, last = units[0], units[-1]
        own = [first.name, reader.length(last.stop - first.start)]
        if found.options.step is not None:
            own[1:1] = [f"{reader.length(first.start)} to {reader.length(last.stop)}"]
        table.append([*own, USE_TOLD[use], since])
    if found.options.step is not None:
        heads[1:1] = ["stretch of it>"]
    page.table(heads, table)
    page.line("A train's place is that of its head, from where its route begins.", indent=2)


def _since(row: Row, found: KeepCleanPlan, reader: Reader) -> str:
    if row.reason is not None:
        forced = row.reason
        return (
            f"{forced.train} {WOULD[forced.test]} at {reader.length(forced.head)}, {reader.force(forced.short)} short"
        )
    if row.carried is not None:
        onto = found.rows[row.carried.onto].unit.name
        return (
            f"{onto} is {reader.length(row.carried.distance)} away" if row.carried.distance else f"it leads to {onto}"
        )
    return ""


def _add_trains(page: Page, found: KeepCleanPlan, reader: Reader) -> None:
    page.heading("Trains")
    planned = "with the film that is there" if found.beyond else "with this plan"
    rows = [
        [train.name, *_told(train, train.planned, reader), *_told(train, train.everywhere, reader)]
        for train in found.trains
    ]
    page.table(["train", planned, "to spare>", "with film everywhere", "to spare>"], rows)
    for train in found.trains:
        for misfit in train.misfits:
            page.line(f"{train.name}: {misfit_words(misfit, reader)}", indent=2)
        then = outcome_of(train.everywhere, train.misfits)
        if then in FAILS:
            words = short_words(then, train.everywhere, train.misfits, reader)[0]
            page.line(f"If the film spreads everywhere, {train.name} {words}.", indent=2)


def _told(train: TrainOutcome, verdict: Verdict, reader: Reader) -> list[Piece]:
    return [OUTCOMES[outcome_of(verdict, train.misfits)], reader.force(verdict.margin)]
