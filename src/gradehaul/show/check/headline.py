"""The headline of check: how many trains climb, the worst ones by name, and what was not checked."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.haulage.answers.check import CheckAnswer, TrainAnswer
from gradehaul.haulage.answers.judged import rail_without_age, worst_first, worst_of_each
from gradehaul.haulage.demand import PLANNED
from gradehaul.haulage.outcome import FAILS, worst
from gradehaul.plan.resolve.stock import CLEAN
from gradehaul.show.base.labels import apart, chance_told
from gradehaul.show.base.page import Piece, words_of
from gradehaul.show.check.outcome_words import OUTCOMES, plain_words

_NAMED = 6
"""Trains that a headline names, the worst first."""


def headline(answer: CheckAnswer) -> list[Piece]:
    """Return in a sentence or two how all named trains do on the judged rails, and what was left out."""
    judged = worst_of_each(answer.on(answer.judged_rails))
    pieces: list[Piece] = []
    if judged:
        total = len(answer.plan.trains)
        words, style = _counted(judged, total), _style(answer, judged)
        all_climb = sum(each.outcome == "climbs" for each in judged) == total
        down = f" and {'hold' if total > 1 else 'holds'} back downhill" if all_climb else ""
        pieces = [(words, style), f"{judged_on(answer)}{down}{_named(judged)}."]
    elif answer.plan.trains:
        pieces = [("No train is judged.", "bold red")]
    if answer.not_checked:
        pieces += [" " if pieces else "", ("NOT CHECKED", "bold red"), f": {'; '.join(answer.not_checked)}."]
    return pieces


def film_headlines(answer: CheckAnswer) -> list[str]:
    """Return for each film in a sentence how the trains would do with it on all rails, at its worse age."""
    total = len(answer.plan.trains)
    sentences = []
    for name, trains in film_everywhere(answer).items():
        counted = _counted(trains, total)
        sentences.append(f"With {name} everywhere {counted[0].lower()}{counted[1:]}{_named(trains)}.")
    return sentences


def film_everywhere(answer: CheckAnswer) -> dict[str, list[TrainAnswer]]:
    """Return the trains with each film everywhere that is not judged, each at the age that is worse for it."""
    films: dict[str, list[str]] = {}
    for rail in answer.film_rails:
        films.setdefault(rail_without_age(rail), []).append(rail)
    found = {("film" if len(films) == 1 else f"film {apart(film)}"): answer.on(ages) for film, ages in films.items()}
    return {name: worst_of_each(trains) for name, trains in found.items() if trains}


def summary(answer: CheckAnswer) -> str:
    """Return the headlines as one text without style."""
    return " ".join(("".join(map(words_of, headline(answer))), *film_headlines(answer))).strip()


def _style(answer: CheckAnswer, judged: Sequence[TrainAnswer]) -> str:
    outcome = worst(each.outcome for each in judged)
    return "yellow" if answer.not_checked and outcome not in FAILS else OUTCOMES[outcome][1]


def _counted(trains: Sequence[TrainAnswer], total: int) -> str:
    """Return how many of the named trains climb."""
    climb = sum(each.outcome == "climbs" for each in trains)
    if total == 1:
        return "The train climbs" if climb else "The train does not climb"
    if climb == total:
        return "Both trains climb" if total == 2 else f"All {total} trains climb"
    return f"{climb} of {total} trains {'climbs' if climb == 1 else 'climb'}"


def judged_on(answer: CheckAnswer) -> str:
    """Return on which rail the trains are judged, behind a verb."""
    rails = answer.judged_rails
    if rails == (CLEAN,):
        return " on clean rail"
    if set(rails) <= set(PLANNED):
        return " as planned"
    return f" on rail {' and '.join(map(apart, rails))}"


def _named(trains: Sequence[TrainAnswer]) -> str:
    """Return the trains that do not climb by name, the worst first, each with its place or its risk."""
    told = [outcome_of_train(each) for each in worst_first(trains) if each.outcome != "climbs"]
    more = [f"{len(told) - _NAMED} more"] if len(told) > _NAMED else []
    return "".join(f"; {each}" for each in (*told[:_NAMED], *more))


def outcome_of_train(train: TrainAnswer) -> str:
    """Return the outcome of a train behind its name, with its place, or its risk where it is marginal."""
    if train.outcome == "marginal":
        risk = chance_told(train.trust.stall_probability)
        return f"{apart(train.name)} is marginal (stalls in {risk} of random trials)"
    words = plain_words(train.outcome, train.verdict, train.misfits)
    return f"{apart(train.name)} {'is ' if train.outcome == 'too long' else ''}{words}"
