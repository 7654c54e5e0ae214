"""Plans to start from: small invented layouts for any scale, with a word on every line that a builder will change."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from gradehaul.errors import DesignError, PlanError, QuantityError
from gradehaul.plan.names import instead, quoted
from gradehaul.quantities import convert, length_unit
from gradehaul.scales import Practice, Scale, car_mass, clear_height, scale_named

Form = Literal["hill", "helix", "branch"]

_RATIO = 87.1
"""The scale in which the lengths below are thought, HO; others follow in proportion."""
_CAR_MASS, _LOCO_MASS = 0.11, 0.34
"""Masses in that scale, kg: of a car, which grows with the square of the size, and a locomotive, with its cube."""
_CARS_HEAVY = 3.1
"""How many cars a locomotive weighs at the least."""
_STRUCTURE = 0.019
"""Track, roadbed and deck of a turn of helix, m, as `helix` assumes them."""
_REMARKS = 54
"""The column in which remarks stand behind a line."""
_GRADE = 0.022
"""The grade of the helix, about."""


@dataclass(frozen=True, slots=True)
class _Sizes:
    """The sizes of one scale as text, in the plan's unit."""

    scale: Scale
    practice: Practice
    unit: str

    def bare(self, millimeters: float) -> str:
        """Return a length that is so many millimeters in HO as a bare number of two or three digits."""
        return self.told(millimeters / 1000 * _RATIO / self.scale.ratio)

    def told(self, length: float) -> str:
        value = convert(length, self.unit)
        digits = 1 - math.floor(math.log10(value))
        rounded = round(value, digits)
        return f"{rounded:.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{rounded:.0f}"

    def mass(self, kilograms: float) -> str:
        grams = 1000 * kilograms
        digits = 1 - math.floor(math.log10(grams))
        return f"{round(grams, digits):g} g"

    @property
    def car(self) -> str:
        return self.mass(self.car_mass)

    @property
    def car_mass(self) -> float:
        """The mass of the car, kg: its practice's, or in proportion where that has none for the scale."""
        try:
            return car_mass(self.scale, 0.15 * _RATIO / self.scale.ratio, self.practice)
        except PlanError:
            return _CAR_MASS * (_RATIO / self.scale.ratio) ** 2

    @property
    def loco(self) -> str:
        return self.mass(self.loco_mass)

    @property
    def loco_mass(self) -> float:
        """The mass of the locomotive, kg: by its size, and no less than that of a few cars."""
        return max(_LOCO_MASS * (_RATIO / self.scale.ratio) ** 3, _CARS_HEAVY * self.car_mass)

    def pull(self, share: float) -> str:
        return f"{1000 * share * self.loco_mass:.3g} gf"


class _Layout(NamedTuple):
    words: str
    track: Callable[[_Sizes], str]
    route: tuple[str, str]
    cars: int


def _hill(size: _Sizes) -> str:
    return f"""\
#   Lower end ---- Lower bend ----- Upper bend ---- Upper end

[railhead]
"Lower end" = 0
"Upper end" = {size.bare(80)}

[line.Hill]
from = "Lower end"
to   = "Upper end"
track = [
  {{ straight = {size.bare(1200)}, rise = 0, berth = "Lower yard" }},   # rise = 0 is level; a train stands here
  {{ straight = {size.bare(600)} }},
  {{ name = "Lower bend", left = {size.bare(610)}, angle = 90 }},       # its hand, its radius, the angle it turns
  {{ straight = {size.bare(900)} }},
  {{ name = "Upper bend", right = {size.bare(610)}, angle = 60 }},
  {{ straight = {size.bare(600)} }},
  {{ straight = {size.bare(1200)}, rise = 0, berth = "Upper yard" }},
]
"""


def _helix(size: _Sizes) -> str:
    turn = clear_height(size.scale, size.practice) + _STRUCTURE
    rise = 3 * float(size.told(1.1 * turn))
    radius = max(turn * 1.1 / _GRADE / (2 * math.pi), 0.55 * _RATIO / size.scale.ratio)
    return f"""\
#   Lower end ---- helix of three turns ---- Upper end

[railhead]
"Lower end" = 0
"Upper end" = {rise:.6g}                        # three turns of {size.told(1.1 * turn)}: the clear height and a deck

[line.Helix]
from = "Lower end"
to   = "Upper end"
track = [
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Lower yard" }},   # rise = 0 is level; a train stands here
  {{ name = "Three turns", left = {size.told(radius)}, angle = 1080 }},
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Upper yard" }},
]
"""


