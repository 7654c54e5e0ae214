"""Risers along a walk: where each stands, how tall to cut it, and the block that makes a level read level there."""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from gradehaul.design.deck import assumed_layers, structure_of
from gradehaul.design.risers.below import PARALLEL, TrackBelow, tracks_below
from gradehaul.design.risers.walk import Walk
from gradehaul.errors import DesignError
from gradehaul.haulage.stretches import grade_stretches
from gradehaul.plan.records import Plan
from gradehaul.quantities import INCH, ON_RULER, System, describe
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Meters, Radians
from gradehaul.scales import clear_height, track_centers
from gradehaul.track.map.plane import many_points
from gradehaul.track.piecewise import FloatArray

LEVEL = {"metric": 0.6, "imperial": 24 * INCH}
"""Length of a usual level, m (common practice)."""
_MOST = 1000
_BESIDE = 2.0
"""Tracks within so many track centers stand on one deck."""
_NEAR_BY = 0.005
"""How closely the walk is followed to find the place one turn before, m."""
_FINE = 1e-5
"""How closely tracks beside are followed, m."""
_LEVEL_STEP = 0.001
"""How closely a curve is followed to see where a level lies on it, m."""
_ONE_POST = 0.01
"""Places nearer to one another, m, have one riser."""

RiserReason = Literal["spacing", "end", "joint", "deck", "grade"]
"""Why a riser stands where it does: evenly spaced, at an end of the walk, at a joint of the track or of the deck, or
where a change of grade begins or ends."""


@dataclass(frozen=True, slots=True)
class RiserBuild:
    """What lies between railhead and riser, and from where heights count, all in m.

    `datum` is the height of the plan's 0 over the floor or joists that risers stand on, negative where the plan counts
    from below them; None where heights count from the plan's 0.
    """

    deck: Meters
    roadbed: Meters
    track: Meters
    rule: Meters
    level: Meters
    datum: Meters | None = None
    assumed: tuple[str, ...] = ()
    """The layers whose thickness nobody stated."""

    @property
    def structure(self) -> Meters:
        """Track, roadbed and deck together, m."""
        return self.deck + self.roadbed + self.track


@dataclass(frozen=True, slots=True)
class TrackBeside:
    """A track that runs beside at a riser: how far to the left, m, negative to the right, and its railhead, m."""

    line: str
    offset: Meters
    railhead: Meters


@dataclass(frozen=True, slots=True)
class Riser:
    """A riser, lengths in m: its place along the walk, the railhead there and its top, to cut by the rule."""

    KEYS: ClassVar[str] = (
        "number reason joint track at after railhead top cut residual change turned per_turn block low_end on_deck "
        "below_track=below.track below_apart=below.apart below_clear=below.clear block_fits=below.fits beside"
    )

    number: int
    reason: RiserReason
    at: Meters
    joint: str
    """The joint before it."""
    after: Meters
    """How far it stands behind that joint."""
    track: str
    railhead: Meters
    top: Meters
    """Exact height of its top, under track, roadbed and deck, over the datum."""
    cut: Meters
    """The height as the rule shows it, rounded by itself."""
    change: Meters | None
    """By how much it is higher than the riser before, both as the rule shows them."""
    turned: Radians
    """How far the walk has turned up to it, to the left where positive."""
    per_turn: Meters | None
    """By how much its railhead is higher than that one whole turn before, where that lies below it; else None."""
    block: Meters | None
    """Thickness of the block under the low end of the level; None where the level is too long to lie on the track."""
    low_end: str
    """Where that end lies: behind, ahead, or neither where the track is level."""
    below: TrackBelow | None
    """The track below that a post to the floor would go through or stand too near to, else None."""
    beside: tuple[TrackBeside, ...]

    @property
    def residual(self) -> Meters:
        """By how much the cut is too high, m."""
        return self.cut - self.top

    @property
    def on_deck(self) -> Meters | None:
        """From the top of the deck of track below it up to its own top; None where no track is below."""
        return None if self.below is None else self.below.room


