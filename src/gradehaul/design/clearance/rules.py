"""What clearances are judged by: figures of the standards and of common practice, each with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, ClassVar, Literal

from gradehaul.design.deck import assumed_layers, stated_thickness, structure_of
from gradehaul.errors import DesignError
from gradehaul.plan.records import Plan
from gradehaul.quantities import INCH, describe
from gradehaul.quantities.si import Meters
from gradehaul.scales import clear_height
from gradehaul.track.proximity.spacing import Spacing, longest_stock, spacing_of

ClearanceOutcome = Literal["pass", "look", "fail"]
OUTCOMES: tuple[ClearanceOutcome, ...] = ("pass", "look", "fail")
"""From the best to the worst."""
TIE = 1e-9
"""What is so little under a bound, as a share, is exact on paper."""
HAIR = 5e-5
"""Room of which less than this is wanting, m, passes: it is rounding, and no builder lays track closer."""
Rule = Literal["vertical room", "side room", "radius", "change of grade", "reverse curve", "string-lining"]

_MOST_GAUGES = 50
"""Decks and couplers are at most so many gauges."""


@dataclass(frozen=True, slots=True)
class Allowances:
    """Deck with roadbed and track, m, wire and the line's height over it, coupler height, m, and trains to judge.

    None is as the plan states it, else assumed; without trains every one that is named is judged. `clear` is the clear
    height that the builder wants, m: less of it fails, and less than the standard's is to be looked at.
    """

    structure: Meters | None = None
    wire: bool = False
    overhead: Meters | None = None
    coupler: Meters | None = None
    trains: tuple[str, ...] = ()
    clear: Meters | None = None


USUAL_ALLOWANCES = Allowances()
"""The allowances where nothing is stated."""


@dataclass(frozen=True, slots=True)
class Finding:
    """One judgment: values and bounds are lengths, m, of which more is better, or a `share`, of which less is better.

    Beyond `least` it fails, from `wanted` on it passes. Tracks go by their names in the plan; `at` is where
    on the track, m from its start in its line's direction. For a train that is where its head is, and `head_at` the
    same place on its route, m. Room of which only `hair` is wanting passes. It comes out no better than `best` and no
    worse than `worst`, whatever the figures.
    """

    KEYS: ClassVar[str] = (
        "number rule outcome track at other_track=other other_at onto along train head_at *figures words source"
    )

    rule: Rule
    track: str
    at: Meters
    value: float
    wanted: float
    least: float
    source: str
    share: bool = False
    other: str | None = None
    other_at: Meters | None = None
    onto: str | None = None
    """The track that a way through a turnout or crossing goes on to, where one place has several ways."""
    words: str = ""
    train: str | None = None
    head_at: Meters | None = None
    number: int = 0
    """Its place among all, the worst first."""
    hair: Meters = 0.0
    best: ClearanceOutcome = "pass"
    worst: ClearanceOutcome = "fail"
    short: tuple[Meters, Meters] = (0.0, 0.0)
    """How much of the track passes another with less room than `wanted`, and than `least`."""

    @property
    def along(self) -> Meters | None:
        """How much of the track comes out so as it passes another; None where it passes, and for what is a place."""
        return self.short[OUTCOMES.index(self.outcome) - 1] or None if self.outcome != "pass" else None

    @property
    def outcome(self) -> ClearanceOutcome:
        """Whether it passes, needs a look or fails."""
        reached = self.value * (1 + TIE) + self.hair
        if self.share:
            number = (self.value >= self.wanted) + (self.value >= self.least)
        else:
            number = (reached < self.wanted) + (reached < self.least)
        return OUTCOMES[min(max(number, OUTCOMES.index(self.best)), OUTCOMES.index(self.worst))]

    @property
    def figures(self) -> Mapping[str, float]:
        """The value and its two bounds by their keys in a document, in m or as plain ratios."""
        unit = "share" if self.share else "m"
        return {f"value_{unit}": self.value, f"passes_{unit}": self.wanted, f"fails_{unit}": self.least}


@dataclass(frozen=True, slots=True)
class Standard:
    """The figures for one plan, m; `longest` is the longest stock over couplers, None where there is none."""

    KEYS: ClassVar[str] = (
        "clear_height=height clear_height_wanted=clear clear_height_source=height_source deck deck_assumed "
        "overhead_line=overhead overhead_line_assumed=overhead_assumed track_centers=spacing.straight "
        "track_centers_source=spacing.straight_source curve_centers_source=spacing.curve_source "
        "fouling_distance=spacing.fouling stock_group=spacing.group spacing.stock_class longest_stock=longest "
        "coupler_height=coupler"
    )

    printed_height: Meters
    """The clear height of the standard."""
    clear: Meters | None
    """The one that is wanted."""
    printed_source: str
    deck: Meters
    """Thickness of deck, roadbed and track."""
    deck_stated: Meters
    """As much of it as is stated."""
    assumed_layers: tuple[str, ...]
    """Which of the three are not."""
    overhead: Meters
    """Height of the overhead line above its lowest wire; 0 without wire."""
    overhead_assumed: bool
    spacing: Spacing
    longest: Meters | None
    coupler: Meters
    coupler_source: str

    @property
    def height(self) -> Meters:
        """Clear height: the greater of the standard's and the one that is wanted."""
        return max(self.printed_height, self.least_clear)

    @property
    def least_clear(self) -> Meters:
        """The clear height that is wanted, else the standard's; m."""
        return self.printed_height if self.clear is None else self.clear

    @property
    def height_source(self) -> str:
        """Where it is from."""
        return self.printed_source if self.height == self.printed_height else f"as wanted, over {self.printed_source}"

    @property
    def deck_assumed(self) -> bool:
        """Whether any of the deck's thickness is assumed."""
        return bool(self.assumed_layers)

    @property
    def wanted_height(self) -> Meters:
        """Railhead over railhead from which on it passes, m."""
        return self.height + self.overhead + self.deck

    @property
    def least_height(self) -> Meters:
        """Railhead over railhead under which it fails, m; what is assumed does not count."""
        overhead = 0.0 if self.overhead_assumed else self.overhead
        return self.least_clear + overhead + self.deck_stated


