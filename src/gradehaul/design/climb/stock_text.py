"""The stock of a plan as the text of another: films, locomotives, powers, cars and trains, with all that is known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gradehaul.plan.bench_records import Book, PullRead, StringRead
from gradehaul.plan.records import Car, CurveResistance, Film, Loco, NamedTrain, Plan, Power
from gradehaul.plan.text.toml import key_written, table_written
from gradehaul.quantities import Reading, convert


def stock_text(stock: Plan, trains: Sequence[NamedTrain]) -> list[str]:
    """Return the lines of the tables of a plan's stock, with other trains of it."""
    tables: list[tuple[str, Mapping[str, object]]] = []
    if stock.curve_resistance != CurveResistance():
        tables.append(("curve_resistance", _bends(stock.curve_resistance)))
    own = [power for power in stock.powers.values() if power.name not in stock.locos]
    films = [film for film in stock.films.values() if film.basis != "assumed"]  # else the one that is built in
    tables += [(f"rail.{key_written(film.name)}", _film(film)) for film in films]
    tables += [(f"loco.{key_written(loco.name)}", _loco(loco)) for loco in stock.locos.values()]
    tables += [(f"power.{key_written(power.name)}", _power(power)) for power in own]
    tables += [(f"car.{key_written(car.name)}", _car(car)) for car in stock.cars.values()]
    tables += [(f"train.{key_written(train.name)}", _train(train)) for train in trains]
    lines = [line for header, values in tables for line in table_written(f"[{header}]", values)]
    return lines + _book(stock.book)


def _bends(bends: CurveResistance) -> Mapping[str, object]:
    return {
        "model": bends.model,
        "wheelbase": _metric(bends.wheelbase),
        "friction": bends.friction,
        "coefficient": _metric(bends.coefficient),
        "starting": bends.starting,
        "tension": bends.tension or None,
    }


def _film(film: Film) -> Mapping[str, object]:
    shares = (("metal", film.metal), ("tyred", film.tyred))
    return {wheels: {"fresh": share.fresh, "settled": share.settled} for wheels, share in shares}


def _loco(loco: Loco) -> Mapping[str, object]:
    pulls = {
        kind: {rail: [_force(reading) for reading in readings] for rail, readings in table.items()} or None
        for kind, table in (("pull", loco.pull), ("slipping", loco.slipping))
    }
    return {
        "title": loco.title,
        "mass": _mass(loco.mass),
        "length": _metric(loco.length),
        "on_drivers": _mass(loco.on_drivers),
        "on_tyres": _mass(loco.on_tyres) if loco.on_tyres else None,
        **pulls,
    }


def _power(power: Power) -> Mapping[str, object]:
    return {"locos": power.locos, "together": None if power.basis == "assumed" else power.together}


def _car(car: Car) -> Mapping[str, object]:
    return {
        "length": _metric(car.length),
        "mass": None if car.mass_basis == "assumed" else _mass(car.mass),
        "rolling": None if car.rolling_basis == "assumed" else _share(car.rolling),
        "starting": None if car.starting_basis == "assumed" else _share(car.starting),
    }


def _train(train: NamedTrain) -> Mapping[str, object]:
    consist = [f"{cut.count} {cut.name}" if cut.count > 1 else cut.name for cut in train.consist]
    return {"route": train.route, "consist": consist, "together": train.together}


def _book(book: Book) -> list[str]:
    """Return the readings of the bench, by which the plan that is written answers as that of its stock does."""
    lines = [] if book.step is None else table_written("[bench]", {"step": f"{book.step:.13g} N"})
    for pull in book.pulls:
        state = None if pull.state == "standing" else pull.state
        own = {"loco": pull.loco, "rail": pull.rail, "hours": pull.hours, "state": state}
        lines += table_written("[[reading]]", {**own, **_where_read(pull)})
    for string in book.strings:
        own = {"car": string.car, "cars": string.cars}
        lines += table_written("[[reading]]", {**own, **_where_read(string)})
    for tilt in book.tilts:
        rises = {key: [*map(_metric, own)] or None for key, own in (("starts", tilt.starts), ("rolls", tilt.rolls))}
        lines += table_written("[[tilt]]", {"car": tilt.car, "over": _metric(tilt.over), **rises})
    return lines


def _where_read(read: PullRead | StringRead) -> Mapping[str, object]:
    return {
        "force": [*map(_force, read.forces)],
        "grade": f"{100 * read.grade:.13g} %" if read.grade else None,
        "radius": _metric(1 / read.curvature) if read.curvature else None,
    }


def _metric(length: float | None) -> str | None:
    return None if length is None else f"{1000 * length:.13g} mm"


def _mass(mass: float) -> str:
    return f"{1000 * mass:.13g} g"


def _force(reading: Reading) -> str:
    unit = reading.unit or "N"
    spread = "" if reading.spread is None else f" +/- {convert(reading.spread, unit):.13g}"
    return f"{convert(reading.value, unit):.13g}{spread} {unit}"


def _share(reading: Reading) -> str:
    spread = "" if reading.spread is None else f" +/- {100 * reading.spread:.13g}"
    return f"{100 * reading.value:.13g}{spread} %"
