"""The verdict on every named train, for a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from gradehaul.haulage.answers.check import CheckAnswer, TrainAnswer
from gradehaul.haulage.demand import PLANNED
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.trust.train import TrainTrust
from gradehaul.haulage.verdict import how_well
from gradehaul.show.base.labels import basis_told, chance_told
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.headline import film_headlines, headline
from gradehaul.show.check.outcome_words import OUTCOMES, misfit_words, stretch_words


def add_verdicts(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    """Add the verdicts: in a sentence, in a table with a row for each train and rail, and where to take care."""
    first = headline(answer)
    if not answer.plan.trains:
        page.line()
        if first:
            page.line(*first)
        page.line("No train is named, so none is judged: write [train.NAME] with a route and a consist.")
        return
    page.heading("Named trains")
    page.line(*first, indent=2)
    for sentence in film_headlines(answer):
        page.line(sentence, indent=2)
    profiles = {route.route.name: route.profile for route in answer.routes}
    for name in dict.fromkeys(train.name for train in answer.trains):
        _add_train(page, answer, [train for train in answer.trains if train.name == name], profiles, reader)
    if answer.trains:
        page.line(
            "To spare: the least of pull less demand. Places are those of the train's head, from where its route "
            "begins; of a train that stalls, where it stalls first.",
            indent=2,
        )
        count = answer.trains[0].trust.draws
        page.line(f"Stalls in: the share of {count:,} draws of all that is unsure in which it stalls.", indent=2)


def _add_train(
    page: Page,
    answer: CheckAnswer,
    verdicts: list[TrainAnswer],
    profiles: Mapping[str, RouteProfile],
    reader: Reader,
) -> None:
    """Add a train: a row for each rail, the judged ones first, and where to take care on those."""
    judged = [train for train in verdicts if train.rail in answer.judged_rails]
    others = [train for train in verdicts if train.rail not in answer.judged_rails]
    first = verdicts[0]
    page.line((first.name, "bold"), f", {reader.length(first.length)} long, on route {first.route}:", indent=2)
    heads = ["rail", "outcome", "stalls in>", "to spare>", "head at>", "on track", "downhill", "pull"]
    page.table(heads, [_row(train, reader) for train in (*judged, *others)], indent=4)
    if tuple(train.rail for train in judged) == PLANNED:
        page.line(_binding_age(judged[0], judged[1]), indent=4)
    for misfit in first.misfits:
        page.line(("Too long", "bold red"), f": {misfit_words(misfit, reader)}", indent=4)
    for train in judged:
        _add_care(page, train, profiles[train.route], reader)
    for words, trains in _grouped(judged).items():
        page.line(f"{', '.join(trains)}: {words}", indent=4)


def _binding_age(settled: TrainAnswer, fresh: TrainAnswer) -> str:
    """Return at which age of the film a train has least to spare as planned."""
    ages = [(how_well(settled.verdict), "the settled film"), (how_well(fresh.verdict), "the film of the first day")]
    if ages[0][0] == ages[1][0]:
        return "as planned, the age of the film makes no difference"
    return f"as planned, {min(ages)[1]} binds"


def _row(train: TrainAnswer, reader: Reader) -> list[Piece]:
    verdict = train.verdict
    downhill: Piece = "holds back" if verdict.holds_back else ("RUNS AWAY", "bold red")
    return [
        train.rail,
        OUTCOMES[train.outcome],
        chance_told(train.trust.stall_probability),
        reader.force(verdict.margin),
        reader.length(verdict.at),
        verdict.track,
        downhill,
        basis_told(verdict.basis, verdict.slipping_basis),
    ]


def _grouped(trains: Iterable[TrainAnswer]) -> dict[str, list[str]]:
    """Return what makes each verdict unsure and what to measure, with the rails on which that is so."""
    told: dict[str, list[str]] = {}
    for train in trains:
        words = unsure_of(train.trust)
        if words:
            told.setdefault(words, []).append(train.rail)
    return told


def unsure_of(trust: TrainTrust) -> str:
    """Return what makes a verdict most unsure and what to measure, with why where that is of something else."""
    most, measure = trust.dominant, trust.next_measurement
    if most is None:
        return ""
    words = f"least sure of {most.what}"
    if measure is None:
        return words
    if measure.what == most.what:
        return f"{words}; what would tell most: {measure.measure}"
    if not most.measure:
        return f"{words}, which no reading here would tell; what would tell most, of {measure.what}: {measure.measure}"
    return f"{words}, yet measuring {measure.what} would narrow the answer more: {measure.measure}"


def _add_care(page: Page, train: TrainAnswer, profile: RouteProfile, reader: Reader) -> None:
    verdict = train.verdict
    told = [("stalls", verdict.stalling)]
    if not verdict.stalling:  # a train that does not get by has no use for the rest
        told += [
            ("must not stop, since it would not start again,", verdict.no_stopping),
            ("would not recover from a slip", verdict.no_recovery),
        ]
    for words, stretches in told:
        if stretches:
            where = "; ".join(stretch_words(stretch, profile, reader) for stretch in stretches)
            page.line(f"{train.rail}: {words} {where}", indent=4)
    if verdict.running_away:
        where = "; ".join(stretch_words(stretch, profile, reader) for stretch in verdict.running_away)
        page.line(f"{train.rail}: runs away, its cars pushing the locomotives, {where}", indent=4)
