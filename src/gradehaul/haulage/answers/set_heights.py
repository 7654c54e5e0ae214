"""Railheads that are tried in the place of the plan's: what yields to them, what stays, and what each moves."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from gradehaul.errors import GradehaulError, PlanError, Problems, QuantityError, RouteError, quoted
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads, keys_of, tried
from gradehaul.plan.given_heights import FigureKey, PutAside, key_at, put_aside, without_figures
from gradehaul.plan.names import instead, nearest
from gradehaul.plan.records import Line, Plan, Track
from gradehaul.quantities import describe, read_quantity
from gradehaul.quantities.si import Meters
from gradehaul.track.alignment import Alignment
from gradehaul.track.fit import fitted
from gradehaul.track.heights.railhead import Contrary, contrary_loops, refuse_steep, solve_railheads
from gradehaul.track.heights.vertical import round_grades
from gradehaul.track.piecewise import PiecewiseQuadratic

_MEANT = 2e-3
"""A height that the plan has this near, m, is the one that is meant: a screen shows its place rounded."""
_OPTION = "--set"
_LEVEL = 1e-9
"""A rise that is no more is level track, m."""


@dataclass(frozen=True, slots=True)
class HeldHeight:
    """A height that the plan gives next to one that is set: beyond it, grades are as before."""

    line: str
    at: Meters
    """How far it is from the line's `from`."""
    joint: str | None
    """The joint there, where it is one."""
    railhead: Meters


class _Spot(NamedTuple):
    """A place along a line, m from its `from`."""

    line: str
    at: float


def with_heights(plan: Plan, heights: Mapping[str, float]) -> tuple[Plan, tuple[HeldHeight, ...], tuple[PutAside, ...]]:
    """Return a plan with other railheads, the heights beside them that hold, and the figures that were put aside.

    A railhead, m, goes by its joint; by a track, for the end of that; or by ``LINE@DISTANCE``, from the line's `from`.
    It takes the place of what the plan has there, and wins over what else contradicts it: see `give_way`.

    Raises
    ------
    RouteError
        No such place.
    PlanError
        A distance that cannot be read, or is not on its line.
    """
    if not heights:
        return plan, (), ()
    plan = fitted(plan)
    spots = {_spot(plan, name): height for name, height in heights.items()}
    for spot, height in spots.items():
        plan = _with_height(plan, spot, height)
    won = [("joint", spot) if isinstance(spot, str) else key_at(spot.line, spot.at) for spot in spots]
    plan, aside = give_way(plan, won)
    return plan, _held(plan, spots), tuple(aside.values())


def _spot(plan: Plan, name: str) -> str | _Spot:
    """Return the joint or the place along a line that is called so."""
    if name in plan.joints:
        return name
    line, sign, distance = (part.strip() for part in name.rpartition("@"))
    if track := _track(plan, name):
        return _on_line(plan, track, track.length)
    if sign and line in plan.lines:
        return _on_line(plan, plan.lines[line].tracks[0], _distance(plan, distance))
    known = [*plan.joints, *plan.tracks]
    near = nearest(line, plan.lines) if sign else nearest(name, [*known, *plan.lines])
    if near is None:
        write = instead(name, [*known, *(f"{each}@DISTANCE" for each in plan.lines)], guess=False)
    else:
        write = quoted(near if near in known and not sign else f"{near}@{distance if sign else 'DISTANCE'}")
    wrong = "the plan has no joint, track or LINE@DISTANCE of this name"
    raise RouteError(wrong, file=plan.file, place=_OPTION, found=quoted(name), write=write)


def _track(plan: Plan, name: str) -> Track | None:
    """Return the track of an id, or of a name that no other has."""
    named = [track for track in plan.tracks.values() if track.name == name]
    return plan.tracks.get(name, named[0] if len(named) == 1 else None)


def _distance(plan: Plan, text: str) -> float:
    try:
        return read_quantity(text.strip(), "length", unit=plan.unit)
    except QuantityError as error:
        raise error.at(file=plan.file, place=_OPTION) from error


