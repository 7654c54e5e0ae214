"""The trains of a hill that is not built yet, for a person: their outcomes, the worst first, and the longest."""

from __future__ import annotations

from gradehaul.design.climb.backward import Stop
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import worst_first
from gradehaul.haulage.longest import Load
from gradehaul.haulage.outcome import Outcome
from gradehaul.show.base.labels import cars_words
from gradehaul.show.base.page import Page
from gradehaul.show.check.outcome_words import OUTCOMES


def add_stop(page: Page, harder: str, stop: Stop) -> None:
    """Add what stops the next harder design."""
    if stop.reason == "limit":
        page.paragraph(f"There is no harder answer to try: {stop.words}.")
    else:
        page.paragraph(f"{harder} does not work: {stop.words}.")


def add_worst(page: Page, answer: CheckAnswer) -> None:
    """Add how the trains do on the film, the worst first, or that no train is named."""
    by_outcome: dict[Outcome, dict[str, list[str]]] = {}
    for train in worst_first(answer.trains):
        by_outcome.setdefault(train.outcome, {}).setdefault(train.name, []).append(train.rail)
    for outcome, trains in by_outcome.items():
        for name, rails in trains.items():
            page.paragraph(f"{name} ", OUTCOMES[outcome], f" on {', '.join(rails)} rail.")
    if answer.trains:
        page.paragraph("Every train is judged going up, whatever route it has in its plan.")
    else:
        page.line("No train is named, so none is judged: --plan names a plan with one.")


def add_longest(page: Page, answer: CheckAnswer) -> None:
    """Add the longest trains of every power over each route, with the limit behind the cars to run."""
    for route in answer.routes:
        rows: dict[tuple[str, str], list[Load]] = {}
        for load in route.loads:
            rows.setdefault((load.power, load.car), []).append(load)
        if not rows:
            continue
        page.heading(f"Longest trains, route {route.route.name}: cars to run / limit")
        page.table(
            ["locomotive", "car", *(f"{rail}>" for rail in answer.rails)],
            [
                [*names, *(f"{cars_words(load.rated)} / {cars_words(load.limit)}" for load in loads)]
                for names, loads in rows.items()
            ],
        )
        page.line(
            "Cars to run: gets through even if the wheels slip, and restarts anywhere. Limit: only as long as the "
            "wheels never slip.",
            indent=2,
        )


def add_named(page: Page, answer: CheckAnswer) -> None:
    """Add the outcome of each named train on each rail condition."""
    if answer.trains:
        page.heading("Named trains")
        names = dict.fromkeys(train.name for train in answer.trains)
        by_train = {name: [OUTCOMES[train.outcome] for train in answer.trains if train.name == name] for name in names}
        page.table(["train", *answer.rails], [[name, *outcomes] for name, outcomes in by_train.items()])
