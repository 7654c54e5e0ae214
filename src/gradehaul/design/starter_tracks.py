"""The track of the plans to start from: small invented layouts, in sizes for any scale and unit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, NamedTuple

from gradehaul.errors import PlanError
from gradehaul.quantities import convert
from gradehaul.scales import Practice, Scale, car_mass, clear_height

Form = Literal["hill", "helix", "branch", "siding", "wye", "loop"]

_RATIO = 87.1
"""The scale in which the lengths below are thought, HO; others follow in proportion."""
_CAR_MASS, _LOCO_MASS = 0.11, 0.34
"""Masses in that scale, kg: of a car, which grows with the square of the size, and a locomotive, with its cube."""
_CARS_HEAVY = 3.1
"""How many cars a locomotive weighs at the least."""
_STRUCTURE = 0.019
"""Track, roadbed and deck of a turn of helix, m, as `helix` assumes them."""
_GRADE = 0.022
"""The grade of the helix, about."""


@dataclass(frozen=True, slots=True)
class Sizes:
    """The sizes of one scale as text, in the plan's unit."""

    scale: Scale
    practice: Practice
    unit: str

    def bare(self, millimeters: float) -> str:
        """Return a length that is so many millimeters in HO as a bare number of two or three digits."""
        return self.number(millimeters / 1000 * _RATIO / self.scale.ratio)

    def number(self, length: float) -> str:
        """Return a length, m, as a bare number of two or three digits."""
        value = convert(length, self.unit)
        digits = 1 - math.floor(math.log10(value))
        rounded = round(value, digits)
        return f"{rounded:.{max(digits, 0)}f}".rstrip("0").rstrip(".") if digits > 0 else f"{rounded:.0f}"

    def mass(self, kilograms: float) -> str:
        """Return a mass to two digits."""
        grams = 1000 * kilograms
        digits = 1 - math.floor(math.log10(grams))
        return f"{round(grams, digits):g} g"

    @property
    def car(self) -> str:
        """The mass of the car."""
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
        """The mass of the locomotive."""
        return self.mass(self.loco_mass)

    @property
    def loco_mass(self) -> float:
        """The mass of the locomotive, kg: by its size, and no less than that of a few cars."""
        return max(_LOCO_MASS * (_RATIO / self.scale.ratio) ** 3, _CARS_HEAVY * self.car_mass)

    def pull(self, share: float) -> str:
        """Return a pull that is a share of the locomotive's weight."""
        return f"{1000 * share * self.loco_mass:.3g} gf"


class StarterLayout(NamedTuple):
    """A layout to start from: what it is in words, its track, the ends of its route, and how many cars climb it."""

    words: str
    track: Callable[[Sizes], str]
    route: tuple[str, str]
    cars: int


def _hill(size: Sizes) -> str:
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


def _helix(size: Sizes) -> str:
    turn = clear_height(size.scale, size.practice) + _STRUCTURE
    rise = 3 * float(size.number(1.1 * turn))
    radius = max(turn * 1.1 / _GRADE / (2 * math.pi), 0.55 * _RATIO / size.scale.ratio)
    return f"""\
#   Lower end ---- helix of three turns ---- Upper end

[railhead]
"Lower end" = 0
"Upper end" = {rise:.6g}                        # three turns of {size.number(1.1 * turn)}: the clear height and a deck

[line.Helix]
from = "Lower end"
to   = "Upper end"
track = [
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Lower yard" }},   # rise = 0 is level; a train stands here
  {{ name = "Three turns", left = {size.number(radius)}, angle = 1080 }},
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Upper yard" }},
]
"""


def _branch(size: Sizes) -> str:
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


def _approach(size: Sizes, end: str, height: float) -> str:
    """Return the line that climbs from the lower yard to where a figure of lines begins."""
    return f"""\
[railhead]
"Lower end" = 0
"{end}" = {size.bare(height)}

[line.Main]
from = "Lower end"
to   = "{end}"
track = [
  {{ straight = {size.bare(1200)}, rise = 0, berth = "Lower yard" }},   # rise = 0 is level; a train stands here
  {{ straight = {size.bare(900)} }},
  {{ name = "Main bend", left = {size.bare(660)}, angle = 90 }},        # its hand, its radius, the angle it turns
  {{ straight = {size.bare(900)} }},
  {{ straight = {size.bare(300)}, rise = 0 }},                        # level before a turnout
]
"""


