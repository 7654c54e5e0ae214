"""A hill that is not built yet as a plan: its text, its stock, and what the exact engine says of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Literal

from gradehaul.design.climb.steps import steps_of
from gradehaul.design.climb.stock_text import stock_text
from gradehaul.errors import DesignError, RouteError
from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.bench.benched import with_bench
from gradehaul.haulage.resistance import curve_coefficient
from gradehaul.plan.names import key_text, look_up, quoted
from gradehaul.plan.rail_condition import CLEAN, conditions
from gradehaul.plan.reader import load_plan, read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.toml import parse, read_text
from gradehaul.quantities import convert, length_unit
from gradehaul.scales import Practice, scale_named

Need = Literal["climbs", "marginal"]
"""What is asked of a train: that it gets through even if its wheels slip, or only as long as they never do."""

UP = "Up"
"""The route over the hill, from its foot to its top."""

CAR_LENGTHS_PER_PERCENT = 1.0
"""Car lengths of vertical curve for each 1 % of change of grade (common practice: one car, or a foot)."""

LONGEST_CAR = 26.5
"""Longest car where no stock is given, m at full size: a foot in HO, which common practice takes as a car length."""


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
        No scale, or another than the file's; a unit or a practice beside a plan that has its own.
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
    head = f'title = "stock"\nscale = {quoted(scale_named(scale, option="--scale").name)}\n'
    if practice is not None:
        head += f"practice = {quoted(practice)}\n"
    if unit is not None:
        head += f"unit = {quoted(length_unit(unit))}\n"
    if path is None:
        return read_plan(head, file="stock")
    return read_plan(f"{head}include = [{quoted(Path(path).name)}]\n", file="stock", folder=Path(path).parent)


def coefficient_of(stock: Plan) -> float:
    """Return the curve coefficient, m, by the model that the stock's plan asks for, or as its readings give it."""
    return curve_coefficient(with_bench(stock).curve_resistance, stock.scale)


def judged_rails(stock: Plan, rail: str | None) -> tuple[str, ...]:
    """Return the rails on which a train must climb: the one asked for, else the first film's, settled and fresh.

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


def known_train(stock: Plan, train: str | None) -> str:
    """Return the train asked for, or the only one.

    Raises
    ------
    RouteError
        No train of this name, or several and none named.
    """
    if train is None and len(stock.trains) == 1:
        return next(iter(stock.trains))
    if train is not None:
        return look_up(train, stock.trains, "train", file=stock.file, place="--train").name
    write = " or ".join(f"--train {quoted(name)}" for name in stock.trains)
    write = write or "[train.NAME] in the file after --plan"
    raise RouteError("no train is named", place="--train", write=write)


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
    """Return the usual length of vertical curve, m, for a change of grade, a plain ratio; whole steps, upward."""
    return steps_of(stock.unit).upward(CAR_LENGTHS_PER_PERCENT * 100 * change * car_length(stock))


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
        """Return the whole answer of `check` for it."""
        return check_layout(self.layout)

    def stuck_on(self, train: str, rails: Sequence[str], need: Need = "climbs") -> str | None:
        """Return the rail condition that keeps a named train from getting over it, None where none of them does.

        Of several it is the one on which the train has least to spare.

        Raises
        ------
        RouteError
            A train or a rail condition that the stock does not have.
        """
        enough = ("climbs",) if need == "climbs" else ("climbs", "marginal")
        verdicts = {rail: self.layout.verdict(train, rail=rail) for rail in rails}
        stuck = [rail for rail, verdict in verdicts.items() if verdict.outcome not in enough]
        return min(stuck, key=lambda rail: verdicts[rail].margin, default=None)


def length_text(value: float, unit: str) -> str:
    """Return a length as a plan has it, bare in its unit.

    Examples
    --------
    >>> length_text(0.6096, "in"), length_text(1 / 3, "in"), length_text(1 / 3, "mm")
    ('24', '13.12335958005', '333.3333333333')
    """
    return f"{convert(value, unit):.13g}"


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
    parts += stock_text(stock, lines[0].route)
    return Hill("\n".join(parts).lstrip("\n") + "\n")
