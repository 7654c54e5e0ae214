"""What a route needs, the longest trains over it and what limits them, for a person."""

from __future__ import annotations

from gradehaul.haulage.answers.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.longest import Load
from gradehaul.haulage.trust.load import LoadSpread
from gradehaul.network.route import Tail
from gradehaul.show.base.labels import FAILS, basis_words, cars_words
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader

HOW_SURE = (
    "90 % range: 9 of 10 random trials of every uncertain figure lie in it, rated / limit. Where a place holds no "
    "more, the cars to run come first."
)
"""How the range of a load is read."""

HOW_LOADED = (
    "Cars to run (rated / limit). Rated: gets through even if the wheels slip, and can restart anywhere. Limit: gets "
    "through as long as the wheels never slip. Cars to run are the rated load, or fewer where a place holds no more."
)
"""How a load is read."""

Shown = dict[str, list[list[Piece]]]
"""The rows that each route before was shown with."""


def add_loads(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    """Add each route: its length and climb, its ruling grade at a point and under each named train, and its loads."""
    page.heading("Routes and longest trains")
    if any(route.loads for route in answer.routes):
        for line in (HOW_LOADED, HOW_SURE):
            page.line(line, indent=2)
    before: Shown = {}
    for route in answer.routes:
        _add_route(page, answer, route, reader)
        if route.loads:
            _add_longest(page, answer, route, before)


def add_limits(page: Page, answer: CheckAnswer, reader: Reader) -> None:
    """Add what limits each load: where the first train fails that is longer, and how."""
    page.heading("What limits each load")
    before: Shown = {}
    for route in answer.routes:
        if not route.loads:
            continue
        rows: list[list[Piece]] = [[*row] for row in bound_rows(route, reader)]
        page.line()
        if not _as_before(page, f"Route {route.route.name}", route, rows, before):
            page.line("Route ", (route.route.name, "bold"))
            heads = ["locomotive", "car", "rail", "first to fail>", "how", "head at>", "on", "needs>", "has>"]
            page.table(heads, rows)


def _add_route(page: Page, answer: CheckAnswer, route: RouteAnswer, reader: Reader) -> None:
    profile, ruling = route.profile, route.ruling
    page.line()
    ends = (
        f"round from {route.route.origin}" if route.route.lap else f"{route.route.origin} to {route.route.destination}"
    )
    page.line("Route ", (route.route.name, "bold"), f": {ends}")
    length, climb, fall = (reader.length(value) for value in (profile.length, profile.climb, profile.fall))
    page.line(f"length {length}, climbs {climb}, falls {fall}", indent=2)
    for number, (tail, at) in enumerate(reversed_at(route), 1):
        order = "turned" if number % 2 else "as it started"
        where = f"reverses at {reader.length(at)}, in {tail.name}, {reader.length(tail.length)} long, and goes on with"
        if tail.round_room is None:
            page.line(f"{where} its order {order}", indent=2)
            continue
        page.line(f"{where} its cars in order {order}", indent=2)
        page.line(f"{run_round_words(tail, tail.round_room, reader)}, and lead", indent=4)
    if route.route.legs:
        page.line("leading, trailing: where the locomotives are as the train starts", indent=2)
    effective, grade, curve = (reader.grade(value) for value in (ruling.effective, ruling.grade, ruling.curve))
    start, stop = reader.length(ruling.start), reader.length(ruling.stop)
    where = f"at {start}" if start == stop else f"from {start} to {stop}"
    page.line(
        "ruling grade ",
        (effective, "bold"),
        f" = grade {grade} + curve {curve}, on {ruling.track}, {where}",
        indent=2,
    )
    running = {train.length: train.name for train in answer.trains if train.route == route.route.name}
    for under in route.under_trains:
        if running and under.train_length not in running:
            continue
        named = f" ({running[under.train_length]})" if running else ""
        page.line(
            f"under a train {reader.length(under.train_length)} long{named}: {reader.grade(under.effective)}, "
            f"with its head at {reader.length(under.at)}, on {profile.track_at(under.at)}",
            indent=2,
        )


def _add_longest(page: Page, answer: CheckAnswer, route: RouteAnswer, before: Shown) -> None:
    by_train: dict[tuple[str, str], dict[str, Load]] = {}
    for load in route.loads:
        by_train.setdefault((power_words(load, route), load.car), {})[load.rail] = load
    rows: list[list[Piece]] = [
        [power, car, *(_load(loads[rail]) for rail in answer.rails)] for (power, car), loads in by_train.items()
    ]
    ranges = _ranges(answer, route)
    if not _as_before(page, "longest trains", route, rows + ranges, before, indent=2):
        page.table(["locomotive", "car", *answer.rails], rows)
        page.line()
        page.table(["90 % range", "car", *answer.rails], ranges)


def _as_before(
    page: Page, what: str, route: RouteAnswer, rows: list[list[Piece]], before: Shown, *, indent: int = 0
) -> bool:
    """Refer to a route before that was shown with the same rows, and return whether there is one."""
    same = next((name for name, shown in before.items() if shown == rows), None)
    before[route.route.name] = rows
    if same is not None:
        page.line(f"{what}: as on route {same}", indent=indent)
    return same is not None


def _ranges(answer: CheckAnswer, route: RouteAnswer) -> list[list[Piece]]:
    by_train: dict[tuple[str, str], dict[str, str]] = {}
    for load, spread in zip(route.loads, route.spreads, strict=True):
        by_train.setdefault((power_words(load, route), load.car), {})[load.rail] = spread_words(load, spread)
    return [[power, car, *(spreads[rail] for rail in answer.rails)] for (power, car), spreads in by_train.items()]


def bound_rows(route: RouteAnswer, reader: Reader) -> list[list[str]]:
    """Return what limits the loads of a route, a row for all rails where it is the same.

    Its columns are power, car, rails, the first number of cars to fail, how, the place of the head, its track, and
    demand and pull there.
    """
    bound: dict[tuple[str, ...], list[str]] = {}
    for load in route.loads:
        for row in _bound(load, reader):
            bound.setdefault((power_words(load, route), load.car, *row), []).append(load.rail)
    return [[power, car, ", ".join(rails), *rest] for (power, car, *rest), rails in bound.items()]


def reversed_at(route: RouteAnswer) -> list[tuple[Tail, float]]:
    """Return the tails in which a train reverses, each with the place on the route, m."""
    starts = [start for _, start in route.profile.runs[1:]]
    return list(zip(route.route.tails, starts, strict=True))


def run_round_words(tail: Tail, room: float, reader: Reader) -> str:
    """Return what locomotives do that run round their train in a tail."""
    return f"the locomotives, up to {reader.length(room)} long, run round it {tail.place}"


def power_words(load: Load, route: RouteAnswer) -> str:
    """Return a power, and over reversals where it stands as the train starts."""
    return f"{load.power}, {load.engine}" if route.route.legs else load.power


def _load(load: Load) -> Piece:
    words = f"{cars_words(load.to_run)} ({cars_words(load.rated)} / {cars_words(load.limit)})"
    words = f"{words} {basis_words(load.basis, load.slipping_basis)}"
    return words if load.holds_back else (f"{words}, RUNS AWAY", "bold red")


def spread_words(load: Load, spread: LoadSpread) -> str:
    """Return the 90 % ranges of a load, rated and limit.

    Where a place holds fewer cars than the pull might bring, the cars to run stand ahead of them.
    """
    by_pull = f"{_range(spread.rated_low, spread.rated_high)} / {_range(spread.limit_low, spread.limit_high)}"
    low, high = load.held(spread.rated_low), load.held(spread.rated_high)
    return by_pull if high == spread.rated_high else f"{_range(low, high)} ({by_pull})"


def _range(low: int, high: int) -> str:
    return cars_words(low) if low == high else f"{cars_words(low)} to {cars_words(high)}"


def _bound(load: Load, reader: Reader) -> list[tuple[str, ...]]:
    """Return what limits a load: the place that is full, where there is one, and the pull."""
    rows: list[tuple[str, ...]] = []
    if load.fits is not None and load.fits < load.rated:
        rows.append((_cars(load.fits + 1), f"do not fit {load.fits_by}", "", "", "", ""))
    binds = load.binds
    if binds is None:
        return rows or [("", "nothing limits it", "", "", "", "")]
    needs, has = reader.forces_apart(binds.demand, binds.pull)
    rows.append((_cars(binds.cars), FAILS[binds.test], reader.length(binds.at), binds.track, needs, has))
    return rows


def _cars(count: int) -> str:
    return "1 car" if count == 1 else f"{count} cars"