@dataclass(frozen=True, slots=True, eq=False)
class Risers(AnswerRecord):
    """The risers of a walk, in order."""

    HEAD: ClassVar[str] = "plan=title"
    KEYS: ClassVar[str] = (
        "along=walk.name walk.length every from=begin build.deck build.roadbed build.track build.datum build.rule "
        "build.level longest_level below risers"
    )

    walk: Walk
    build: RiserBuild
    every: Meters
    begin: Meters
    risers: tuple[Riser, ...]

    @property
    def below(self) -> tuple[int, ...]:
        """The numbers of risers that stand over track of any line, which a post would go through."""
        return tuple(riser.number for riser in self.risers if riser.below is not None)

    @property
    def longest_level(self) -> Meters | None:
        """The longest level that lies on the track at every riser, where the one that was stated is too long."""
        halves = np.arange(_LEVEL_STEP, min(self.build.level, self.walk.length), _LEVEL_STEP)
        longest = []
        for riser in self.risers:
            if riser.block is None:
                own, chords = _chords(self.walk, riser.at, halves)
                longest.append(float(chords[chords >= own].max(initial=0.0)))
        return min(longest, default=None)

    @property
    def title(self) -> str:
        """The plan's."""
        return self.walk.layout.plan.title


def usual_riser_build(plan: Plan, system: System, **stated: float | None) -> RiserBuild:
    """Return what lies on risers: the plan's deck, a system's usual rule and level, but for what is stated."""
    usual: dict[str, float | None] = structure_of(plan)._asdict()
    usual |= {"rule": ON_RULER[system], "level": LEVEL[system]}
    usual |= {name: value for name, value in stated.items() if value is not None}
    for name in ("rule", "level"):
        value = usual[name]
        if value is not None and value <= 0:
            found = describe(value, "length", plan.unit)
            raise DesignError(f"{name} must be more than 0", place=f"--{name}", found=found)
    assumed = tuple(name for name in assumed_layers(plan.deck) if stated.get(name) is None)
    return RiserBuild(**usual, assumed=assumed)  # type: ignore[arg-type]


def riser_places(
    walk: Walk, *, every: float, begin: float = 0.0, deck_joints: Sequence[float] = ()
) -> list[tuple[float, RiserReason]]:
    """Return where risers stand along a walk, m, and why.

    The first stands at `begin`; others at the end, at joints of the track and of the deck, where a change of grade
    begins and ends, and evenly spaced. Of two places within 10 mm of one another the one named first here is kept.
    Track that a route runs over again has its risers from the first time.
    """
    changes = [each.start for each in grade_stretches(walk.railhead)]
    sources: Sequence[tuple[RiserReason, Sequence[float]]] = (
        ("spacing" if begin > 0.0 else "end", [begin]),
        ("end", [walk.length]),
        ("joint", [at for at, _ in walk.joints]),
        ("deck", deck_joints),
        ("grade", changes),
        ("spacing", np.arange(begin, walk.length + 1e-9, every).tolist()),
    )
    found: list[tuple[float, RiserReason]] = []
    for reason, places in sources:
        for at in places:
            if any(start - _ONE_POST < at < stop + _ONE_POST for start, stop, first in walk.again if first >= begin):
                continue
            near = bisect_left(found, (at - _ONE_POST,))
            if at >= begin and (near == len(found) or found[near][0] >= at + _ONE_POST):
                insort(found, (at, reason))
    return found


def risers_along(
    walk: Walk, build: RiserBuild, *, every: float, begin: float = 0.0, deck_joints: Sequence[float] = ()
) -> Risers:
    """Return the risers of a walk, where `riser_places` has them.

    Raises
    ------
    DesignError
        A distance of 0 or less, or longer than the walk; a start or a joint that is not on it; too many risers; or a
        riser that would end at the datum or below.
    """
    _refuse(walk, every, begin, deck_joints)
    places = riser_places(walk, every=every, begin=begin, deck_joints=deck_joints)
    return Risers(walk, build, every, begin, risers_at(walk, build, places))


