"""The records of a plan: what the builder wrote, checked, in SI units and frozen."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar, Literal, NamedTuple

from gradehaul.plan.bench_records import Book, State
from gradehaul.plan.consistency import check_consistent, freeze_mappings
from gradehaul.plan.rail_condition import CARRY_OVER
from gradehaul.quantities import Reading as Reading  # noqa: PLC0414 - a record of the plan too
from gradehaul.quantities.si import Hours, Kilograms, Meters, Newtons, PerMeter, Radians, Ratio, Share
from gradehaul.scales import Scale

Basis = Literal["measured", "stated", "fitted", "scaled", "assumed"]
"""Where a figure comes from: read at the bench, written by the builder, found so that a line closes, scaled from a
reading, or assumed."""

Unknown = Literal["length", "angle", "radius"]
"""A figure of a track that the builder left to be found."""

End = Literal["from", "to"]
"""One of the two ends of a line."""


class LineEnd(NamedTuple):
    """One end of one line."""

    line: str
    end: End

    @property
    def far(self) -> LineEnd:
        """The other end of the line."""
        return LineEnd(self.line, "from" if self.end == "to" else "to")

    def __str__(self) -> str:
        return f"{self.line}.{self.end}"


@dataclass(frozen=True, slots=True)
class Note:
    """Something the builder should know that is no error: where, and what."""

    KEYS: ClassVar[str] = ""

    place: str
    text: str

    def __str__(self) -> str:
        return f"{self.place}: {self.text}" if self.place else self.text


@dataclass(frozen=True, slots=True)
class Track:
    """One piece of a line with one curvature.

    `length` is the level length, m, easements of the curve included. `curvature` is 1/radius, 1/m: positive for a
    left-hand curve, 0 for a straight; for an easement track it is 0 here, since its neighbors decide. `ease` is
    the length of the easement, m, at each end of a curve. At most one of `grade` (rise over run, from the line's
    `from` to its `to`), `rise` (m) and `railhead` (m, at the far end) is given. `rail` is the rail condition the
    builder wants here, None where nothing is said.
    """

    id: str
    """``LINE:n``, counted from 1: unique in a plan."""
    name: str
    """The name it was given, else its id."""
    line: str
    number: int
    kind: Literal["straight", "curve", "easement"]
    length: Meters
    curvature: PerMeter = 0.0
    ease: Meters = 0.0
    grade: Ratio | None = None
    rise: Meters | None = None
    railhead: Meters | None = None
    rail: str | None = None
    pickup: Share = 1.0
    """How much contact matters here, beside 1 elsewhere: turnouts, yards, slow running."""
    fit: tuple[Unknown, ...] = ()
    """Figures that the builder left to be found. Until they are, the length is NaN, or the curvature infinite."""
    turn: Radians | None = None
    """The angle of a curve whose radius is to be found, radians, where it is given."""

    @property
    def open(self) -> bool:
        """Whether a figure is still to be found."""
        return bool(self.fit) and not (math.isfinite(self.length) and math.isfinite(self.curvature))

    @property
    def place(self) -> str:
        """The words that name this track in a message."""
        own = f' "{self.name}"' if self.name != self.id else ""
        return f'line "{self.line}", track {self.number}{own}'


class Parallel(NamedTuple):
    """Another line beside which a line runs, and the distance between their centers, m."""

    line: str
    distance: Meters


class Place(NamedTuple):
    """Where a line begins in the plane, m, and its heading there, radians, 0 along x."""

    x: Meters
    y: Meters
    heading: Radians


@dataclass(frozen=True, slots=True)
class Line:
    """Tracks in order between two joints; `railhead_at` has pairs of distance from `from` and height, m."""

    name: str
    start: str
    """The joint at its `from` end."""
    finish: str
    """The joint at its `to` end."""
    tracks: tuple[Track, ...]
    railhead_at: tuple[tuple[Meters, Meters], ...] = ()
    runs: Literal["both", "forward", "backward"] = "both"
    place: Place | None = None
    """Where its `from` end lies, where that is stated, as for a line from a drawing; else it is calculated."""
    parallel: Parallel | None = None
    """Beside which line its middle lies, where figures of it are to be found; the rest lies as its tracks have it."""

    @property
    def length(self) -> Meters:
        """Level length of the line, m; NaN while a figure of it is to be found."""
        return sum(track.length for track in self.tracks)

    @property
    def open(self) -> bool:
        """Whether a figure of a track is still to be found."""
        return any(track.open for track in self.tracks)

    def joint(self, end: End) -> str:
        """Return the joint at one end."""
        return self.start if end == "from" else self.finish


@dataclass(frozen=True, slots=True)
class Joint:
    """A named point where lines meet or end, and the moves that a train can make through it.

    `through` holds the pairs of line ends between which a train passes without reversing, each pair once; `slips`
    those among them that lead from one line of a crossing to the other.
    """

    name: str
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    ends: tuple[LineEnd, ...]
    through: tuple[tuple[LineEnd, LineEnd], ...] = ()
    length: Meters | None = None
    """Length of a turntable's bridge, m, where it was stated."""
    slips: tuple[tuple[LineEnd, LineEnd], ...] = ()

    @property
    def tangents(self) -> tuple[tuple[LineEnd, LineEnd], ...]:
        """The pairs of line ends that continue one another as tangents, so that positions can be carried across.

        The angle of a crossing, through which its slips turn, is not known, nor how the lines of a turntable stand.
        """
        return () if self.kind == "table" else tuple(pair for pair in self.through if pair not in self.slips)


