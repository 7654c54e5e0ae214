"""A hill that is not built yet as a plan: its text, its stock with all that is known, what the engine says of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property
from pathlib import Path
from typing import Literal, NamedTuple, TypeVar

import numpy as np

from gradehaul.errors import DesignError, GradehaulError
from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.bench.benched import with_bench
from gradehaul.haulage.resistance import curve_coefficient
from gradehaul.plan.bench_records import Book, PullRead, StringRead
from gradehaul.plan.names import look_up
from gradehaul.plan.rail_condition import CLEAN, conditions
from gradehaul.plan.reader import load_plan, read_plan
from gradehaul.plan.records import Car, CurveResistance, Deck, Film, Loco, NamedTrain, Plan, Power
from gradehaul.plan.text.toml import key_written, parse, read_text, table_written
from gradehaul.quantities import Reading, conversion, convert, length_unit
from gradehaul.quantities.si import Meters
from gradehaul.scales import LONGEST_CAR, Practice, scale_named
from gradehaul.track.piecewise import FloatArray

_Length = TypeVar("_Length", float, FloatArray)

Direction = Literal["up", "down", "both"]
"""Which way a train runs over the hill."""

UP, DOWN = "Up", "Down"
"""The routes over the hill: from its foot to its top, and back down."""

_ONE_WAY = 0.9
"""A train whose route in its own plan climbs this share of all its rises and falls goes up only, or down only."""


class Steps(NamedTuple):
    """Designs are rounded to whole steps of the plan's unit, m, each a millimeter at most."""

    length: Meters
    rise: Meters

    def upward(self, length: _Length) -> _Length:
        """Return the least whole number of steps that is no less than a length, m; of an array, each."""
        whole: _Length = np.ceil(length / self.length - _HAIR) * self.length
        return whole


_HAIR = 1e-6
"""What is so little over a whole number of steps, in steps, is whole."""
_STEPS = {"in": (0.01, 0.01), "ft": (0.002, 0.001), "yd": (0.001, 0.0001)}
"""In the unit: each is shown exactly with the decimals of fine lengths."""


def steps_of(unit: str) -> Steps:
    """Return the steps of designs in a unit of length; millimeters and tenths of them in metric ones."""
    if unit not in _STEPS:
        return Steps(1e-3, 1e-4)
    times, over = conversion(unit)
    return Steps(*(step * times / over for step in _STEPS[unit]))


def stock_of(path: str | None, *, scale: str | None, unit: str | None, practice: Practice | None = None) -> Plan:
    """Return the plan whose stock a design is for: a whole plan, or a file with stock alone; None for no stock.

    The scale is named where the file has none; the unit of bare lengths and the practice are the file's own, else those
    given, else NMRA's.

    Raises
    ------
    DesignError
        No scale, or another than the file's; a unit or a practice beside a plan that has its own.
    GradehaulError
        The file cannot be used.
    """
    data = {} if path is None else parse(read_text(Path(path), path), path)
    if path is not None and "scale" in data:
        plan = load_plan(path)
        if scale is not None and scale_named(scale, option="--scale").name != plan.scale.name:
            raise DesignError(
                f"the stock is of scale {plan.scale.name}", place="--scale", found=scale, write="stock of this scale"
            )
        for option, value, words in (("--unit", unit, "has a unit"), ("--practice", practice, "says its practice")):
            if value is not None:
                own = "of its own" if option == "--unit" else "itself"
                raise DesignError(f"the plan {words} {own}", file=path, place=option, write=f"no {option}")
        return plan
    if scale is None:
        raise DesignError(
            "the scale is missing", place="--scale", write="--scale HO, or --plan with a plan that has one"
        )
    head = {
        "title": "stock",
        "scale": scale_named(scale, option="--scale").name,
        "practice": practice,
        "unit": None if unit is None else length_unit(unit),
        "include": None if path is None else [Path(path).name],
    }
    folder = None if path is None else Path(path).parent
    return read_plan("\n".join(table_written("", head)), file="stock", folder=folder)


def coefficient_of(stock: Plan) -> float:
    """Return the curve coefficient, m, by the model that the stock's plan asks for, or as its readings give it."""
    return curve_coefficient(with_bench(stock).curve_resistance, stock.scale)


def judged_rails(stock: Plan, rail: str | None) -> tuple[str, ...]:
    """Return the rails on which a train must climb: the one named, else the first film's, settled and fresh.

    A film is judged at both ages, since the first day must be lived through.

    Raises
    ------
    RouteError
        No rail condition of this name.
    """
    if rail is None:
        return conditions(list(stock.films)[:1])[1:] or (CLEAN,)
    known = dict.fromkeys(conditions(stock.films))
    look_up(rail, known, "rail condition", file=stock.file, place="--rail")
    return (rail,)