def risers_at(walk: Walk, build: RiserBuild, where: Sequence[tuple[float, RiserReason]]) -> tuple[Riser, ...]:
    """Return the risers that stand at places of a walk, m, in order.

    The railhead is that of `check`. Each height is rounded to the rule by itself, so that errors never add up. The
    two ends of the level lie over the rail, as far along it from the riser: on a curve of radius R the level L spans an
    arc of 2 R asin(L / 2R), and none where L is more than 2 R. Near the ends of the walk it is moved to lie on it.

    Raises
    ------
    DesignError
        A riser that would end at the datum or below.

    Examples
    --------
    >>> from gradehaul.design.risers.walk import walk_along
    >>> from gradehaul.haulage.answers.layout import Layout
    >>> from gradehaul.plan import load_plan
    >>> layout = Layout(load_plan("plans/first-hill.toml"))
    >>> build = RiserBuild(0.012, 0.005, 0.005, rule=0.0005, level=0.6, datum=0.9)
    >>> (riser,) = risers_at(walk_along(layout), build, [(3.0, "spacing")])
    >>> round(riser.railhead, 4), round(riser.cut, 4), round(riser.block, 4), riser.low_end
    (0.0319, 0.91, 0.0171, 'behind')
    """
    places = np.array([at for at, _ in where])
    railheads = walk.railhead.at(np.minimum(places, walk.length))
    beside = list(_beside(walk, places, railheads))
    turned, per_turn = _turns(walk, places)
    below = list(tracks_below(walk, places, build.structure, build.deck))
    tops = railheads - build.structure + (build.datum or 0.0)
    cuts = (np.round(tops / build.rule) * build.rule).tolist()
    if build.datum is not None:
        _refuse_sunk(walk, build, tops, cuts)
    found: list[Riser] = []
    for index, ((at, reason), cut) in enumerate(zip(where, cuts, strict=True)):
        joint_at, joint = walk.joint_before(at)
        found.append(
            Riser(
                index + 1,
                reason,
                at,
                joint,
                at - joint_at,
                walk.track_at(at).name,
                float(railheads[index]),
                float(tops[index]),
                cut,
                cut - cuts[index - 1] if index else None,
                turned[index],
                per_turn[index],
                *_block(walk, at, build.level),
                below[index],
                beside[index],
            )
        )
    return tuple(found)


def _described(walk: Walk, length: float) -> str:
    return describe(length, "length", walk.layout.plan.unit)


def _refuse(walk: Walk, every: float, begin: float, deck_joints: Sequence[float]) -> None:
    if every <= 0:
        raise DesignError(
            "the spacing must be more than 0", place="--every", found=_described(walk, every), write='--every "16 in"'
        )
    if every > walk.length:
        found = f"{_described(walk, every)} on {_described(walk, walk.length)}"
        raise DesignError(f"this is longer than {walk.name}", place="--every", found=found, write="a shorter distance")
    if not 0 <= begin <= walk.length:
        found = f"{_described(walk, begin)} on {_described(walk, walk.length)}"
        raise DesignError(f"the first riser must stand on {walk.name}", place="--from", found=found)
    for at in deck_joints:
        if not 0 <= at <= walk.length:
            found = f"{_described(walk, at)} on {_described(walk, walk.length)}"
            raise DesignError(f"a deck joint must lie on {walk.name}", place="--deck-joint", found=found)
    if (walk.length - begin) / every > _MOST:
        raise DesignError(f"at most {_MOST} risers in one answer", place="--every", found=_described(walk, every))


def _refuse_sunk(walk: Walk, build: RiserBuild, tops: FloatArray, cuts: Sequence[float]) -> None:
    """Refuse a datum that leaves nothing to cut."""
    sunk = next((number for number, cut in enumerate(cuts) if cut <= 0), None)
    if sunk is not None and build.datum is not None:
        railhead = _described(walk, tops[sunk] - build.datum + build.structure)
        least = build.datum + 0.5 * build.rule - float(tops.min())
        raise DesignError(
            f"riser {sunk + 1}, railhead {railhead}, would be cut to {_described(walk, cuts[sunk])}",
            place="--datum",
            found=_described(walk, build.datum),
            write=f"more than {describe(least, 'length', walk.layout.plan.unit, 6)}",
        )


def _block(walk: Walk, at: float, level: float) -> tuple[float | None, str]:
    """Return the block under the low end of a level over a riser, m, and where that end lies.

    Over a summit the level rests on that, and the block is under the end farther from it, toward which it would tip.
    """
    halves, chords = _chords(walk, at, np.arange(0.5 * level, min(level, walk.length), _LEVEL_STEP))
    reaches = np.flatnonzero(chords >= level - 1e-9)
    if not reaches.size:
        return None, ""
    last = int(reaches[0])
    half = float(
        halves[last] if last == 0 else np.interp(level, chords[last - 1 : last + 1], halves[last - 1 : last + 1])
    )
    start, stop = _between(walk, at, np.array([half]))[:, 0].tolist()
    under = walk.railhead.restrict(start, stop)
    top = under.greatest()
    behind, ahead = top.value - walk.railhead(start), top.value - walk.railhead(stop)
    if max(behind, ahead) < 1e-6:
        return 0.0, ""
    over_summit = min(behind, ahead) >= 1e-6
    first = top.at - start > stop - top.at if over_summit else behind > ahead
    return (behind, "behind") if first else (ahead, "ahead")


