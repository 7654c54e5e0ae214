"""A hill that is not built yet as a plan: its text, its stock, and what the exact engine says of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal

from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.check import CheckAnswer, check_layout
from gradehaul.haulage.layout import Layout
from gradehaul.plan.names import key_text, quoted
from gradehaul.plan.reader import load_plan, read_plan
from gradehaul.plan.records import Car, Film, Loco, NamedTrain, Plan, Power
from gradehaul.plan.toml import parse, read_text
from gradehaul.quantities import Reading, convert, length_unit
from gradehaul.scales import Practice, scale_named

UP = "Up"
"""The route over the hill, from its foot to its top."""

Need = Literal["climbs", "marginal"]
"""What is asked of a train: that it gets through even if its wheels slip, or only as long as they never do."""

CAR_LENGTHS_PER_PERCENT = 1.0
"""Car lengths of vertical curve for each 1 % of change of grade (common practice: one car, or a foot)."""

LONGEST_CAR = 26.5
"""Longest car where no stock is given, m at full size: a foot in HO, which common practice takes as a car length."""

MILLIMETER = 1e-3
ROUNDING = 1e-6
"""A length so little over a whole number of millimeters, in millimeters, is whole."""


def stock_of(path: str | None, *, scale: str | None, unit: str | None, practice: Practice | None = None) -> Plan:
    """Return the plan whose stock a design is for: a whole plan, or a file with stock alone.

    Parameters
    ----------
    path
        The file; None for no stock.
    scale
        The scale's name; None where the file has one, which holds then.
    unit
        The unit of bare lengths; None for the file's own, else that of the practice.
    practice
        Whose clearances and weights apply; None for the file's own, else NMRA.

    Raises
    ------
    DesignError
        No scale, or another than the file's.
    GradehaulError
        The file cannot be used.

    Examples
    --------
    >>> stock_of(None, scale="HO", unit="in").scale.ratio
    87.1
    """
    data = {} if path is None else parse(read_text(Path(path), path), path)
    if path is not None and "scale" in data:
        plan = load_plan(path)
        if scale is not None and scale_named(scale).name != plan.scale.name:
            raise DesignError(
                f"the stock is of scale {plan.scale.name}", place="--scale", found=scale, write="stock of this scale"
            )
        return plan
    if scale is None:
        raise DesignError(
            "the scale is missing", place="--scale", write="--scale HO, or --plan with a plan that has one"
        )
    head = f'title = "stock"\nscale = {quoted(scale_named(scale).name)}\n'
    if practice is not None:
        head += f"practice = {quoted(practice)}\n"
    if unit is not None:
        head += f"unit = {quoted(length_unit(unit))}\n"
    if path is None:
        return read_plan(head, file="stock")
    return read_plan(f"{head}include = [{quoted(Path(path).name)}]\n", file="stock", folder=Path(path).parent)


def car_length(stock: Plan) -> float:
    """Return the length of the longest car or locomotive, m; where there is none, that of a long car of the scale.

    Examples
    --------
    >>> round(car_length(stock_of(None, scale="HO", unit=None)), 3)
    0.304
    """
    own = [car.length for car in stock.cars.values()] + [loco.length for loco in stock.locos.values()]
    return max(own, default=LONGEST_CAR / stock.scale.ratio)


def usual_vertical_curve(change: float, stock: Plan) -> float:
    """Return the usual length of vertical curve, m, for a change of grade, a plain ratio; whole millimeters, upward."""
    return MILLIMETER * math.ceil(CAR_LENGTHS_PER_PERCENT * 100 * change * car_length(stock) / MILLIMETER - ROUNDING)


@dataclass(frozen=True, slots=True)
class HillLine:
    """A line of the hill: its name, its tracks as the text of a plan, and the heights of its two ends, m."""

    name: str
    tracks: tuple[str, ...]
    rise: float
    foot: str = "Foot"
    top: str = "Top"
    route: str = UP


@dataclass(frozen=True, eq=False)
class Hill:
    """A hill as a plan, read back from its own text, so that what is said of it is what `check` says of the file."""

    text: str

    @cached_property
    def plan(self) -> Plan:
        """The plan."""
        return read_plan(self.text, file="hill.toml")

    @cached_property
    def layout(self) -> Layout:
        """The plan with all that answers rest on."""
        return Layout(self.plan)

    def check(self) -> CheckAnswer:
        """Return all that `check` tells of it."""
        return check_layout(self.layout)

    def carries(self, train: str, rail: str, need: Need = "climbs") -> bool:
        """Tell whether a named train gets over it on a rail condition.

        Raises
        ------
        RouteError
            A train or a rail condition that the stock does not have.
        """
        outcome = self.layout.verdict(train, rail=rail).outcome
        return outcome == "climbs" or (need == "marginal" and outcome == "marginal")


def known_train(stock: Plan, train: str | None) -> str:
    """Return the train asked for, or the only one.

    Raises
    ------
    RouteError
        No train of this name, or several and none named.
    """
    if train is None and len(stock.trains) == 1:
        return next(iter(stock.trains))
    if train is not None and train in stock.trains:
        return train
    write = " or ".join(f"--train {quoted(name)}" for name in stock.trains) or "[train.NAME] in the file after --plan"
    raise RouteError(
        "no train is named" if train is None else "the stock has no such train",
        place="--train",
        found="" if train is None else quoted(train),
        write=write,
    )


def length_text(value: float, unit: str) -> str:
    """Return a length as a plan has it: bare in its unit, or whole millimeters where these tell it shorter.

    Examples
    --------
    >>> length_text(0.6096, "in"), length_text(0.592, "in"), length_text(1 / 3, "in")
    ('24', '"592 mm"', '13.12335958005')
    """
    own, metric = f"{convert(value, unit):.13g}", f"{convert(value, 'mm'):.13g}"
    return own if len(own) <= max(6, len(metric)) or len(metric) > 9 else f'"{metric} mm"'


def hill_of(stock: Plan, title: str, lines: Sequence[HillLine], vertical_curve: float, remarks: Sequence[str]) -> Hill:
    """Return a hill as a plan with the stock of another."""
    unit = stock.unit
    parts = [f"# {remark}" for remark in remarks]
    scale = (
        f"{{ ratio = {stock.scale.ratio!r}, gauge = {quoted(f'{1000 * stock.scale.gauge:.10g} mm')} }}"
        if stock.scale.name.startswith("1:")
        else quoted(stock.scale.name)
    )
    parts += ["", f"title = {quoted(title)}", f"scale = {scale}", f"unit = {quoted(unit)}"]
    parts += [f"practice = {quoted(stock.practice)}", "", "[railhead]"]
    for line in lines:
        parts += [f"{key_text(line.foot)} = 0", f"{key_text(line.top)} = {length_text(line.rise, unit)}"]
    parts += ["", "[vertical_curve]", f"length = {length_text(vertical_curve, unit)}"]
    for line in lines:
        parts += ["", f"[line.{key_text(line.name)}]", f"from = {quoted(line.foot)}", f"to = {quoted(line.top)}"]
        parts += ["track = [", *(f"  {{ {track} }}," for track in line.tracks), "]"]
        parts += ["", f"[route.{key_text(line.route)}]", f"from = {quoted(line.foot)}", f"to = {quoted(line.top)}"]
    parts += _stock_text(stock, lines[0].route)
    return Hill("\n".join(parts).lstrip("\n") + "\n")


def _stock_text(stock: Plan, route: str) -> list[str]:
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
    for train in stock.trains.values():
        parts += _train_text(train, route)
    return parts


def _bends_text(stock: Plan) -> list[str]:
    bends = stock.curve_resistance
    if bends.model == "degree":
        return []
    parts = ["", "[curve_resistance]", f"model = {quoted(bends.model)}"]
    if bends.wheelbase is not None:
        parts.append(f"wheelbase = {_metric(bends.wheelbase)}")
    if bends.friction is not None:
        parts.append(f"friction = {bends.friction!r}")
    if bends.coefficient is not None:
        parts.append(f"coefficient = {_metric(bends.coefficient)}")
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


def _train_text(train: NamedTrain, route: str) -> list[str]:
    cuts = ", ".join(quoted(f"{cut.count} {cut.name}" if cut.count > 1 else cut.name) for cut in train.consist)
    parts = ["", f"[train.{key_text(train.name)}]", f"route = {quoted(route)}", f"consist = [{cuts}]"]
    return parts if train.together is None else [*parts, f"together = {train.together!r}"]


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


def least_step(passes: Callable[[int], bool], low: int, high: int, *, looks: int = 24) -> int | None:
    """Return a number of steps that passes while one step less fails, the first found from below; None without one.

    Equally spaced looks find the first that passes, and halving the gap below it does the rest. Where passing is not
    monotone a shorter stretch that passes between two looks can be missed; what is returned still passes.

    Parameters
    ----------
    passes
        The test.
    low, high
        The range, both ends in it.
    looks
        How many places to look at first.

    Examples
    --------
    >>> least_step(lambda k: k >= 437, 1, 1000)
    437
    >>> least_step(lambda k: False, 1, 1000) is None
    True
    """
    if passes(low):
        return low
    step = max(1, -(-(high - low) // looks))
    places = [*range(low, high, step), high]
    passing: int | None = next((place for place in places[1:] if passes(place)), None)
    if passing is None:
        return None
    failing = places[places.index(passing) - 1]
    while passing - failing > 1:
        middle = (passing + failing) // 2
        passing, failing = (middle, failing) if passes(middle) else (passing, middle)
    return passing


__all__ = [
    "Hill",
    "HillLine",
    "Need",
    "car_length",
    "hill_of",
    "known_train",
    "least_step",
    "length_text",
    "stock_of",
    "usual_vertical_curve",
]
