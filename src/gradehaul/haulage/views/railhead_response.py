"""How the railhead of every track responds to the height of each station, for moving one by hand."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from gradehaul.errors import GradehaulError, Problems
from gradehaul.haulage.answers.set_heights import tried_plan
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads, tried
from gradehaul.plan.records import Plan
from gradehaul.quantities.si import Meters
from gradehaul.track.alignment import Alignment
from gradehaul.track.heights.railhead import refuse_steep, solve_railheads
from gradehaul.track.heights.vertical import round_grades
from gradehaul.track.piecewise import PiecewiseQuadratic

STEP = 5e-3
"""How far apart the trial heights are, m: more than a misfit that would be shared out, so that a tied height shows."""

_SAME = 1e-12


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
    return not (abs(function.values).max() > _SAME or abs(function.ends).max() > _SAME)


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
