"""What a route asks and the longest trains over it, for a person."""

from __future__ import annotations

from gradehaul.haulage.check import CheckAnswer, RouteAnswer
from gradehaul.haulage.longest import Load
from gradehaul.haulage.trust_load import LoadSpread
from gradehaul.show.naming import FAILS, basis_told, cars_told
from gradehaul.show.page import Page, Piece
from gradehaul.show.reading_units import Reader


def explain_loads(page: Page) -> None:
    """Add what the figures of the load tables mean."""
    page.heading("Longest trains")
    page.line(
        "Each is told as cars (rated / limit). Rated: gets through even if the wheels slip, and can restart anywhere. "
        "Limit: gets through as long as the wheels never slip.",
        indent=2,
    )
    page.line("The first figure is the rated load, or fewer cars where a place holds no more.", indent=2)
    page.line(
        "How sure: in nine cases of ten the load is from the first to the second figure, rated / limit, by the scatter "
        "of your readings and the spread of what is assumed.",
        indent=2,
    )


def add_route(page: Page, answer: CheckAnswer, route: RouteAnswer, reader: Reader) -> None:
    """Add a route: its length and climb, its ruling grade at a point and under each named train, and its loads."""
    profile, ruling = route.profile, route.ruling
    page.line()
    ends = (
        f"round from {route.route.origin}" if route.route.lap else f"{route.route.origin} to {route.route.destination}"
    )
    page.line("Route ", (route.route.name, "bold"), f": {ends}")
    length, climb, fall = (reader.length(value) for value in (profile.length, profile.climb, profile.fall))
    page.line(f"length {length}, climbs {climb}, falls {fall}", indent=2)
    effective, grade, curve = (reader.grade(value) for value in (ruling.effective, ruling.grade, ruling.curve))
    start, stop = reader.length(ruling.start), reader.length(ruling.stop)
    where = f"at {start}" if start == stop else f"from {start} to {stop}"
    page.line(
        "ruling grade ",
        (effective, "bold"),
        f" = grade {grade} and curve {curve}, on {ruling.track}, {where}",
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
    if route.loads:
        _add_loads(page, answer, route, reader)


def _add_loads(page: Page, answer: CheckAnswer, route: RouteAnswer, reader: Reader) -> None:
    by_train: dict[tuple[str, str], dict[str, Load]] = {}
    for load in route.loads:
        by_train.setdefault((load.power, load.car), {})[load.rail] = load
    rows: list[list[Piece]] = [
        [power, car, *(_load(loads[rail]) for rail in answer.rails)] for (power, car), loads in by_train.items()
    ]
    page.table(["power", "car", *answer.rails], rows)
    page.line()
    sure: dict[tuple[str, str], dict[str, str]] = {}
    for load, spread in zip(route.loads, route.spreads, strict=True):
        sure.setdefault((load.power, load.car), {})[load.rail] = _spread(spread)
    rows = [[power, car, *(spreads[rail] for rail in answer.rails)] for (power, car), spreads in sure.items()]
    page.table(["how sure", "car", *answer.rails], rows)
    page.line()
    bound: dict[tuple[str, ...], list[str]] = {}
    for load in route.loads:
        for row in _bound(load, reader):
            bound.setdefault((load.power, load.car, *row), []).append(load.rail)
    heads = ["what binds", "car", "rail", "first to fail>", "how", "head at>", "on", "asks>", "has>"]
    page.table(heads, [[power, car, ", ".join(rails), *rest] for (power, car, *rest), rails in bound.items()])


def _load(load: Load) -> str:
    told = f"{cars_told(load.told)} ({cars_told(load.rated)} / {cars_told(load.limit)})"
    return f"{told} {basis_told(load.basis, load.slipping_basis)}"


def _spread(spread: LoadSpread) -> str:
    pairs = ((spread.rated_low, spread.rated_high), (spread.limit_low, spread.limit_high))
    return " / ".join(f"{cars_told(low)} to {cars_told(high)}" for low, high in pairs)


def _bound(load: Load, reader: Reader) -> list[tuple[str, ...]]:
    """Return what binds a load: the place that is full, where there is one, and the pull."""
    rows: list[tuple[str, ...]] = []
    if load.fits is not None and load.fits < load.rated:
        rows.append((_cars(load.fits + 1), f"do not fit {load.fits_by}", "", "", "", ""))
    binds = load.binds
    if binds is None:
        return rows or [("", "nothing binds", "", "", "", "")]
    asks, has = reader.forces_apart(binds.demand, binds.pull)
    rows.append((_cars(binds.cars), FAILS[binds.test], reader.length(binds.at), binds.track, asks, has))
    return rows


def _cars(count: int) -> str:
    return "1 car" if count == 1 else f"{count} cars"
