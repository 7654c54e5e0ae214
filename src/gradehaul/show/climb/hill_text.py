"""The trains of a hill that is not built yet, for a person: their worst outcome, loads and verdicts by rail."""

from __future__ import annotations

from gradehaul.design.climb.backward import Stop
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import worst_first
from gradehaul.haulage.longest import Load
from gradehaul.show.base.labels import cars_told
from gradehaul.show.base.page import Page
from gradehaul.show.check.outcome_words import OUTCOMES


def add_stop(page: Page, harder: str, stop: Stop) -> None:
    """Add what stops the next harder design."""
    if stop.reason == "limit":
        page.line(f"There is no harder answer to try: {stop.words}.", indent=2)
    else:
        page.line(f"{harder} does not work: {stop.words}.", indent=2)


def add_worst(page: Page, answer: CheckAnswer) -> None:
    """Add the worst outcome of the named trains, on whatever rail it is."""
    if answer.trains:
        worst = worst_first(answer.trains)[0]
        rails = [each.rail for each in answer.trains if (each.name, each.outcome) == (worst.name, worst.outcome)]
        alone = len({train.name for train in answer.trains}) == 1
        words = f"Train {worst.name}" if alone else f"Worst of its trains: {worst.name}"
        page.line(f"{words} ", OUTCOMES[worst.outcome], f" on {', '.join(rails)} rail.", indent=2)


def add_trains(page: Page, answer: CheckAnswer) -> None:
    """Add the loads of every power over each route, and what becomes of the named trains."""
    for route in answer.routes:
        rows: dict[tuple[str, str], list[Load]] = {}
        for load in route.loads:
            rows.setdefault((load.power, load.car), []).append(load)
        if not rows:
            continue
        page.heading(f"Longest trains, route {route.route.name}: cars to run / limit")
        page.table(
            ["power", "car", *(f"{rail}>" for rail in answer.rails)],
            [
                [*names, *(f"{cars_told(load.rated)} / {cars_told(load.limit)}" for load in loads)]
                for names, loads in rows.items()
            ],
        )
        page.line(
            "Cars to run: gets through even if the wheels slip, and restarts anywhere. Limit: only as long as the "
            "wheels never slip.",
            indent=2,
        )
    if answer.trains:
        page.heading("Named trains")
        names = dict.fromkeys(train.name for train in answer.trains)
        by_train = {name: [OUTCOMES[train.outcome] for train in answer.trains if train.name == name] for name in names}
        page.table(["train", *answer.rails], [[name, *outcomes] for name, outcomes in by_train.items()])
