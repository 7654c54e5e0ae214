"""The tables of the page: what each cell says, and by what it sorts."""

from __future__ import annotations

from dataclasses import dataclass

from gradehaul.haulage.answers.check import CheckAnswer, Figure, RouteAnswer, TrainAnswer
from gradehaul.haulage.answers.judged import worst_first, worst_of_each
from gradehaul.haulage.longest import Load
from gradehaul.plan.records import Basis
from gradehaul.show.base.labels import basis_words, cars_words, chance_words
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.first_screen import worst_load
from gradehaul.show.check.headline import conditions, film_everywhere
from gradehaul.show.check.route_text import bound_rows, power_words
from gradehaul.show.check.text import CLEAR_LENGTH, figure_value


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell: its text, the number it sorts by where that is not its text, its kind, and smaller texts behind it."""

    text: str
    sort: float | None = None
    kind: str = ""
    more: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Rows:
    """A table: heads, and rows of as many cells."""

    heads: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


def outcome_rows(answer: CheckAnswer, reader: Reader) -> Rows:
    """Return a row for each train: outcome, risk and pull to spare on the judged rail and with each film everywhere."""
    named = conditions(answer.judged_rails)
    columns = {name: worst_of_each(answer.on(rails)) for name, rails in named.items()}
    columns |= film_everywhere(answer)
    found = {name: {train.name: train for train in trains} for name, trains in columns.items()}
    heads = ["train", *(head for name in found for head in (name, "risk", "to spare")), "hardest place"]
    rows = []
    for train in worst_first(next(iter(columns.values()), [])):
        cells = [Cell(train.name)]
        for trains in found.values():
            one = trains[train.name]
            risk = one.trust.stall_probability
            cells += [
                Cell(one.outcome, kind=f"outcome {one.outcome.replace(' ', '-')}"),
                _number(chance_words(risk), risk),
                _number(reader.force(one.verdict.margin), one.verdict.margin),
            ]
        rows.append((*cells, Cell(f"{train.verdict.worst_track}, {reader.length(train.verdict.worst_at)}")))
    return Rows(tuple(heads), tuple(rows))


def verdict_rows(answer: CheckAnswer, reader: Reader) -> Rows:
    """Return the verdict on every named train on every rail condition."""
    heads = ("train", "rail", "outcome", "to spare", "head at", "on track", "downhill", "pull")
    return Rows(heads, tuple(_verdict(train, reader) for train in answer.trains))


def _verdict(train: TrainAnswer, reader: Reader) -> tuple[Cell, ...]:
    verdict = train.verdict
    return (
        Cell(train.name),
        Cell(train.rail),
        Cell(train.outcome, kind=train.outcome.replace(" ", "-")),
        _number(reader.force(verdict.margin), verdict.margin),
        _number(reader.length(verdict.at), verdict.at),
        Cell(verdict.track),
        Cell("holds back" if verdict.holds_back else "runs away", kind="" if verdict.holds_back else "runs-away"),
        Cell(basis_words(verdict.basis, verdict.slipping_basis)),
    )


def load_rows(answer: CheckAnswer) -> Rows:
    """Return the longest trains: a row for every route, power and car, a column for every rail condition.

    Random trials are run where trains are judged, at the worse age of the film.
    """
    rows: list[tuple[Cell, ...]] = []
    for route in answer.routes:
        by_train: dict[tuple[str, str], dict[str, Load]] = {}
        for load in route.loads:
            by_train.setdefault((power_words(load, route), load.car), {})[load.rail] = load
        for (power, car), loads in by_train.items():
            judged = worst_load(loads[rail] for rail in answer.judged_rails)
            cells = [_load(loads[rail], route if loads[rail] is judged else None) for rail in answer.rails]
            rows.append((Cell(route.route.name), Cell(power), Cell(car), *cells))
    return Rows(("route", "power", "car", *answer.rails), tuple(rows))


def _load(load: Load, trials_of: RouteAnswer | None) -> Cell:
    """Return a load, with its 90 % range where its route is passed for that."""
    sure: tuple[str, ...] = ()
    if trials_of is not None:
        low, high = (load.held(count) for count in trials_of.trials.rated_range(load))
        sure = (f"sure: {cars_words(low)} to {cars_words(high)}" if low != high else f"sure: {cars_words(low)}",)
    return Cell(
        cars_words(load.to_run),
        sort=load.to_run,
        kind="load",
        more=(
            f"{cars_words(load.rated)} / {cars_words(load.limit)}",
            *sure,
            basis_words(load.basis, load.slipping_basis),
            *(() if load.holds_back else ("runs away downhill",)),
        ),
    )


def binding_rows(answer: CheckAnswer, reader: Reader) -> Rows:
    """Return what binds each load."""
    heads = ("route", "power", "car", "rail", "first to fail", "how", "head at", "on", "needs", "pull")
    rows = [(Cell(route.route.name), *map(Cell, row)) for route in answer.routes for row in bound_rows(route, reader)]
    return Rows(heads, tuple(rows))


def berth_rows(answer: CheckAnswer, reader: Reader) -> Rows:
    """Return the berths: how long, how steep, what fits, and whether cars stay put."""
    heads = ("berth", "clear length", "known from", "steepest", "cars that fit, no engine", "parked cars stay put")
    rows = [
        (
            Cell(berth.name),
            _number(reader.length(berth.clear_length), berth.clear_length),
            Cell(CLEAR_LENGTH[berth.basis]),
            _number(reader.grade(berth.steepest), berth.steepest),
            Cell(", ".join(f"{count} {car}" for car, count in berth.cars_fit.items()) or "-"),
            Cell(", ".join(f"{car} {'yes' if stay else 'ROLL AWAY'}" for car, stay in berth.cars_stay.items()) or "-"),
        )
        for berth in answer.berths
    ]
    return Rows(heads, tuple(rows))


_LEAST_SURE_FIRST: tuple[Basis, ...] = ("assumed", "scaled", "fitted", "stated", "measured")


def figure_rows(answer: CheckAnswer, reader: Reader) -> Rows:
    """Return the figures that the answer rests on, the least sure first."""
    ordered = sorted(answer.figures, key=lambda figure: _LEAST_SURE_FIRST.index(figure.basis))
    return Rows(("of", "figure", "value", "basis"), tuple(_figure(figure, reader) for figure in ordered))


def _figure(figure: Figure, reader: Reader) -> tuple[Cell, ...]:
    return (
        Cell(figure.subject),
        Cell(figure.name),
        _number(figure_value(figure, reader), figure.value),
        Cell(figure.basis, sort=_LEAST_SURE_FIRST.index(figure.basis), kind=f"basis {figure.basis}"),
    )


def _number(text: str, sort: float) -> Cell:
    return Cell(text, sort=sort, kind="number")
