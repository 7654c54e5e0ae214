"""Every named train on every rail condition, for a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.named_trains import TrainAnswer
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.trust.train import TrainTrust
from gradehaul.haulage.verdict import how_well
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.show.base.labels import basis_words, chance_words
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import OUTCOMES, misfit_words, stretch_words


def add_trains(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add a table for each train with a row for each rail condition, and where to take care."""
    page.heading("Trains")
    if not answer.trains:
        page.line("No train is judged.", indent=2)
        return
    profiles = {route.route.name: route.profile for route in answer.routes}
    for name in dict.fromkeys(train.name for train in answer.trains):
        _add_train(page, answer, [train for train in answer.trains if train.name == name], profiles, units)
    page.line(
        "To spare: the least of pull less demand. Places are where the train's head is, from the start of its route. "
        "For a train that stalls it is where it stalls first.",
        indent=2,
    )
    count = answer.trains[0].trust.trials
    page.line(f"Risk: the chance to stall or run away, by {count:,} random trials of every uncertain figure.", indent=2)


def _add_train(
    page: Page,
    answer: CheckAnswer,
    verdicts: list[TrainAnswer],
    profiles: Mapping[str, RouteProfile],
    units: UnitFormat,
) -> None:
    """Add a train: a row for each rail, the judged ones first, and where to take care on those."""
    judged = [train for train in verdicts if train.rail in answer.judged_rails]
    others = [train for train in verdicts if train.rail not in answer.judged_rails]
    first = verdicts[0]
    page.line((first.name, "bold"), f", {units.length(first.length)} long, on route {first.route}:", indent=2)
    heads = ["rail", "outcome", "risk>", "to spare>", "head at>", "on track", "downhill", "pull"]
    page.table(heads, [_row(train, units) for train in (*judged, *others)], indent=4)
    if tuple(train.rail for train in judged) == PLANNED:
        page.line(_binding_age(judged[0], judged[1]), indent=4)
    for misfit in first.misfits:
        page.line(("Too long", "bold red"), f": {misfit_words(misfit, units)}", indent=4)
    for train in judged:
        _add_care(page, train, profiles[train.route], units)
    for words, trains in _grouped(judged).items():
        page.line(f"{', '.join(trains)}: {words}", indent=4)


def _binding_age(settled: TrainAnswer, fresh: TrainAnswer) -> str:
    """Return at which age of the film a train has the least to spare as planned."""
    ages = [
        (how_well(settled.verdict), "after a day's rest"),
        (how_well(fresh.verdict), "on the day you apply the film"),
    ]
    if ages[0][0] == ages[1][0]:
        return "as planned, the age of the film makes no difference"
    return f"as planned, pull is lowest {min(ages)[1]}"


def _row(train: TrainAnswer, units: UnitFormat) -> list[Piece]:
    verdict = train.verdict
    downhill: Piece = "holds back" if verdict.holds_back else ("RUNS AWAY", "bold red")
    return [
        train.rail,
        OUTCOMES[train.outcome],
        chance_words(train.risk),
        units.force(verdict.margin),
        units.length(verdict.at),
        verdict.track,
        downhill,
        basis_words(verdict.basis, verdict.slipping_basis),
    ]


def _grouped(trains: Iterable[TrainAnswer]) -> dict[str, list[str]]:
    """Return the biggest unknown of each verdict and what to measure, with the rails on which that is so."""
    found: dict[str, list[str]] = {}
    for train in trains:
        words = biggest_unknown(train.trust)
        if words:
            found.setdefault(words, []).append(train.rail)
    return found


def biggest_unknown(trust: TrainTrust) -> str:
    """Return the biggest unknown of a verdict, and what to measure next where something would help."""
    most, measure = trust.dominant, trust.next_measurement
    if most is None:
        return ""
    words = f"biggest unknown: {most.what}"
    if measure is None:
        return words
    about = "" if measure.what == most.what else f" (for {measure.what})"
    return f"{words}; measure next{about}: {measure.measure}"


def _add_care(page: Page, train: TrainAnswer, profile: RouteProfile, units: UnitFormat) -> None:
    verdict = train.verdict
    stretches_by_words = [("stalls", verdict.stalling)]
    if not verdict.stalling:  # a train that does not get by has no use for the rest
        stretches_by_words += [
            ("must not stop, since it would not start again,", verdict.no_stopping),
            ("would not recover from a slip", verdict.no_recovery),
        ]
    for words, stretches in stretches_by_words:
        if stretches:
            where = "; ".join(stretch_words(stretch, profile, units) for stretch in stretches)
            page.line(f"{train.rail}: {words} {where}", indent=4)
    if verdict.running_away:
        where = "; ".join(stretch_words(stretch, profile, units) for stretch in verdict.running_away)
        page.line(f"{train.rail}: runs away, its cars pushing the locomotives, {where}", indent=4)