def directions_of(stock: Plan, direction: Direction | None = None) -> Mapping[str, Direction]:
    """Return which way each train of the stock runs over the hill: as given, else as on its route in its own plan.

    A train whose route there climbs, or falls, nearly all the way runs up, or down, only; any other both ways.
    """
    if direction is not None or not stock.lines:
        return dict.fromkeys(stock.trains, direction or "both")
    try:
        layout = Layout(stock)
    except GradehaulError:  # what is wrong with its track is nothing to the hill
        return dict.fromkeys(stock.trains, "both")
    found: dict[str, Direction] = {}
    routes = {route.name: route for route in layout.routes}
    for train in stock.trains.values():
        found[train.name] = "both"
        if train.route in routes:
            profile = layout.profile(routes[train.route])
            share = profile.climb / max(profile.climb + profile.fall, _HAIR)
            found[train.name] = (
                "up" if share > _ONE_WAY else "down" if profile.fall > 0 and share < 1 - _ONE_WAY else "both"
            )
    return found


def car_length(stock: Plan) -> float:
    """Return the length of the longest car or locomotive, m; where there is none, that of a long car of the scale."""
    own = [car.length for car in stock.cars.values()] + [loco.length for loco in stock.locos.values()]
    return max(own, default=LONGEST_CAR / stock.scale.ratio)


def usual_vertical_curve(change: _Length, stock: Plan) -> _Length:
    """Return the usual length of vertical curve, m, for a change of grade, a plain ratio; whole steps, upward.

    It is a car length for each 1 % (common practice: one car, or a foot).
    """
    return steps_of(stock.unit).upward(100 * change * car_length(stock))


class HillLine(NamedTuple):
    """A line of the hill: its name, its tracks as the text of a plan, its ends, and the way up on it."""

    name: str
    tracks: tuple[str, ...]
    foot: str = "Foot"
    top: str = "Top"
    route: str = UP
    beside: Meters | None = None
    """How far left of the first line it begins, m, where there are two."""


@dataclass(frozen=True, eq=False)
class Hill:
    """A hill as a plan, read back from its own text, so that what is said of it is what `check` says of the file.

    `runs` has for each train of the stock the trains of the plan that stand for it: one that goes up, and one that goes
    down, under its name with `` down`` where both do.
    """

    text: str
    runs: Mapping[str, tuple[str, ...]]

    @cached_property
    def plan(self) -> Plan:
        """The plan."""
        return read_plan(self.text, file="hill.toml")

    @cached_property
    def layout(self) -> Layout:
        """The plan with all that answers rest on."""
        return Layout(self.plan)

    @cached_property
    def check(self) -> CheckAnswer:
        """The whole answer of `check` for it."""
        return check_layout(self.layout)


def length_text(value: float, unit: str) -> str:
    """Return a length as a plan has it, bare in its unit.

    Examples
    --------
    >>> length_text(0.6096, "in"), length_text(1 / 3, "in"), length_text(1 / 3, "mm")
    ('24', '13.12335958005', '333.3333333333')
    """
    return f"{convert(value, unit):.13g}"


def hill_of(
    stock: Plan,
    title: str,
    lines: Sequence[HillLine],
    rise: float,
    vertical_curve: float,
    remarks: Sequence[str],
    directions: Mapping[str, Direction],
    deck: Deck,
) -> Hill:
    """Return a hill as a plan with the stock of another: its trains go up on the first line, and down on the last."""
    unit = stock.unit
    parts = [f"# {remark}" for remark in remarks]
    size: Mapping[str, object] = {"ratio": stock.scale.ratio, "gauge": f"{1000 * stock.scale.gauge:.10g} mm"}
    scale = size if stock.scale.name.startswith("1:") else stock.scale.name
    parts += table_written("", {"title": title, "scale": scale, "unit": unit, "practice": stock.practice})[1:]
    parts += ["", "[railhead]"]
    for line in lines:
        parts += [f"{key_written(line.foot)} = 0", f"{key_written(line.top)} = {length_text(rise, unit)}"]
    parts += ["", "[vertical_curve]", f"length = {length_text(vertical_curve, unit)}"]
    layers = [
        f"{each.name} = {length_text(thickness, unit)}"
        for each in fields(deck)
        if (thickness := getattr(deck, each.name)) is not None
    ]
    parts += ["", "[deck]", *layers] if layers else []
    for line in lines:
        parts += table_written(f"[line.{line.name}]", {"from": line.foot, "to": line.top})
        parts += [] if line.beside is None else [f"at = [0, {length_text(line.beside, unit)}]"]
        parts += ["track = [", *(f"  {{ {track} }}," for track in line.tracks), "]"]
        parts += table_written(f"[route.{key_written(line.route)}]", {"from": line.foot, "to": line.top})
    trains: list[NamedTrain] = []
    runs: dict[str, tuple[str, ...]] = {}
    for train in stock.trains.values():
        up, down = replace(train, route=UP), replace(train, route=DOWN)
        way = directions[train.name]
        if way == "both":
            downward = f"{train.name} down"
            down = replace(down, name=f"{downward} hill" if downward in stock.trains else downward)
        own = {"up": [up], "down": [down], "both": [up, down]}[way]
        trains += own
        runs[train.name] = tuple(each.name for each in own)
    if any(train.route == DOWN for train in trains):
        parts += table_written(f"[route.{DOWN}]", {"from": lines[-1].top, "to": lines[-1].foot})
    parts += stock_text(stock, trains)
    return Hill("\n".join(parts).lstrip("\n") + "\n", runs)


# The stock as the text of a plan


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
