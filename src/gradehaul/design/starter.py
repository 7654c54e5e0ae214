"""Plans to start from: small invented layouts for any scale, with a word on every line that a builder will change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from importlib.resources import files
from typing import Literal, NamedTuple

from gradehaul.design.deck import usual_structure
from gradehaul.errors import DesignError, PlanError, QuantityError, quoted
from gradehaul.plan.names import instead
from gradehaul.quantities import convert, length_unit
from gradehaul.scales import Practice, Scale, car_mass, clear_height, scale_named

StarterForm = Literal["hill", "helix", "branch", "siding", "wye", "loop"]

_REMARKS = 54
"""The column in which remarks stand behind a line."""
_RATIO = 87.1
"""The scale in which lengths of the templates are thought, HO; others follow in proportion."""
_CAR_MASS, _LOCO_MASS = 0.11, 0.34
"""Masses in that scale, kg: of a car, which grows with the square of the size, and a locomotive, with its cube."""
_CARS_HEAVY = 3.1
"""How many cars a locomotive weighs at the least."""
_GRADE = 0.022
"""The grade of the helix, about."""


class _Layout(NamedTuple):
    """A layout to start from: what it is in words, the ends of its route, and how many cars climb it."""

    words: str
    start: str
    end: str
    cars: int


_LAYOUTS: Mapping[StarterForm, _Layout] = {
    "hill": _Layout("one hill between two yards", "Lower yard", "Upper yard", 5),
    "helix": _Layout("two levels joined by a helix of three turns", "Lower yard", "Upper yard", 5),
    "branch": _Layout("a main line with a branch that climbs on to a quarry", "Lower yard", "Loading track", 4),
    "siding": _Layout("a passing siding at the top of a hill", "Lower yard", "Passing siding", 5),
    "wye": _Layout("a wye on which trains turn, at the top of a hill", "Lower yard", "Upper track", 5),
    "loop": _Layout("a loop in which trains turn, at the top of a hill", "Lower yard", "Loop track", 5),
}

FORMS: Mapping[StarterForm, str] = {name: layout.words for name, layout in _LAYOUTS.items()}
"""What there is to start from."""


def starter(form: str, *, scale: str, unit: str, title: str) -> str:
    """Return the text of a plan to start from, one of `FORMS`, which `check` runs as it stands.

    Its lengths are those of a small layout in HO, brought to the scale and rounded; its stock is invented, to be
    weighed, measured and replaced. Bare lengths in a metric unit go with NEM practice, in inches and feet with NMRA.

    Raises
    ------
    DesignError
        No such form.
    PlanError
        No such scale.
    QuantityError
        No such unit.
    """
    import tomlkit
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    layout = next((each for name, each in _LAYOUTS.items() if name == form), None)
    if layout is None:
        raise DesignError("there is no such layout", place="--layout", found=quoted(form), write=instead(form, FORMS))
    own = scale_named(scale, option="--scale")
    try:
        unit = length_unit(unit)
    except QuantityError as error:
        raise error.at(place="--unit") from error
    practice: Practice = "NMRA" if unit in ("in", "ft") else "NEM"
    size = _RATIO / own.ratio
    car = _car_mass(own, practice)
    loco = max(_LOCO_MASS * size**3, _CARS_HEAVY * car)
    turn = 1.1 * (clear_height(own, practice) + usual_structure(own).total)
    folder = files("gradehaul.design").joinpath("starters")
    environment = Environment(  # noqa: S701 - a plan is no markup
        loader=FunctionLoader(lambda name: folder.joinpath(name).read_text(encoding="utf-8")),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
    )
    return _aligned(
        environment.get_template("plan.toml.jinja").render(
            layout._asdict(),
            form=form,
            title=tomlkit.string(title).as_string(),
            scale=own.name,
            unit=unit,
            practice=practice,
            mm=lambda millimeters: _number(millimeters / 1000 * size, unit),
            loco=_grams(loco),
            car=_grams(car),
            pull=lambda share: f"{1000 * share * loco:.3g} gf",
            turn=_number(turn, unit),
            rise=f"{3 * float(_number(turn, unit)):.6g}",
            radius=_number(max(turn / _GRADE / (2 * math.pi), 0.55 * size), unit),
        )
    )


def _number(length: float, unit: str) -> str:
    """Return a length, m, as a bare number of two or three digits."""
    value = convert(length, unit)
    digits = 1 - math.floor(math.log10(value))
    rounded = round(value, digits)
    return f"{rounded:.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{rounded:.0f}"


def _grams(mass: float) -> str:
    """Return a mass, kg, to two digits."""
    grams = 1000 * mass
    return f"{round(grams, 1 - math.floor(math.log10(grams))):g} g"


def _car_mass(scale: Scale, practice: Practice) -> float:
    """Return the mass of the car, kg: its practice's, or in proportion where that has none for the scale."""
    size = _RATIO / scale.ratio
    try:
        return car_mass(scale, 0.15 * size, practice)
    except PlanError:
        return _CAR_MASS * size**2


def _aligned(text: str) -> str:
    """Return text with the remarks behind its lines in one column."""
    lines = []
    for line in text.splitlines():
        code, mark, remark = line.partition("  #")
        lines.append(f"{code.rstrip():<{_REMARKS}}  #{remark}" if mark and code.strip() else line)
    return "\n".join(lines) + "\n"
