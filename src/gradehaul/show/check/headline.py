"""The headline of check: how all trains do, those that fail by name, and what was not checked."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import TrainAnswer, worst_of_each
from gradehaul.haulage.verdict import FAILS, WORST_FIRST, worst
from gradehaul.plan.rail_condition import CLEAN, PLANNED, RailCondition
from gradehaul.show.base.labels import apart
from gradehaul.show.base.page import Piece, words_of
from gradehaul.show.check.outcome_words import DOES, OUTCOMES, plain_words

_NAMED = 6
"""Trains that a headline names, the worst first."""


def headline(answer: CheckAnswer) -> list[Piece]:
    """Return in a sentence or two how all named trains do on the judged rails, and what was left out."""
    judged = worst_of_each(answer.on(answer.judged_rails))
    total = len(answer.plan.trains)
    pieces: list[Piece] = []
    if judged:
        pieces = sentence(judged, total, judged_on(answer.judged_rails, answer.hours), f" of {total} trains")
        run = {each.route for each in judged}
        falls = any(route.profile.fall for route in answer.routes if route.route.name in run)
        if falls and len(judged) == total and all(each.outcome == "climbs" for each in judged):
            pieces[-1:] = [f"{words_of(pieces[-1])[:-1]}, and {'is' if total == 1 else 'are'} held back downhill."]
        if answer.not_checked and worst(each.outcome for each in judged) not in FAILS:
            pieces = [piece if isinstance(piece, str) else (piece[0], "yellow") for piece in pieces]
    elif total:
        pieces = [("No train is judged.", "bold red")]
    if answer.not_checked:
        pieces += [" " if pieces else "", ("NOT CHECKED", "bold red"), f": {'; '.join(answer.not_checked)}."]
    return pieces


def film_headlines(answer: CheckAnswer) -> list[list[Piece]]:
    """Return for each film in a sentence how the trains would do with it on all rails, at its worse age."""
    total = len(answer.plan.trains)
    return [sentence(trains, total, f" with {name}") for name, trains in film_everywhere(answer).items()]


def film_everywhere(answer: CheckAnswer) -> dict[str, list[TrainAnswer]]:
    """Return the trains with each film everywhere that is not judged, each at the age that is worse for it."""
    found = {name: answer.on(ages) for name, ages in everywhere(answer.film_rails, answer.hours).items()}
    return {name: worst_of_each(trains) for name, trains in found.items() if trains}


def everywhere(film_rails: Iterable[str], hours: float | None = None) -> dict[str, list[str]]:
    """Return what it is called to have each film everywhere, at an age of all film or not, with the names of its ages.

    >>> everywhere(["treated", "treated fresh"])
    {'film everywhere': ['treated', 'treated fresh']}
    """
    films: dict[str, list[str]] = {}
    for rail in film_rails:
        films.setdefault(RailCondition.named(rail).rested.name, []).append(rail)
    one, age = len(films) == 1, at_age(hours)
    return {f"film {'' if one else f'{apart(film)} '}everywhere{age}": ages for film, ages in films.items()}


def summary(answer: CheckAnswer) -> str:
    """Return the headlines as one text without style."""
    return " ".join("".join(map(words_of, each)) for each in (headline(answer), *film_headlines(answer))).strip()


def sentence(trains: Sequence[TrainAnswer], total: int, where: str, of: str = "") -> list[Piece]:
    """Return what trains do in a sentence, with their rail first where some fail, else last.

    `of` says behind the first count of how many trains it is.
    """
    outcome = worst(each.outcome for each in trains)
    style = OUTCOMES[outcome][1]
    first = f"{where[1:2].upper()}{where[2:]} "
    if total == 1:
        if outcome == "climbs":
            return [(f"{apart(trains[0].name)} gets through", style), f"{where}."]
        return [first, (outcome_of_train(trains[0]), style), "."]
    if outcome == "climbs" and len(trains) == total:
        return [("Both trains get through" if total == 2 else f"All {total} trains get through", style), f"{where}."]
    count, colon, rest = "; ".join(_counted(trains, of)).partition(":")
    return [first, (count, style), f"{colon}{rest}."]


def _counted(trains: Sequence[TrainAnswer], of: str) -> Iterator[str]:
    """Yield how many trains come to each outcome, the worst first, those that do not climb by name."""
    left = _NAMED
    failing = [outcome for outcome in WORST_FIRST if any(each.outcome == outcome != "climbs" for each in trains)]
    for outcome in failing or WORST_FIRST[-1:]:
        those = [each for each in trains if each.outcome == outcome]
        every = len(those) == len(trains) > 1
        who = f"{len(those)}{of}" if not every else "both trains" if len(those) == 2 else f"all {len(those)} trains"
        words = f"{who} {DOES[outcome][len(those) > 1]}"
        of = ""
        bare = outcome == "climbs" or (every and outcome == "marginal")  # no place to name
        named = [] if bare else [_with_place(each) for each in those[:left]]
        left -= len(named)
        more = [f"{len(those) - len(named)} more"] if named and len(those) > len(named) else []
        yield f"{words}: {', '.join((*named, *more))}" if named else words


def _with_place(train: TrainAnswer) -> str:
    """Return the name of a train that does not climb, with where it fails."""
    name = apart(train.name)
    match train.outcome:
        case "marginal":
            return name
        case "too long":
            return f"{name} (for {apart(train.misfits[0].place)})"
        case _:
            return f"{name} (on {apart(train.verdict.worst_track)})"


def judged_on(rails: Collection[str], hours: float | None = None) -> str:
    """Return on which rail trains are judged, behind a verb."""
    if set(rails) <= set(PLANNED):
        return f" as planned{at_age(hours)}"
    names = conditions(rails) if hours is None else dict.fromkeys(RailCondition.named(r).rested.name for r in rails)
    return f" on {' and '.join(map(apart, names))} rail{'' if set(names) == {CLEAN} else at_age(hours)}"


def at_age(hours: float | None) -> str:
    """Return an age that all film is judged at, behind what is judged; nothing where both fresh and rested are.

    >>> "film everywhere" + at_age(6.0), "film everywhere" + at_age(None)
    ('film everywhere at 6 h', 'film everywhere')
    """
    return "" if hours is None else f" at {hours:g} h"


def rail_at(rail: str, hours: float | None) -> str:
    """Return a rail condition by its name, or with the age of all film.

    >>> rail_at("treated fresh", 6.0), rail_at("treated fresh", None), rail_at("clean", 6.0)
    ('treated at 6 h', 'treated fresh', 'clean')
    """
    return next(iter(conditions([rail], hours)))


def conditions(rails: Collection[str], hours: float | None = None) -> dict[str, list[str]]:
    """Return rail conditions by name, both ages of a film as one where both are there, or with the age of all film.

    >>> conditions(["clean", "treated", "treated fresh", "graphite fresh"])
    {'clean': ['clean'], 'treated': ['treated', 'treated fresh'], 'graphite fresh': ['graphite fresh']}
    >>> conditions(["clean", "treated fresh"], 6.0)
    {'clean': ['clean'], 'treated at 6 h': ['treated fresh']}
    """
    found: dict[str, list[str]] = {}
    for rail in rails:
        rested = RailCondition.named(rail).rested.name
        name = rested if rested in rails or hours is not None else rail
        found.setdefault(name if name == CLEAN else name + at_age(hours), []).append(rail)
    return found


def outcome_of_train(train: TrainAnswer) -> str:
    """Return the outcome of a train behind its name, with its place, or what it must not do where it is marginal."""
    if train.outcome == "marginal":
        return f"{apart(train.name)} is marginal: it must not slip or stop on the hill"
    words = plain_words(train.outcome, train.verdict, train.misfits)
    return f"{apart(train.name)} {'is ' if train.outcome == 'too long' else ''}{words}"