def _on_line(plan: Plan, track: Track, at: float) -> str | _Spot:
    """Return a place at a distance from the start of a track: the height that stands there, or the joint."""
    line = plan.lines[track.line]
    at += sum(each.length for each in line.tracks[: track.number - 1])
    if not -_MEANT <= at <= line.length + _MEANT:
        found = f"{describe(at, 'length', plan.unit)} on a line of {describe(line.length, 'length', plan.unit)}"
        raise PlanError("the distance must lie on the line", file=plan.file, place=_OPTION, found=found)
    if at <= _MEANT:
        return line.start
    if at >= line.length - _MEANT:
        return line.finish
    near = min((place for place, _ in _heights_along(line)), key=lambda place: abs(place - at), default=at)
    return _Spot(line.name, near if abs(near - at) <= _MEANT else at)


def _heights_along(line: Line) -> Iterator[tuple[float, float]]:
    """Yield the heights that a line gives: how far from its `from`, and the railhead, m."""
    end = 0.0
    for track in line.tracks:
        end += track.length
        if track.railhead is not None:
            yield end, track.railhead
    yield from line.railhead_at


def _with_height(plan: Plan, spot: str | _Spot, height: float) -> Plan:
    """Return a plan with one height at a place, instead of any that it has there."""
    if isinstance(spot, _Spot):
        line = _without_height(plan.lines[spot.line], spot.at)
        line = replace(line, railhead_at=tuple(sorted([*line.railhead_at, (spot.at, height)])))
        return replace(plan, lines={**plan.lines, line.name: line})
    lines = dict(plan.lines)
    for name, line in plan.lines.items():
        for joint, at in ((line.start, 0.0), (line.finish, line.length)):
            if joint == spot:
                lines[name] = _without_height(lines[name], at)
    return replace(plan, railhead={**plan.railhead, spot: height}, lines=lines)


def _without_height(line: Line, at: float) -> Line:
    """Return a line without the height that it has at a place."""
    tracks, end = [], 0.0
    for track in line.tracks:
        end += track.length
        tracks.append(replace(track, railhead=None) if abs(end - at) <= _MEANT else track)
    pairs = tuple(pair for pair in line.railhead_at if abs(pair[0] - at) > _MEANT)
    return replace(line, tracks=tuple(tracks), railhead_at=pairs)


def _held(plan: Plan, spots: Collection[str | _Spot]) -> tuple[HeldHeight, ...]:
    """Return the heights given next to those that are set, along lines and beyond joints whose height is not given."""
    given: dict[str | _Spot, HeldHeight] = {}
    neighbors: defaultdict[str | _Spot, list[str | _Spot]] = defaultdict(list)
    for line in plan.lines.values():
        ends = [(0.0, plan.railhead.get(line.start)), (line.length, plan.railhead.get(line.finish))]
        along: list[str | _Spot] = []
        for at, height in sorted([*ends, *_heights_along(line)], key=lambda each: each[0]):
            joint = line.start if at <= _MEANT else line.finish if at >= line.length - _MEANT else None
            along.append(joint or _Spot(line.name, at))
            if height is not None:
                given.setdefault(along[-1], HeldHeight(line.name, at, joint, height))
        for one, two in pairwise(along):
            neighbors[one].append(two)
            neighbors[two].append(one)
    reached, ahead = set(spots), list(spots)
    while ahead:
        near = {spot for spot in neighbors[ahead.pop()] if spot not in reached}
        reached |= near
        ahead += [spot for spot in near if spot not in given]
    return tuple(height for spot, height in given.items() if spot in reached and spot not in spots)


def give_way(plan: Plan, won: Collection[FigureKey]) -> tuple[Plan, dict[FigureKey, PutAside]]:
    """Return a plan without what contradicts some of its heights, and the figures that it lost for that.

    Each loop that does not close, from one of these heights over stated rises to another height, loses its grades and
    rises; where all of it is level, it stays so and loses the height at its other end; where that is of a joint, or
    won too, the level track gives way. What contradicts no height of these stays as it is.
    """
    aside: dict[FigureKey, PutAside] = {}
    while yielding := _yielding(plan, won):
        aside |= {key: put_aside(plan, key) for key in yielding}
        plan = without_figures(plan, yielding)
    return plan, aside


def tried_plan(plan: Plan, trial: TrialHeights) -> tuple[Plan, dict[FigureKey, PutAside]]:
    """Return a plan with a trial's changes, and the figures that gave way to its heights.

    Raises
    ------
    Problems
        The changes do not hold together with the rest of the plan.
    """
    return give_way(tried(plan, trial), keys_of(plan, trial)) if trial.heights else (tried(plan, trial), {})


