"""A trial train as a few lines for a person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gradehaul.haulage.answers.set_heights import HeldHeight
from gradehaul.haulage.answers.trial_train import EVERYWHERE, MOST, TrialAnswer, TrialOutcome, TrialTrain
from gradehaul.haulage.verdict import Outcome
from gradehaul.plan.given_heights import PutAside
from gradehaul.plan.names import some
from gradehaul.plan.rail_condition import AS_PLANNED, CLEAN
from gradehaul.plan.records import Cut
from gradehaul.quantities import describe
from gradehaul.show.base.labels import FILM_CAUTION, RISK, apart, listed
from gradehaul.show.base.page import FULL, Page, Piece, shortened
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import add_doubts
from gradehaul.show.check.outcome_words import (
    DOES,
    OUTCOMES,
    at_age,
    misfit_words,
    outcome_cells,
    spread_words,
    standing_out_words,
)
from gradehaul.show.check.route_text import MARKS

_PLACE, _AGED = 26, 21
_HELD = 4
"""Heights that hold shown at the most."""
"""Columns of a place at the most, and beside conditions with an age."""
_CONDITIONS = {CLEAN: "on clean rail", AS_PLANNED: "as planned", EVERYWHERE: "with film everywhere"}


def trial_page(answer: TrialAnswer, units: UnitFormat) -> Page:
    """Return the answer as a page: the train, what becomes of it, a row for each condition or power, and remarks."""
    page = Page()
    page.line((shortened(_subject(answer, units), FULL), "bold"))
    add_doubts(page, answer.doubts, "gradehaul readings")
    if answer.compares:
        _add_powers(page, answer, units)
    else:
        _add_train(page, answer, answer.trains[0], units)
    for line in _remarks(answer, units):
        page.line(line)
    if any(trial.condition != CLEAN for trial in answer.trains[0].trials):
        page.line(FILM_CAUTION)
    return page


def _subject(answer: TrialAnswer, units: UnitFormat) -> str:
    """Return what was tried, in a line."""
    train = answer.trains[0]
    if answer.compares:
        powers = [answer.plan.powers[each.power].name for each in answer.trains if each.power]
        consist = ["each locomotive" if cut.name in powers else _cut(cut) for cut in train.consist]
        length = ""
    else:
        consist, length = [_cut(cut) for cut in train.consist], f", {units.length(train.length)} long"
    return f"{', '.join(map(apart, consist))}{length}, on {apart(answer.route.name)}"


def _age(answer: TrialAnswer, trial: TrialOutcome) -> str:
    return "" if trial.condition == CLEAN else at_age(answer.hours)


def _add_train(page: Page, answer: TrialAnswer, train: TrialTrain, units: UnitFormat) -> None:
    by_outcome: dict[Outcome, list[str]] = {}
    for trial in train.trials:
        by_outcome.setdefault(trial.outcome, []).append(_CONDITIONS[trial.condition] + _age(answer, trial))
    words = [_does(answer, train, outcome, listed(where)) for outcome, where in by_outcome.items()]
    page.line((f"It {'; it '.join(words)}.", OUTCOMES[train.judged.outcome][1]))
    most = ["most>"] if train.counted else []
    rows = [[*_row(answer, trial, units), *([_most(trial)] if train.counted else [])] for trial in train.trials]
    page.table(["", "outcome", "risk>", "to spare>", "place", *most], rows, indent=0)


def _does(answer: TrialAnswer, train: TrialTrain, outcome: Outcome, where: str) -> str:
    """Return what a train does on some conditions of the rails; whether it fits depends on none."""
    if outcome == "too long":
        return f"is too long for {apart(train.judged.misfits[0].place)}"
    gets_by = "gets through" if answer.climbs else "is held back"
    return f"{gets_by if outcome == 'climbs' else DOES[outcome][0]} {where}"


def _row(answer: TrialAnswer, trial: TrialOutcome, units: UnitFormat) -> list[Piece]:
    verdict = trial.verdict
    place = f", {units.length(verdict.spare_at)}"
    return [
        trial.condition + _age(answer, trial),
        *outcome_cells(trial, units),
        f"{apart(shortened(verdict.spare_track, (_PLACE if answer.hours is None else _AGED) - len(place)))}{place}",
    ]


def _most(trial: TrialOutcome) -> str:
    most = "-" if trial.most is None else f"{trial.most}+" if trial.most >= MOST else str(trial.most)
    return f"{most} {trial.room}" if trial.room else most


def _add_powers(page: Page, answer: TrialAnswer, units: UnitFormat) -> None:
    trains = answer.trains
    able = sum(train.judged.outcome == "climbs" for train in trains)
    kinds = "locomotives or lashups" if len(trains) > len(answer.plan.locos) else "locomotives"
    judged, able_to = trains[0].judged, "get through" if answer.climbs else "hold it back"
    does = able_to.replace(" ", "s ", 1) if able == 1 else able_to
    if len(trains) == 1:
        does = f"The one locomotive {does if able else f'does not {does}'}"
    else:
        does = f"{able} of {len(trains)} {kinds} {does}"
    page.line(f"{does} {_CONDITIONS[judged.condition]}{_age(answer, judged)}.")
    heads = ["locomotive"]
    for trial in trains[0].trials:
        heads += [trial.condition + _age(answer, trial), "risk>"]
    rows: list[list[Piece]] = []
    for train in trains:
        cells: list[Piece] = [apart(shortened(train.power or "", 22))]
        for trial in train.trials:
            cells += _row(answer, trial, units)[1:3]
        rows.append(cells)
    page.table(heads, rows, indent=0)


def _remarks(answer: TrialAnswer, units: UnitFormat) -> Iterator[str]:
    """Yield what to know about the answer, the most important first."""
    train = answer.trains[0]
    yield from _too_long(answer, units)
    if answer.heights:
        heights = ", ".join(
            f"{joint} at {describe(height, 'length', units.length_unit, 6)}" for joint, height in answer.heights.items()
        )
        nothing = "" if answer.moves else ": that changes no height on this route"
        yield f"With {heights}{nothing}."
    if answer.aside:
        yield f"Put aside for this trial: {aside_words(answer.aside, units)}."
    if answer.held:
        every = [f"{units.length(each.railhead, fine=True)} at {_held_at(each, units)}" for each in answer.held]
        held = some(every, _HELD)
        yield f"Grades change only as far as the next heights that are given: {held}. --set sets those too."
    if answer.route.tails:
        yield f"It reverses in {' and in '.join(apart(tail.name) for tail in answer.route.tails)}."
    if not answer.compares:
        yield from (standing_out_words(each, units) for each in train.judged.stands_out)
    if answer.film_spreads:
        yield spread_words(answer.plan, units)
    yield from (f"Note: {note.text}." for note in answer.notes)
    others = [cut for cut in train.consist if cut.name in answer.plan.cars and cut.name != train.counted]
    if train.counted and not answer.compares:
        rooms = [MARKS[room] for room in dict.fromkeys(trial.room for trial in train.trials) if room in MARKS]
        beside = f", with {listed([_cut(cut) for cut in others])} in the train" if others else ""
        gets_by = "get through" if answer.climbs else "are held back"
        yield " ".join([f"Most: the most {train.counted} that {gets_by}{beside}.", *rooms])
    yield f"{RISK}."


def _too_long(answer: TrialAnswer, units: UnitFormat) -> Iterator[str]:
    """Yield what is too short for which train, with how many cars each fits, and how one alone would do by its pull."""
    long = [train for train in answer.trains if train.judged.misfits]
    if not answer.compares:
        for train in long:
            yield f"{misfit_words(train.judged.misfits[0], units).rstrip('.')}{_fit(train)}."
            does = [f"{_pull_does(trial, units)} {_CONDITIONS[trial.condition]}" for trial in train.trials]
            yield f"By its pull alone it {'; it '.join(does)}."
        return
    places: dict[str, list[TrialTrain]] = {}
    for train in long:
        room = train.judged.misfits[0]
        places.setdefault(f"{apart(room.place)} holds {units.length(room.available)}", []).append(train)
    for place, trains in places.items():
        fit = [f"{train.fits or 'no'} {train.counted or 'car'} with {apart(train.power or '')}" for train in trains]
        more = [f"{len(fit) - 3} more"] if fit[3:] else []
        yield f"Too long: {place}, so {', '.join([*fit[:3], *more])}."


def _fit(train: TrialTrain) -> str:
    """Return how many cars of the counted kind would fit."""
    if train.counted is None:
        return ""
    return f": {train.fits} {train.counted} would fit" if train.fits else f": no {train.counted} fits"


def _pull_does(trial: TrialOutcome, units: UnitFormat) -> str:
    verdict = trial.verdict
    does = "is held back" if verdict.outcome == "climbs" and not verdict.uphill else DOES[verdict.outcome][0]
    spare = units.force(abs(verdict.spare))
    return f"{does}, {spare} {'short' if verdict.spare < 0 else 'to spare'},"


def aside_words(aside: Sequence[PutAside], units: UnitFormat) -> str:
    """Return the figures that yield to heights that are tried, in words, those beyond the third as a count."""
    words = [_figure(each, units) for each in aside]
    return listed([*words[:3], f"{len(words) - 3} more"] if words[4:] else words)


def _figure(each: PutAside, units: UnitFormat) -> str:
    if each.railhead is None:
        place = apart(each.track or "")
        if each.grade is not None:
            return f"the grade of {units.grade(each.grade)} of {place}"
        return f"the rise of {units.length(each.rise or 0.0, fine=True)} of {place}"
    at = f"{each.line}@{units.length(each.at, fine=True)}" if each.at is not None else each.joint or each.track or ""
    return f"the height of {units.length(each.railhead, fine=True)} at {apart(at)}"


def _held_at(held: HeldHeight, units: UnitFormat) -> str:
    return apart(held.joint or f"{held.line}@{units.length(held.at, fine=True)}")


def _cut(cut: Cut) -> str:
    return cut.name if cut.count == 1 else f"{cut.count} {cut.name}"