def _siding(size: Sizes) -> str:
    return f"""\
#                                 +---- Siding -----+
#   Lower end ---- bend ---- West switch ---- East switch ---- Upper end

{_approach(size, "West switch", 60)}
[line.Station]
from  = "West switch"
to    = "East switch"
track = [ {{ straight = {size.bare(2400)}, rise = 0 }} ]

[line.Siding]
from  = "West switch"
to    = "East switch"
berth = "Passing siding"
parallel = {size.bare(60)}                       # how far beside the station track its middle lies
track = [                                      # "fit": found so that the siding closes; gradehaul fit shows it
  {{ left = {size.bare(900)}, angle = 12 }},
  {{ straight = "fit" }},
  {{ right = {size.bare(900)}, angle = 12 }},
  {{ straight = "fit" }},
  {{ right = {size.bare(900)}, angle = 12 }},
  {{ straight = "fit" }},
  {{ left = {size.bare(900)}, angle = 12 }},
]

[line."Upper yard"]
from  = "East switch"
to    = "Upper end"
track = [
  {{ straight = {size.bare(300)}, rise = 0 }},
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Upper track" }},
]

[turnout."West switch"]
toe  = "Main"                                  # a train passes from the toe to a leg or back
legs = ["Station", "Siding"]
[turnout."East switch"]
toe  = "Upper yard"
legs = ["Station", "Siding"]
"""


def _wye(size: Sizes) -> str:
    return f"""\
#   Lower end ---- bend ---- West switch ---- East switch ---- Upper end
#                                   \\           /
#                                    Tail switch ---- Tail end

{_approach(size, "West switch", 60)}
[line."Wye main"]
from  = "West switch"
to    = "East switch"
track = [ {{ straight = {size.bare(1500)}, rise = 0 }} ]

[line."West leg"]
from  = "West switch"
to    = "Tail switch"
track = [ {{ left = {size.bare(660)}, angle = 90, rise = 0 }}, {{ straight = {size.bare(200)}, rise = 0 }} ]

[line."East leg"]
from  = "East switch"
to    = "Tail switch"
track = [                                      # "fit": found so that the wye closes; gradehaul fit shows it
  {{ straight = "fit" }},
  {{ right = {size.bare(660)}, angle = "fit" }},
  {{ straight = "fit" }},
]

[line.Tail]
from  = "Tail switch"
to    = "Tail end"
track = [ {{ straight = {size.bare(1500)}, rise = 0, berth = "Tail track" }} ]

[line."Upper yard"]
from  = "East switch"
to    = "Upper end"
track = [
  {{ straight = {size.bare(300)}, rise = 0 }},
  {{ straight = {size.bare(1500)}, rise = 0, berth = "Upper track" }},
]

[turnout."West switch"]
toe  = "Main"                                  # a train passes from the toe to a leg or back
legs = ["Wye main", "West leg"]
[turnout."East switch"]
toe  = "Upper yard"
legs = ["Wye main", "East leg"]
[turnout."Tail switch"]
toe  = "Tail"
legs = ["West leg", "East leg"]
"""


def _loop(size: Sizes) -> str:
    return f"""\
#   Lower end ---- bend ---- Loop switch ---- loop, and back to the switch

{_approach(size, "Loop switch", 60)}
[line.Loop]
from  = "Loop switch"
to    = "Loop switch"
track = [                                      # "fit": found so that the loop closes; gradehaul fit shows it
  {{ left = {size.bare(660)}, angle = 50 }},
  {{ straight = "fit" }},
  {{ right = {size.bare(660)}, angle = 140, berth = "Loop track" }},
  {{ right = {size.bare(660)}, angle = "fit" }},
  {{ straight = "fit" }},
  {{ left = {size.bare(660)}, angle = 50 }},
]

[turnout."Loop switch"]
toe  = "Main"                                  # a train passes from the toe to a leg or back
legs = ["Loop.from", "Loop.to"]                # both ends of one line
"""


LAYOUTS: Mapping[Form, StarterLayout] = {
    "hill": StarterLayout("one hill between two yards", _hill, ("Lower yard", "Upper yard"), 5),
    "helix": StarterLayout("two levels joined by a helix of three turns", _helix, ("Lower yard", "Upper yard"), 5),
    "branch": StarterLayout(
        "a main line with a branch that climbs on to a quarry", _branch, ("Lower yard", "Loading track"), 4
    ),
    "siding": StarterLayout("a passing siding at the top of a hill", _siding, ("Lower yard", "Passing siding"), 5),
    "wye": StarterLayout("a wye on which trains turn, at the top of a hill", _wye, ("Lower yard", "Upper track"), 5),
    "loop": StarterLayout("a loop in which trains turn, at the top of a hill", _loop, ("Lower yard", "Loop track"), 5),
}