def _between(walk: Walk, at: float, halves: FloatArray) -> FloatArray:
    """Return both ends of stretches round a place by half their lengths, moved to lie on the walk, m."""
    behind = np.clip(at - halves, 0.0, walk.length - 2 * halves)
    return np.stack([behind, np.minimum(behind + 2 * halves, walk.length)])


def _chords(walk: Walk, at: float, halves: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return half the lengths of stretches round a place, those that the walk has room for, and their chords, m."""
    halves = halves[halves <= 0.5 * walk.length + 1e-9]
    behind, ahead = (walk.places(ends)[0] for ends in _between(walk, at, halves))
    return halves, np.abs(ahead - behind)


def _turns(walk: Walk, places: FloatArray) -> tuple[list[float], list[float | None]]:
    """Return how far the walk has turned at places, rad, and how much higher they are than one whole turn before, m."""
    samples = np.linspace(0.0, walk.length, max(int(walk.length / _NEAR_BY), 2))
    headings = walk.places(samples)[1]
    turned = walk.places(places)[1] - headings[0]
    wide = walk.layout.plan.scale.stock_width
    rises: list[float | None] = []
    for at, angle in zip(places.tolist(), turned.tolist(), strict=True):
        off = np.abs(angle - (headings - headings[0])) - 2 * math.pi
        before = np.flatnonzero((off >= -1e-9) & (samples < at))
        if not before.size:
            rises.append(None)
            continue
        last = int(before[-1])
        share = off[last] / (off[last] - off[last + 1])  # between two samples the heading runs all but evenly
        below = samples[last] + share * (samples[last + 1] - samples[last])
        here, there = walk.places([at, below])[0]
        over = abs(here - there) < wide
        rises.append(float(walk.railhead(at) - walk.railhead(below)) if over else None)
    return turned.tolist(), rises


def _beside(walk: Walk, places: FloatArray, railheads: FloatArray) -> Iterator[tuple[TrackBeside, ...]]:
    """Yield for each riser the tracks of other lines that run beside it, near enough and about as high."""
    from shapely import LineString, Point, STRtree

    layout = walk.layout
    plan, positions = layout.plan, layout.alignment.positions
    reach = _BESIDE * track_centers(plan.scale, plan.practice)[0]
    high = 0.5 * clear_height(plan.scale, plan.practice)
    own = {plan.tracks[way.track].line for way in walk.ways}
    frame = positions.tracks[walk.ways[0].track].frame
    others = [
        track for track in plan.tracks.values() if track.line not in own and positions.tracks[track.id].frame == frame
    ]
    if not others or not positions.usable(frame):
        yield from (() for _ in places)
        return
    lines = [
        LineString(many_points([layout.alignment.tracks[t.id].sections], [positions.tracks[t.id].start], _FINE)[2])
        for t in others
    ]
    tree = STRtree(lines)
    spots, headings, _ = walk.places(places)
    for spot, heading, railhead in zip(spots.tolist(), headings.tolist(), railheads.tolist(), strict=True):
        point = Point(spot.real, spot.imag)
        found: dict[str, TrackBeside] = {}
        for index in sorted(tree.query(point, predicate="dwithin", distance=reach).tolist()):
            line, track = lines[index], others[index]
            along = line.project(point)
            near, on = line.interpolate(along), line.interpolate(min(along + 0.001, line.length))
            back = line.interpolate(max(along - 0.001, 0.0))
            way = complex(on.x - back.x, on.y - back.y)
            off = complex(near.x, near.y) - spot
            ahead = complex(math.cos(heading), math.sin(heading))
            if abs((way * ahead.conjugate()).real) < PARALLEL * abs(way):
                continue
            if not 1e-6 < along < line.length - 1e-6 and abs((off * ahead.conjugate()).real) > 1e-3:
                continue  # it ends before the riser
            height = float(layout.alignment.tracks[track.id].railhead(min(along, track.length)))
            offset = (off * ahead.conjugate()).imag
            if abs(offset) > 0.5 * plan.scale.gauge and abs(height - railhead) < high:
                found.setdefault(track.line, TrackBeside(track.line, offset, height))
        yield tuple(found.values())
