"""The stock of a plan as the text of another: films, locomotives, powers, cars and trains, with all that is known."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.plan.bench_records import Book, PullRead, StringRead
from gradehaul.plan.names import key_text, quoted
from gradehaul.plan.records import Car, CurveResistance, Film, Loco, NamedTrain, Plan, Power
from gradehaul.quantities import Reading, convert


def stock_text(stock: Plan, trains: Sequence[NamedTrain]) -> list[str]:
    """Return the lines of the tables of a plan's stock, with other trains of it."""
    parts = _bends_text(stock)
    for film in stock.films.values():
        parts += _film_text(film)
    for loco in stock.locos.values():
        parts += _loco_text(loco)
    for power in stock.powers.values():
        if power.name not in stock.locos:
            parts += _power_text(power)
    for car in stock.cars.values():
        parts += _car_text(car)
    for train in trains:
        parts += _train_text(train)
    return parts + _book_text(stock.book)


def _bends_text(stock: Plan) -> list[str]:
    bends = stock.curve_resistance
    if bends == CurveResistance():
        return []
    parts = ["", "[curve_resistance]", f"model = {quoted(bends.model)}"]
    if bends.wheelbase is not None:
        parts.append(f"wheelbase = {_metric(bends.wheelbase)}")
    if bends.friction is not None:
        parts.append(f"friction = {bends.friction!r}")
    if bends.coefficient is not None:
        parts.append(f"coefficient = {_metric(bends.coefficient)}")
    if bends.starting is not None:
        parts.append(f"starting = {bends.starting!r}")
    if bends.tension:
        parts.append(f"tension = {bends.tension!r}")
    return parts


def _film_text(film: Film) -> list[str]:
    if film.basis == "assumed":  # the one that is built in
        return []
    shares = [
        f"{wheels} = {{ fresh = {share.fresh!r}, settled = {share.settled!r} }}"
        for wheels, share in (("metal", film.metal), ("tyred", film.tyred))
    ]
    return ["", f"[rail.{key_text(film.name)}]", *shares]


def _loco_text(loco: Loco) -> list[str]:
    parts = ["", f"[loco.{key_text(loco.name)}]", f"title = {quoted(loco.title)}", f"mass = {_mass(loco.mass)}"]
    parts += [f"length = {_metric(loco.length)}", f"on_drivers = {_mass(loco.on_drivers)}"]
    if loco.on_tyres:
        parts.append(f"on_tyres = {_mass(loco.on_tyres)}")
    for kind, table in (("pull", loco.pull), ("slipping", loco.slipping)):
        if table:
            parts += ["", f"[loco.{key_text(loco.name)}.{kind}]"]
            parts += [f"{key_text(rail)} = [{', '.join(map(_force, readings))}]" for rail, readings in table.items()]
    return parts


def _power_text(power: Power) -> list[str]:
    parts = ["", f"[power.{key_text(power.name)}]", f"locos = [{', '.join(map(quoted, power.locos))}]"]
    return parts if power.basis == "assumed" else [*parts, f"together = {power.together!r}"]


def _car_text(car: Car) -> list[str]:
    parts = ["", f"[car.{key_text(car.name)}]", f"length = {_metric(car.length)}"]
    if car.mass_basis != "assumed":
        parts.append(f"mass = {_mass(car.mass)}")
    if car.rolling_basis != "assumed":
        parts.append(f"rolling = {_share(car.rolling)}")
    if car.starting_basis != "assumed":
        parts.append(f"starting = {_share(car.starting)}")
    return parts


def _train_text(train: NamedTrain) -> list[str]:
    cuts = ", ".join(quoted(f"{cut.count} {cut.name}" if cut.count > 1 else cut.name) for cut in train.consist)
    parts = ["", f"[train.{key_text(train.name)}]", f"route = {quoted(train.route)}", f"consist = [{cuts}]"]
    return parts if train.together is None else [*parts, f"together = {train.together!r}"]


def _book_text(book: Book) -> list[str]:
    """Return the readings of the bench, by which the plan that is written answers as that of its stock does."""
    parts = [] if book.step is None else ["", "[bench]", f"step = {quoted(f'{book.step:.13g} N')}"]
    for pull in book.pulls:
        parts += ["", "[[reading]]", f"loco = {quoted(pull.loco)}", f"rail = {quoted(pull.rail)}"]
        if pull.hours is not None:
            parts.append(f"hours = {pull.hours!r}")
        if pull.state != "standing":
            parts.append(f"state = {quoted(pull.state)}")
        parts += _where_read(pull)
    for string in book.strings:
        parts += ["", "[[reading]]", f"car = {quoted(string.car)}", f"cars = {string.cars}", *_where_read(string)]
    for tilt in book.tilts:
        parts += ["", "[[tilt]]", f"car = {quoted(tilt.car)}", f"over = {_metric(tilt.over)}"]
        for key, rises in (("starts", tilt.starts), ("rolls", tilt.rolls)):
            if rises:
                parts.append(f"{key} = [{', '.join(map(_metric, rises))}]")
    return parts


def _where_read(read: PullRead | StringRead) -> list[str]:
    parts = [f"force = [{', '.join(map(_force, read.forces))}]"]
    if read.grade:
        parts.append(f"grade = {quoted(f'{100 * read.grade:.13g} %')}")
    if read.curvature:
        parts.append(f"radius = {_metric(1 / read.curvature)}")
    return parts


def _metric(length: float) -> str:
    return quoted(f"{1000 * length:.13g} mm")


def _mass(mass: float) -> str:
    return quoted(f"{1000 * mass:.13g} g")


def _force(reading: Reading) -> str:
    unit = reading.unit or "N"
    spread = "" if reading.spread is None else f" +/- {convert(reading.spread, unit):.13g}"
    return quoted(f"{convert(reading.value, unit):.13g}{spread} {unit}")


def _share(reading: Reading) -> str:
    spread = "" if reading.spread is None else f" +/- {100 * reading.spread:.13g}"
    return quoted(f"{100 * reading.value:.13g}{spread} %")
