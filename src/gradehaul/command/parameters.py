"""Types of parameters: a plan, quantities read in its unit, and its names, each looked up or completed in a shell."""

from __future__ import annotations

import errno
import os
import re
from collections.abc import Callable, Iterable
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from gradehaul.errors import DesignError, GradehaulError, QuantityError

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan
    from gradehaul.quantities import Kind

    ParamType = click.ParamType[Any]
else:
    ParamType = click.ParamType  # which takes no type before click 8.3

_LONGEST, _SHORTEST = 1e4, 1e-6
"""Lengths on a command line, m."""
_STOCK = "gradehaul.stock"
_BY = re.compile(r"\s+(?:x|by|×)\s+", re.IGNORECASE)


def load(path: str) -> Plan:
    """Return the plan in a file."""
    from gradehaul.plan import load_plan

    try:
        if Path(path).is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        return load_plan(path)
    except OSError as error:
        raise OSError(error.errno, f"cannot be read: {error.strerror or error}", error.filename or path) from error


def plan_of(ctx: click.Context) -> Plan:
    """Return the plan on the line, or the stock for which a design is, read once."""
    plan = _given(ctx, "plan") or ctx.meta.get(_STOCK)
    if plan is None:
        from gradehaul.design.climb.hill import stock_of

        head = {name: _given(ctx, name) for name in ("scale", "unit", "practice")}
        plan = ctx.meta[_STOCK] = stock_of(_given(ctx, "stock"), **head)
    found: Plan = plan
    return found


def _given(ctx: click.Context, name: str) -> Any:  # noqa: ANN401 - as click has it
    """Return a parameter's value as far as it is read; click 8.3 has a member of an enumeration where it is not."""
    value = ctx.params.get(name)
    return None if isinstance(value, Enum) else value


def option_of(param: click.Parameter | None) -> str:
    """Return what a parameter is called on the line."""
    if param is None:
        return ""
    return param.human_readable_name if isinstance(param, click.Argument) else max(param.opts, key=len)


class PlanFile(ParamType):
    """The file of a plan, read before all other parameters, which may name what stands in it."""

    name = "plan"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Plan:  # noqa: ANN401 - as click has it
        """Return the plan."""
        del param, ctx
        plan: Plan = load(value) if isinstance(value, str) else value
        return plan

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Leave files to the shell."""
        del ctx, param
        return [CompletionItem(incomplete, type="file")]


class Quantity(ParamType):
    """A quantity in SI units, under 0 where `signed`; a bare length is in the plan's unit."""

    def __init__(self, kind: Kind, *, signed: bool = True) -> None:
        self.kind, self.name, self.signed = kind, kind, signed

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401 - as click has it
        """Return its SI value."""
        from gradehaul.quantities import read_quantity

        if isinstance(value, float):
            return value
        option = option_of(param)
        unit = plan_of(ctx).unit if self.kind == "length" and ctx is not None else None
        try:
            found = read_quantity(value.strip(), self.kind, unit=unit)
        except QuantityError as error:
            raise error.at(place=option) from error
        if self.kind == "length" and abs(found) > _LONGEST:
            raise QuantityError("too long for any railroad", place=option, found=value)
        if self.kind == "length" and 0 < abs(found) < _SHORTEST:
            raise QuantityError("too short for any railroad", place=option, found=value)
        if not self.signed and found < 0:
            raise DesignError(f"{option.lstrip('-').replace('-', ' ')} must be 0 or more", place=option, found=value)
        return found


LENGTH, GRADE, SHARE, ANGLE = Quantity("length"), Quantity("grade"), Quantity("share"), Quantity("angle")
THICKNESS = Quantity("length", signed=False)


class Floor(ParamType):
    """A floor by one side or two, m."""

    name = "floor"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[float, float]:  # noqa: ANN401 - as click has it
        """Return its two sides."""
        sides = [LENGTH.convert(side, param, ctx) for side in _BY.split(value.strip())]
        if len(sides) > 2:
            raise DesignError("a floor has two sides", place="--floor", found=value, write='"48 in x 60 in"')
        return sides[0], sides[-1]


class Completed(ParamType):
    """A name in the plan, which a shell completes: of what may be written, all that begins like what is there."""

    name = "name"

    def __init__(self, candidates: Callable[[Plan, str], Iterable[str]]) -> None:
        self.candidates = candidates

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Return what begins like what is there; nothing where no plan on the line can be read."""
        del param
        try:
            # Behind an option without its value, click has not yet taken in what stands before it.
            path = next((word for word in ctx.args if word.lower().endswith(".toml")), None)
            names = self.candidates(load(path) if path else plan_of(ctx), incomplete)
        except (GradehaulError, OSError):
            return []
        return [CompletionItem(name) for name in names if name.casefold().startswith(incomplete.casefold())]


def _rails(plan: Plan, _incomplete: str) -> Iterable[str]:
    from gradehaul.plan.rail_condition import conditions

    return conditions(plan.films)


def _routes_and_places(plan: Plan, incomplete: str) -> Iterable[str]:
    """Return the routes, the places at both ends of ``FROM..TO``, and the trains, which have a route."""
    places = [*plan.berths, *plan.joints]
    origin, dots, _ = incomplete.partition("..")
    if dots:
        return [f"{origin}..{place}" for place in places if place != origin]
    return [*plan.routes, *(f"{place}.." for place in places), *plan.trains]


def _vehicles(plan: Plan, incomplete: str) -> Iterable[str]:
    """Return the vehicles, behind the number that is there; any has no number."""
    from gradehaul.haulage.answers.trial_train import ANY

    count = re.match(r"\d+ +", incomplete)
    before = count[0] if count else ""
    return [f"{before}{name}" for name in (*plan.powers, *plan.cars, *([] if before else [ANY, *plan.trains]))]


RAIL, ROUTE = Completed(_rails), Completed(lambda plan, _: plan.routes)
ROUTE_OR_PLACES, VEHICLE = Completed(_routes_and_places), Completed(_vehicles)


class Name(Completed):
    """A name that the plan declares, of a kind of thing."""

    def __init__(self, kind: str) -> None:
        super().__init__(lambda plan, _: getattr(plan, f"{kind}s"))
        self.kind = kind

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:  # noqa: ANN401 - as click has it
        """Return the name."""
        from gradehaul.plan.names import look_up

        if ctx is not None:
            plan = plan_of(ctx)
            look_up(value, getattr(plan, f"{self.kind}s"), self.kind, file=plan.file, place=option_of(param))
        name: str = value
        return name


class Height(Completed):
    """A place on the rail and a height there, m, as ``PLACE=HEIGHT``."""

    name = "PLACE=HEIGHT"

    def __init__(self) -> None:
        super().__init__(_places_with_heights)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, float]:  # noqa: ANN401 - as click has it
        """Return the two."""
        from gradehaul.errors import quoted

        place, sign, height = value.rpartition("=")
        if not sign:
            wrong, example = "write the place, =, and a height", f'{option_of(param)} "Bridge = 4 in"'
            raise DesignError(wrong, place=option_of(param), found=quoted(value), write=example)
        return place.strip(), LENGTH.convert(height, param, ctx)


def _places_with_heights(plan: Plan, _incomplete: str) -> Iterable[str]:
    """Return the joints, and tracks whose ends have heights of their own."""
    tracks = (name for name, track in plan.tracks.items() if track.railhead is not None)
    return [f"{place}=" for place in (*plan.joints, *tracks)]
