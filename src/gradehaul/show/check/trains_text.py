"""Every named train on every rail condition, and what to do about trains that do not climb, for a person."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import TrainAnswer
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.trust.train import TrainTrust
from gradehaul.show.base.labels import RISK, basis_words, counted, listed, rail_name, rail_words
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import (
    DOES,
    care_lines,
    everywhere,
    misfit_words,
    outcome_cells,
    standing_out_words,
)
from gradehaul.treatment.helping import Help, Obstacle
from gradehaul.treatment.ways_over import Doubling, Undivided, WaysOver


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
        "To spare: the pull that a train can lose, or a hill can add, and it still climbs and is held back downhill, "
        "even if its wheels slip; below 0, how much it is short. The place is that of its head where this is "
        "least, from the start of its route.",
        indent=2,
    )
    for name, ages in everywhere(answer.film_rails).items():
        words = f"{name.capitalize()}: each figure is the worse of {listed(ages)}"
        page.line(f"{words}. Fresh: on the day you apply the film.", indent=2)
    count = answer.trains[0].trust.trials
    page.line(
        f"{RISK}. From {count:,} random trials of all uncertain figures.",
        indent=2,
    )


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
    rows = [_row(train, units) for train in (*judged, *others)]
    page.table(["rail", "outcome", "risk>", "to spare>", "hardest place"], rows, indent=4)
    for words, rails in _by_rail(
        verdicts, lambda train: basis_words(train.verdict.basis, train.verdict.slipping_basis)
    ):
        page.line(f"Pull {words}: {rails}.", indent=4)
    for back, rails in _by_rail(verdicts, lambda train: train.verdict.holds_back):
        page.line("Held back downhill" if back else ("RUNS AWAY downhill", "bold red"), f": {rails}.", indent=4)
    for misfit in first.misfits:
        page.line(("Too long", "bold red"), f": {misfit_words(misfit, units)}", indent=4)
    for standing in first.stands_out:
        page.line(standing_out_words(standing, units), indent=4)
    for train in judged:
        for line in care_lines(train.verdict, profiles[train.route], units):
            page.line(f"{rail_name(train.rail)}: {line}", indent=4)
    for words, rails in _by_rail(judged, lambda train: biggest_unknown(train.trust)):
        if words:
            page.line(f"{rails}: {words}", indent=4)


_Words = TypeVar("_Words")


def _by_rail(trains: Iterable[TrainAnswer], words: Callable[[TrainAnswer], _Words]) -> Iterator[tuple[_Words, str]]:
    """Yield what is said of a train, each with the rails on which it is."""
    found: dict[_Words, list[str]] = {}
    for train in trains:
        found.setdefault(words(train), []).append(rail_name(train.rail))
    yield from ((each, ", ".join(rails)) for each, rails in found.items())


def _row(train: TrainAnswer, units: UnitFormat) -> list[Piece]:
    verdict = train.verdict
    return [
        rail_name(train.rail),
        *outcome_cells(train, units),
        f"{verdict.spare_track}, {units.length(verdict.spare_at)}",
    ]


def biggest_unknown(trust: TrainTrust) -> str:
    """Return the biggest unknown of a verdict, and what to measure next where something would help."""
    most, measure = trust.dominant, trust.next_measurement
    if most is None:
        return ""
    words = f"biggest unknown: {most.what}"
    if measure is None:
        return words
    if not most.narrows:
        words += ", which no reading narrows"
    elif most.measure != measure.measure:
        words += ", but another reading helps more"
    return f"{words}; measure next: {measure.measure}"


_HOW_HELPED = (
    "A helper comes on and goes off while the train stands with its head at the joint. A train on a drop needs a "
    "guard beside the rail, with a helper too."
)
"""What holds for every helper."""


WAYS_OVER = "Help over the hill"
"""The heading of what gets trains over that do not climb."""


def add_ways_over(page: Page, ways: Sequence[WaysOver], units: UnitFormat) -> None:
    """Add what gets every train over that fails as judged: cars left behind, doubling, a helper, leg by leg."""
    page.heading(WAYS_OVER)
    if not ways:
        page.line("No judged train needs help.", indent=2)
        return
    for way in ways:
        page.line(
            (way.train, "bold"),
            f" {DOES[way.outcome][0]} {rail_words(way.rail)}, with {counted(way.cars, 'car')}.",
            indent=2,
        )
        page.line(_leave(way), indent=4)
        page.line(_double(way.double), indent=4)
        for leg in dict.fromkeys(each.leg for each in way.help):
            for line in _help([each for each in way.help if each.leg == leg], leg, units):
                page.line(line, indent=4)
    page.line(_HOW_HELPED, indent=2)


def best_way(way: WaysOver) -> str:
    """Return the one way over that keeps most of a train together: a helper, two parts, or cars left behind.

    A train of which at most a third is left behind needs nothing else (our own choice).
    """
    if way.leave is not None and 3 * way.leave <= way.cars:
        return _leave(way).replace("Leave", "leave")
    helper = next((each for each in way.help if each.enough and each.obstacle is None), None)
    if helper is not None and all(each.leg == helper.leg for each in way.help):
        where = " and ".join(f"from {each.on} to {each.off}" for each in helper.districts)
        return f"add {helper.loco} at the {helper.where} {where}."
    if isinstance(way.double, Doubling):
        return f"take it over in two parts, first {counted(way.double.front, 'car')}, then {way.double.rear}."
    if way.leave is not None:
        return _leave(way).replace("Leave", "leave")
    return "no helper is enough, and its locomotives do not climb alone."


def _leave(way: WaysOver) -> str:
    if way.leave is None:
        return "Leaving cars does not help: the locomotives do not climb alone."
    rest = way.cars - way.leave
    left = {0: "the locomotives climb alone", 1: "the other climbs"}.get(rest, f"the other {rest} climb")
    return f"Leave {way.leave} of its {counted(way.cars, 'car')} behind, from the tail: {left}."


_NO_DOUBLING: dict[Undivided, str] = {
    "order": "its locomotives are not all ahead of its cars.",
    "pull": "no split leaves two parts that climb and fit.",
    "foot": "no berth holds the second part where the route begins.",
    "summit": "no berth holds both parts and the locomotives where the route ends.",
    "through": "the route, or a way around the train on it, runs again through a berth in which a part would stand.",
    "return": "no way leads the locomotives back to the second part past the first.",
}

_NO_HELP: dict[Obstacle, str] = {
    "start": "No helper can come on, since the train fails before all of it stands on the route",
    "room": "Too long together for the tail, berth, loop or lap that must hold both",
    "on": "Cannot come on, with no track to wait on out of the train's way",
    "off": "Cannot get out of the train's way",
}


def _double(double: Doubling | Undivided) -> str:
    if not isinstance(double, Doubling):
        return f"Do not double it: {_NO_DOUBLING[double]}"
    return (
        f"Double it, that is, take it over in two parts: first {counted(double.front, 'car')}, then {double.rear}. "
        "The berths hold both parts, and the locomotives can get back to the second."
    )


def _help(help_: Sequence[Help], leg: int | None, units: UnitFormat) -> list[str]:
    """Return what helpers do on a leg of a route with reversals, or on a route without, where the leg is None."""
    where = " and ".join(
        f"{each.on} to {each.off} (head from {units.length(each.on_at)} to {units.length(each.off_at)})"
        for each in help_[0].districts
    )
    lines = [f"Helper district on leg {leg}: {where}." if leg else f"Helper district: {where}."]
    free = [each for each in help_ if each.obstacle is None]
    for words, found in (
        ("Enough as a helper", [each for each in free if each.enough]),
        ("Not enough as a helper", [each for each in free if not each.enough]),
        *((words, [each for each in help_ if each.obstacle == kind]) for kind, words in _NO_HELP.items()),
    ):
        if found:
            lines.append(f"{words}: {', '.join(f'{each.loco} at the {each.where}' for each in found)}.")
    return lines
