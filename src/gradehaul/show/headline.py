"""The headline of check: how many trains climb, the worst ones by name, and what was not checked."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.haulage.check import CheckAnswer, TrainAnswer
from gradehaul.haulage.demand import PLANNED
from gradehaul.haulage.judged import film_of, worst_of_each
from gradehaul.haulage.outcome import FAILS, WORST_FIRST, worst
from gradehaul.plan.stock import CLEAN
from gradehaul.show.naming import apart, chance_told
from gradehaul.show.outcome_words import OUTCOMES
from gradehaul.show.page import Piece, words_of


def headline(answer: CheckAnswer) -> list[Piece]:
    """Return in a sentence or two how all named trains do on the judged rails, and what was left out."""
    judged = worst_of_each(answer.on(answer.judged_rails))
    pieces: list[Piece] = []
    if judged:
        words, style = _counted(judged, len(answer.plan.trains)), _style(answer, judged)
        down = " and hold back downhill" if worst(each.outcome for each in judged) == "climbs" else ""
        pieces = [(words, style), f"{_rails(answer)}{down}{_named(judged)}."]
    elif answer.plan.trains:
        pieces = [("No train is judged.", "bold red")]
    if answer.not_checked:
        pieces += [" " if pieces else "", ("NOT CHECKED", "bold red"), f": {'; '.join(answer.not_checked)}."]
    return pieces


def film_headlines(answer: CheckAnswer) -> list[str]:
    """Return for each film in a sentence how the trains would do with it on all rails, at its worse age."""
    films: dict[str, list[str]] = {}
    for rail in answer.film_rails:
        films.setdefault(film_of(rail), []).append(rail)
    sentences = []
    for film, ages in films.items():
        trains = worst_of_each(answer.on(ages))
        if trains:
            name = "film" if len(films) == 1 else f"film {apart(film)}"
            sentences.append(f"With {name} everywhere {_small(_counted(trains, len(answer.plan.trains)))}{_named(trains)}.")
    return sentences


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


def _small(words: str) -> str:
    return words[0].lower() + words[1:]


def _rails(answer: CheckAnswer) -> str:
    rails = answer.judged_rails
    if rails == (CLEAN,):
        return " on clean rail"
    if set(rails) <= set(PLANNED):
        return " as planned"
    return f" on rail {' and '.join(map(apart, rails))}"


def _named(trains: Sequence[TrainAnswer]) -> str:
    """Return the trains that do not climb by name, the worst first, each with its place or its risk."""
    told = []
    for outcome in WORST_FIRST[:-1]:
        mine = [each for each in trains if each.outcome == outcome]
        if mine:
            told.append(f"{outcome}: {', '.join(map(_one, mine))}")
    return f"; {'; '.join(told)}" if told else ""


def _one(train: TrainAnswer) -> str:
    verdict = train.verdict
    if train.outcome == "marginal":
        return f"{apart(train.name)} (stalls in {chance_told(train.trust.stall_probability)} of random trials)"
    if train.outcome == "too long":
        return apart(train.name)
    return f"{apart(train.name)} on {apart(verdict.worst_track)}"