@dataclass(frozen=True, slots=True)
class Berth:
    """Track where a train or a cut of cars is meant to stand: consecutive tracks of one line.

    `clear` is the usable length the builder stated, m, or None.
    """

    name: str
    line: str
    tracks: tuple[str, ...]
    """Track ids in the line's order."""
    clear: Meters | None = None


@dataclass(frozen=True, slots=True)
class MapStart:
    """Where the drawing starts: a joint, its position, m, and the heading there, radians, 0 along x."""

    joint: str
    x: Meters = 0.0
    y: Meters = 0.0
    heading: Radians = 0.0


@dataclass(frozen=True, slots=True)
class CurveResistance:
    """How curve resistance is calculated; which fields count depends on `model`."""

    model: Literal["degree", "wheelbase", "coefficient"] = "degree"
    wheelbase: Meters | None = None
    """Rigid wheelbase, m, for `wheelbase`."""
    friction: Share | None = None
    """Friction of the model's own wheel on its rail, for `wheelbase`."""
    coefficient: Meters | None = None
    """Equivalent grade times radius, m, for `coefficient`."""
    starting: Share | None = None
    """Curve resistance when starting over that when running, 1 or more; None where it is not stated, taken as 1."""
    tension: Share = 0.0
    """Effective friction of flanges that coupler tension presses against the rail; 0 leaves it out."""
    spread: Meters | None = None
    """Standard error of a coefficient that was worked out from readings, m."""
    least: Share = 1.0
    """What the lower of readings that contradict come to, over the coefficient: counts where curves help."""
    doubts: tuple[Doubt, ...] = ()
    """What of these readings is doubtful, and what of them counts."""


@dataclass(frozen=True, slots=True)
class KeptShare:
    """Share of the clean pull kept on a film, on the day (`fresh`) and after a rest (`settled`)."""

    fresh: Share
    settled: Share


@dataclass(frozen=True, slots=True)
class Film:
    """A rail condition other than clean: the shares of the clean pull that metal and tyred wheels keep."""

    name: str
    metal: KeptShare
    tyred: KeptShare
    basis: Basis = "stated"


@dataclass(frozen=True, slots=True)
class PredictedPull:
    """A standing pull that a fit to the readings of other locomotives predicts, N.

    `own` is how far this locomotive may differ from others alike, one standard deviation; `shared` is what an error of
    one standard deviation in each of the two directions of the fit's coefficients does to it, and is common to all that
    the fit on that rail predicts. All are known with `freedom` degrees of freedom.
    """

    value: Newtons
    own: Newtons
    shared: tuple[Newtons, Newtons]
    rail: str
    freedom: int


@dataclass(frozen=True, slots=True)
class Doubt:
    """What is doubtful of some readings and which of them count, in words, and how far the mean depends on it."""

    KEYS: ClassVar[str] = "text share"

    text: str
    share: Share
    """By what share of the mean that counts the other differs."""

    def __str__(self) -> str:
        return self.text


CarFigure = Literal["rolling", "starting"]
CarDoubts = Mapping[CarFigure, tuple[Doubt, ...]]


@dataclass(frozen=True, slots=True)
class WorkedOut:
    """What a pull at an age of a film comes from, where it is not simply the mean of what was read: basis and words."""

    basis: Basis
    how: str
    between: tuple[Hours, Hours, Hours] | None = None
    """Where an age lies between two that were read, without a curve: both, and the one of them whose pull counts."""


@dataclass(frozen=True, slots=True)
class Loco:
    """A locomotive: masses in kg, length over couplers in m, readings in N by rail condition.

    Conditions are named ``clean``, ``FILM`` (settled) and ``FILM fresh``. `on_drivers` is the mass carried by the
    driven wheels, `on_tyres` the part of it carried by tyred wheels.
    """

    name: str
    title: str
    mass: Kilograms
    length: Meters
    on_drivers: Kilograms
    on_tyres: Kilograms = 0.0
    pull: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    slipping: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    predicted: Mapping[str, PredictedPull] = field(default_factory=dict)
    """Standing pulls of a locomotive that was never measured, from the readings of others, by rail condition."""
    worked_out: Mapping[str, WorkedOut] = field(default_factory=dict)
    """By rail condition, where those of `pull` and `slipping` that are not as read come from."""
    doubts: Mapping[tuple[State, str], tuple[Doubt, ...]] = field(default_factory=dict)
    """By state and rail condition, what of the readings is doubtful, and what of it counts."""

    def __post_init__(self) -> None:
        freeze_mappings(self)