@cache
def figures() -> Mapping[str, Any]:
    """Return the table of figures."""
    return tomllib.loads(files("gradehaul.design.clearance").joinpath("clearances.toml").read_text(encoding="utf-8"))


def standard_of(plan: Plan, allowances: Allowances) -> Standard:
    """Return the figures that hold for a plan.

    Raises
    ------
    DesignError
        A deck or a coupler height out of range.
    PlanError
        No practice has a clear height for the scale.
    """
    table, scale = figures(), plan.scale
    if allowances.overhead is not None and not allowances.wire:
        raise DesignError("it has an effect under wire only", place="--overhead", write="--wire beside it")
    _refuse(allowances, plan)
    if allowances.wire:
        if scale.wire_height is None:
            raise DesignError("no standard has a height under wire for this scale", place="--wire", write="no --wire")
        height, field = scale.wire_height, "wire_height"
    else:
        height = clear_height(scale, plan.practice)
        field = "nmra_clear_height" if height == scale.nmra_clear_height else "clear_height"
    source = scale.source(field)
    overhead = 0.0
    if allowances.wire:
        overhead = table["overhead"]["full_size"] / scale.ratio if allowances.overhead is None else allowances.overhead
        source += f"; overhead line: {table['overhead']['source' if allowances.overhead is None else 'rule']}"
    structure, couplers = allowances.structure, table["coupler"]
    full_size = scale.gauge * scale.ratio
    widest = next(each for each in couplers["gauges"] if full_size <= each["up_to"])
    return Standard(
        printed_height=height,
        clear=allowances.clear,
        printed_source=source,
        deck=structure_of(plan).total if structure is None else structure,
        deck_stated=stated_thickness(plan.deck) if structure is None else structure,
        assumed_layers=assumed_layers(plan.deck) if structure is None else (),
        overhead=overhead,
        overhead_assumed=allowances.wire and allowances.overhead is None,
        spacing=spacing_of(plan),
        longest=longest_stock(plan),
        coupler=widest["inches"] * INCH / scale.ratio if allowances.coupler is None else allowances.coupler,
        coupler_source=couplers["source"] if allowances.coupler is None else "as stated",
    )


def _refuse(allowances: Allowances, plan: Plan) -> None:
    """Refuse lengths out of range."""
    most = _MOST_GAUGES * plan.scale.gauge
    for name, what in (
        ("clear", "the clear height wanted"),
        ("structure", "the thickness of deck, roadbed and track"),
        ("overhead", "the height of the overhead line over its lowest wire"),
        ("coupler", "the height of the coupler over the railhead"),
    ):
        value = getattr(allowances, name)
        if (value is not None and not 0 <= value <= most) or (name == "coupler" and value == 0):
            least = "more than 0" if name == "coupler" else "from 0"
            wrong = f"{what} is {least} to {describe(most, 'length', plan.unit)}"
            raise DesignError(wrong, place=f"--{name}", found=describe(value, "length", plan.unit))
