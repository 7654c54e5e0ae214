"""What every hill that is not built yet tells of its trains, for a person: loads and verdicts by rail condition."""

from __future__ import annotations

from gradehaul.design.hill_search import Stop
from gradehaul.haulage.check import CheckAnswer
from gradehaul.haulage.longest import Load
from gradehaul.show.naming import cars_told
from gradehaul.show.outcome_words import OUTCOMES
from gradehaul.show.page import Page


def rail_told(stop: Stop) -> str:
    """Return the rail on which a train does not climb, behind the words that it does not."""
    return "" if stop.rail is None else f" on {stop.rail} rail"


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