@dataclass(frozen=True, slots=True)
class Power:
    """Locomotives that work together; `together` is the share of the sum of their pulls that they give."""

    name: str
    locos: tuple[str, ...]
    together: Share
    basis: Basis


@dataclass(frozen=True, slots=True)
class Car:
    """A car: mass in kg, length over couplers in m, resistances as pull per unit of weight."""

    name: str
    mass: Kilograms
    length: Meters
    rolling: Reading
    starting: Reading
    mass_basis: Basis = "stated"
    rolling_basis: Basis = "stated"
    starting_basis: Basis = "stated"
    rolling_drop: Share = 0.0
    """How much lower its rolling resistance is by the lower of readings that contradict: counts where it helps."""
    doubts: CarDoubts = field(default_factory=dict)
    """What of the readings of each of its resistances is doubtful, and what of it counts."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A number of equal vehicles in a row of a consist: cars, locomotives or powers, by name."""

    name: str
    count: int


@dataclass(frozen=True, slots=True)
class NamedTrain:
    """A train the builder wants to run; `together` is None where the consist's own rule holds."""

    name: str
    route: str
    consist: tuple[Cut, ...]
    """From head to tail."""
    together: Share | None = None


@dataclass(frozen=True, slots=True)
class NamedRoute:
    """A route the builder asks about: between two places, or round a lap of lines in running order."""

    name: str
    origin: str = ""
    destination: str = ""
    via: tuple[str, ...] = ()
    lap: tuple[str, ...] = ()
    reversals: int = 0
    run_round: tuple[str, ...] = ()
    """Berths in which the locomotives run round the train where it reverses there."""


@dataclass(frozen=True, slots=True)
class Deck:
    """What lies between the railhead and the underside of a deck, m; None where it is not stated."""

    thickness: Meters | None = None
    roadbed: Meters | None = None
    track: Meters | None = None
    """Height of rail and ties."""


@dataclass(frozen=True, slots=True)
class Survey:
    """A hill that stands: pairs of distance along a line and railhead there, m, in the order of the file.

    `reading` is the error of one reading (one standard deviation), `grade` what was meant, `shim` the largest
    correction allowed, `step` the smallest that can be read, `deck` the thickness that a shim must not go through; None
    where nothing is said.
    """

    name: str
    heights: tuple[tuple[Meters, Meters], ...]
    reading: Meters | None = None
    grade: Ratio | None = None
    shim: Meters | None = None
    step: Meters | None = None
    deck: Meters | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A whole plan. Mappings keep the order of the file, are keyed by name, and cannot be changed.

    A copy changed with `dataclasses.replace` is checked as a file is; what does not hold raises `Problems`.
    """

    file: str
    title: str
    scale: Scale
    unit: str
    """The unit in which the builder's bare lengths read, e.g. ``in``."""
    practice: Literal["NMRA", "NEM"]
    railhead: Mapping[str, Meters]
    """Given heights of joints, m."""
    lines: Mapping[str, Line]
    joints: Mapping[str, Joint]
    berths: Mapping[str, Berth]
    map: MapStart | None
    vertical_curve: Meters
    """Length of the rounding at each change of grade, m; 0 for none."""
    curve_resistance: CurveResistance
    films: Mapping[str, Film]
    locos: Mapping[str, Loco]
    powers: Mapping[str, Power]
    """Every locomotive alone, under its own name, and every declared power."""
    cars: Mapping[str, Car]
    trains: Mapping[str, NamedTrain]
    routes: Mapping[str, NamedRoute]
    book: Book = field(default_factory=Book)
    """What was read at the bench and tried on the layout."""
    notes: tuple[Note, ...] = ()
    doubts: tuple[Note, ...] = ()
    """Further notes, to be seen before any answer."""
    surveys: Mapping[str, Survey] = field(default_factory=dict)
    carry_over: Meters = CARRY_OVER
    """How far wheels carry a film onto clean rail, m."""
    carry_basis: Basis = "assumed"
    deck: Deck = Deck()
    kink: Radians = 0.0
    """The break of direction over which an import was to join what it read, 0 where it was given none."""

    def __post_init__(self) -> None:
        freeze_mappings(self)
        check_consistent(self)

    @property
    def tracks(self) -> dict[str, Track]:
        """Every track by its id, in the order of the file."""
        return {track.id: track for line in self.lines.values() for track in line.tracks}