def _branch(size: _Sizes) -> str:
    return f"""\
#   Lower end ---- bend ---- Branch switch ---- Upper end
#                                         +---- Quarry

[railhead]
"Lower end"     = 0
"Branch switch" = {size.bare(60)}
"Upper end"     = {size.bare(60)}
Quarry          = {size.bare(85)}

[line.Main]
from = "Lower end"
to   = "Branch switch"
track = [
  {{ straight = {size.bare(1200)}, rise = 0, berth = "Lower yard" }},   # rise = 0 is level; a train stands here
  {{ straight = {size.bare(900)} }},
  {{ name = "Main bend", left = {size.bare(660)}, angle = 90 }},        # its hand, its radius, the angle it turns
  {{ straight = {size.bare(900)} }},
  {{ straight = {size.bare(300)}, rise = 0 }},                        # level before a turnout
]

[line.Station]
from  = "Branch switch"
to    = "Upper end"
track = [ {{ straight = {size.bare(1500)}, berth = "Upper yard" }} ]

[line.Branch]
from = "Branch switch"
to   = "Quarry"
track = [
  {{ left = {size.bare(660)}, angle = 20, rise = 0 }},                  # the turnout's own leg
  {{ straight = {size.bare(900)} }},
  {{ straight = {size.bare(1200)}, rise = 0, berth = "Loading track" }},
]

[turnout."Branch switch"]
toe  = "Main"                                  # a train passes from the toe to a leg or back
legs = ["Station", "Branch"]
"""


_LAYOUTS: Mapping[Form, _Layout] = {
    "hill": _Layout("one hill between two yards", _hill, ("Lower yard", "Upper yard"), 5),
    "helix": _Layout("two levels joined by a helix of three turns", _helix, ("Lower yard", "Upper yard"), 5),
    "branch": _Layout(
        "a main line with a branch that climbs on to a quarry", _branch, ("Lower yard", "Loading track"), 4
    ),
}

FORMS: Mapping[Form, str] = {name: layout.words for name, layout in _LAYOUTS.items()}
"""What there is to start from."""


def starter(form: str, *, scale: str, unit: str, title: str) -> str:
    """Return the text of a plan to start from, which `check` runs as it stands.

    Its lengths are those of a small layout in HO, brought to the scale and rounded; its stock is invented, to be
    weighed, measured and replaced.

    Parameters
    ----------
    form
        One of `FORMS`.
    scale
        A scale of the table, such as ``HO``.
    unit
        What a bare length means; metric ones go with NEM practice, inches and feet with NMRA.
    title
        The title.

    Raises
    ------
    DesignError
        No such form.
    PlanError
        No such scale.
    QuantityError
        No such unit.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan(starter("helix", scale="N", unit="mm", title="Two levels"))
    >>> plan.scale.name, plan.unit, plan.practice, list(plan.lines), list(plan.trains)
    ('N', 'mm', 'NEM', ['Helix'], ['freight'])
    """
    import tomlkit

    layout = next((each for name, each in _LAYOUTS.items() if name == form), None)
    if layout is None:
        raise DesignError("there is no such layout", place="--layout", found=quoted(form), write=instead(form, FORMS))
    own = scale_named(scale, option="--scale")
    try:
        unit = length_unit(unit)
    except QuantityError as error:
        raise error.at(place="--unit") from error
    practice: Practice = "NMRA" if unit in ("in", "ft") else "NEM"
    size = _Sizes(own, practice, unit)
    start, end = layout.route
    return _aligned(f"""\
# {layout.words.capitalize()}, to start from: change its figures to yours. All is invented.
# Run it as it stands with: gradehaul check FILE

title    = {tomlkit.string(title).as_string()}
scale    = {quoted(own.name)}
unit     = "{unit}"                            # of bare lengths; any other is a string, as in "70 cm"
practice = "{practice}"                        # whose weights and clearances hold

# Track: heights of the railhead where you measured or decided them; between them it climbs evenly.
{layout.track(size)}
# Stock. Weigh it, and read pulls from a spring balance; what is not told is taken from common practice.

[loco.engine]
mass   = "{size.loco}"
length = {size.bare(180)}                          # over couplers
driven_wheels = 8
tyred_wheels  = 0                           # of these, how many have tyres of rubber
# [loco.engine.pull]                        # standing pull, read on level straight track, a few times
# clean           = ["{size.pull(0.235)}", "{size.pull(0.242)}"]
# "treated fresh" = "{size.pull(0.127)}"                 # on the day the film is wiped on a loose plank of track
# treated         = "{size.pull(0.153)}"                 # after a day's rest

[car.boxcar]
mass   = "{size.car}"
length = {size.bare(150)}

# Trains, and the ways they take.

[route.Up]
from = "{start}"
to   = "{end}"

[train.freight]
route   = "Up"
consist = ["engine", "{layout.cars} boxcar"]             # head to tail
""")


def _aligned(text: str) -> str:
    """Return text with the remarks behind its lines in one column."""
    lines = []
    for line in text.splitlines():
        told, mark, remark = line.partition("  #")
        lines.append(f"{told.rstrip():<{_REMARKS}}  #{remark}" if mark and told.strip() else line)
    return "\n".join(lines) + "\n"