def _yielding(plan: Plan, won: Collection[FigureKey]) -> frozenset[FigureKey]:
    """Return what gives way first; nothing where no loop with one of these heights fails to close."""
    for loop in contrary_loops(plan):
        if not any(each.key in won for each in loop):
            continue
        others = [each for each in loop if each.key not in won]
        ranks = [_rank(each) for each in others]
        if others:
            return frozenset(each.key for each, rank in zip(others, ranks, strict=True) if rank == min(ranks))
    return frozenset()


def _rank(figure: Contrary) -> int:
    kind = figure.key[0]
    if kind == "rise":
        return 0 if abs(figure.rise) > _LEVEL else 2
    return 3 if kind == "joint" else 1


# What moving one by hand does


STEP = 5e-3
"""How far apart the trial heights are, m: more than a misfit that would be shared out, so that a tied height shows."""

_UNMOVED = 1e-12


@dataclass(frozen=True, slots=True)
class Change:
    """What moving a station does to one track: the railhead changes by `bend` + dz x `per_meter`, m.

    `bend` is there where a station stands on an even grade: moved ever so little, it makes a change of grade, which
    is rounded and shortens the rounding beside it. `bend` is None elsewhere.
    """

    bend: PiecewiseQuadratic | None
    per_meter: PiecewiseQuadratic


@dataclass(frozen=True, slots=True)
class Response:
    """A station that can be moved: its key as `plan.edit.trial` has it, its place, its height, m, and what it moves.

    Its place is one of `joint`, or `track` with the distance `at` along it, m.
    """

    key: str
    height: Meters
    fixed: bool
    """Whether the plan states its height; else moving it does."""
    joint: str
    track: str
    at: Meters
    changes: Mapping[str, Change]


def railhead_responses(alignment: Alignment, *, yielding: bool = False) -> Iterator[Response]:
    """Yield the stations whose height can be changed, the fixed ones first, each with what it moves.

    Between two trial heights of a station the railhead everywhere is linear in its height: the stretched string is a
    linear system, and a vertical curve is as long as its neighbors allow whatever its change of grade. A station that
    other figures of the plan contradict off its height is left out, for several such do not add up; or with `yielding`
    those give way to it (`give_way`): right for one station at a time.
    """
    plan = alignment.plan
    fixed = fixed_railheads(plan)
    free = {f"joint {name}": height for name, height in alignment.railheads.items() if name not in plan.railhead}
    for key, height in (fixed | free).items():
        changes = _changes(alignment, key, height, yielding)
        if changes:
            yield Response(key, height, key in fixed, *_place(plan, key), changes)


def _changes(alignment: Alignment, key: str, height: float, yielding: bool) -> dict[str, Change]:
    """Return what moving a station does, nothing where it cannot be moved."""
    trials = []
    for steps in (1, 2):
        try:
            trials.append(_rounded(alignment, TrialHeights({key: height + steps * STEP}), yielding))
        except (GradehaulError, Problems):
            return {}
    found = {}
    for track in alignment.tracks.values():
        near, far = (trial[track.id] for trial in trials)
        per_meter = (far - near) * (1 / STEP)
        bend = near - track.railhead - per_meter * STEP
        if _zero(per_meter) and _zero(bend):
            continue
        found[track.id] = Change(None if _zero(bend) else bend, per_meter)
    return found


def _rounded(alignment: Alignment, trial: TrialHeights, yielding: bool) -> dict[str, PiecewiseQuadratic]:
    plan = tried_plan(alignment.plan, trial)[0] if yielding else tried(alignment.plan, trial)
    heights = solve_railheads(plan)
    refuse_steep(plan, heights)
    return round_grades(plan, alignment.chains, heights)


def _zero(function: PiecewiseQuadratic) -> bool:
    return not (abs(function.values).max() > _UNMOVED or abs(function.ends).max() > _UNMOVED)


def _place(plan: Plan, key: str) -> tuple[str, str, float]:
    kind, _, name = key.partition(" ")
    if kind == "joint":
        return name, "", 0.0
    if kind == "track":
        return "", name, plan.tracks[name].length
    line, _, number = name.rpartition(" ")
    at = plan.lines[line].railhead_at[int(number)][0]
    for track in plan.lines[line].tracks:
        if at <= track.length or track.number == len(plan.lines[line].tracks):
            break
        at -= track.length
    return "", track.id, at
