"""Fitted plans: every open figure of a plan found, line by line, as the places of its joints become known."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.names import listed
from gradehaul.plan.records import Line, LineEnd, Note, Plan
from gradehaul.quantities import describe
from gradehaul.track.curvature import Section, chains, sections
from gradehaul.track.figures import SHARPEST, LineBeside, LineFit, OpenLine, Solved, figures_of, tracks_with
from gradehaul.track.map.closing import degrees
from gradehaul.track.map.plane import Leg, Pose, legs_of, many_points
from gradehaul.track.map.positions import end_poses

_FINE = 1e-6
"""How closely the line beside which another runs is followed, m."""
_UNEVEN = 5e-4
"""By how much the distance between two lines may vary, m, before a note says so."""


def fitted(plan: Plan) -> Plan:
    """Return a plan with every figure that was left to be found; a plan without any comes back as it is.

    A line is solved when both its joints have their places over other lines. What it leads to may then be the place
    from which another follows.
    """
    problems: list[GradehaulError] = []
    failed: set[str] = set()
    while waiting := [line for line in plan.lines.values() if line.open and line.name not in failed]:
        round_ = _Round.of(plan)
        ready = [line for line in waiting if round_.ready(line)]
        if not ready:
            if not failed:  # else they may only wait for one that failed
                problems += [_unfixed(plan, line, round_, waiting) for line in waiting]
            break
        lines = dict(plan.lines)
        for line in ready:
            solved = round_.open_line(line).solve()
            if solved.found is None or solved.free:
                problems.append(_no_track(plan, line, solved))
                failed.add(line.name)
            else:
                lines[line.name] = replace(line, tracks=tracks_with(line, solved.found.values))
        plan = replace(plan, lines=lines)
    if problems:
        raise Problems(problems)
    return plan


def fit_notes(plan: Plan) -> Iterator[Note]:
    """Yield for each line of a fitted plan its figures that were found, and how far it strays from one beside it."""
    for line in plan.lines.values():
        figures = figures_of(line)
        figures_found = [
            f"{each.name} {'fits ' * (not number)}at {each.shown(each.of(each.track), plan.unit)}"
            for number, each in enumerate(figures)
        ]
        if figures_found:
            yield Note("", f"{line.name}: {', '.join(figures_found)}")
    yield from _parallel_notes(plan)


def _parallel_notes(plan: Plan) -> Iterator[Note]:
    """Yield a note for each line that is not as far from the line beside it over its middle half as it should be."""
    if all(line.parallel is None for line in plan.lines.values()):
        return
    from shapely import LineString, Point

    round_ = _Round.of(plan)
    for line in plan.lines.values():
        if line.parallel is None or not round_.ready(line):
            continue
        beside = round_.open_line(line).beside
        if beside is None:
            continue
        parts = [part for track in line.tracks for part in round_.sections[track.id]]
        _, _, xy = many_points([parts], [Pose(0.0, 0.0, 0.0)], _FINE)
        own = LineString(xy)
        places = (own.interpolate(share, normalized=True) for share in np.linspace(0.25, 0.75, 21).tolist())
        apart = [beside.line.distance(Point(place)) for place in places]
        low, high = min(apart), max(apart)
        wanted = line.parallel.distance
        if max(wanted - low, high - wanted) > _UNEVEN:
            shown = [describe(each, "length", plan.unit, 3) for each in (wanted, low, high)]
            text = f"only its middle lies {shown[0]} beside {line.parallel.line}"
            yield Note(f'line "{line.name}"', f"{text}: {shown[1]} to {shown[2]} over its middle half")


class _Round(NamedTuple):
    """What is known of a plan some of whose lines are open: sections and legs of tracks, and where line ends lie."""

    plan: Plan
    sections: Mapping[str, Sequence[Section]]
    legs: Mapping[str, Leg]
    ends: Mapping[LineEnd, tuple[int, Leg]]

    @classmethod
    def of(cls, plan: Plan) -> _Round:
        """Return what is known of a plan."""
        own = sections(plan, chains(plan))
        legs = legs_of(
            {track.id: own[track.id] for track in plan.tracks.values() if not track.open and _known(own[track.id])}
        )
        return cls(plan, own, legs, end_poses(plan, legs))

    def placed(self, line: Line) -> bool:
        """Whether both ends of a line lie in one frame."""
        return self.ends[LineEnd(line.name, "from")][0] == self.ends[LineEnd(line.name, "to")][0]

    def ready(self, line: Line) -> bool:
        """Whether a line's ends have their places, and all around it that it needs is known."""
        other = self.plan.lines[line.parallel.line] if line.parallel is not None else None
        beside = other is None or (
            not other.open and self.ends[LineEnd(other.name, "from")][0] == self.ends[LineEnd(line.name, "from")][0]
        )
        return self.placed(line) and beside and all(map(math.isfinite, self._outer(line)))

    def _outer(self, line: Line) -> tuple[float, float]:
        """Return the curvatures into which easements at the ends of a line go on; they may still be open."""
        first, last = line.tracks[0], line.tracks[-1]
        return (
            self.sections[first.id][0].first if first.kind == "easement" else 0.0,
            self.sections[last.id][-1].last if last.kind == "easement" else 0.0,
        )

    def open_line(self, line: Line) -> OpenLine:
        """Return a line with its target as seen from its start, and what it lies beside."""
        start, end = (self.ends[LineEnd(line.name, side)][1] for side in ("from", "to"))
        target = start.inverse().then(end).then(Leg(0j, math.pi))
        return OpenLine(line, target, self.plan.scale.gauge, self._outer(line), self._beside(line, start))

    def _beside(self, line: Line, start: Leg) -> LineBeside | None:
        if line.parallel is None:
            return None
        from shapely import LineString

        other = self.plan.lines[line.parallel.line]
        pose = self.ends[LineEnd(other.name, "from")][1] if other.place is None else Pose(*other.place).leg
        parts = [part for track in other.tracks for part in self.sections[track.id]]
        _, _, xy = many_points([parts], [Pose.of(start.inverse().then(pose))], _FINE)
        return LineBeside(LineString(xy), line.parallel.distance)


def _known(own: Sequence[Section]) -> bool:
    return all(math.isfinite(part.length + part.first + part.last) for part in own)


def _unfixed(plan: Plan, line: Line, round_: _Round, waiting: Sequence[Line]) -> PlanError:
    """Return the error of a line whose figures wait for places that no other line fixes."""
    others = [other.name for other in waiting if other is not line]
    wrong = f'nothing fixes where "{line.start}" and "{line.finish}" lie relative to each other'
    if round_.placed(line):
        wrong = "it runs beside, or eases into, a line whose figures are still to be found"
    write = f"numbers in {listed([line.name, *others])}, all but one" if others else "a number in place of each fit"
    return PlanError(wrong, file=plan.file, place=f'line "{line.name}"', write=write)


def _no_track(plan: Plan, line: Line, solved: Solved) -> PlanError:
    """Return the error of a line that no figures close."""
    place = f'line "{line.name}"'
    figures = figures_of(line)
    names = " and ".join(figure.name for figure in figures)
    if solved.free:
        wrong = f"nothing fixes {names}: where one grows, the others make up for it"
        return PlanError(wrong, file=plan.file, place=place, write='a number for one of them, or parallel = "60 mm"')
    assert solved.nearest is not None
    wrong = f'it cannot end at joint "{line.finish}": the nearest misses it by {_miss(plan, line, solved.nearest)}'
    wrong += f", with {_shown(plan, line, solved.nearest)}"
    if solved.unlaid is not None:
        fit, hinders = solved.unlaid
        value = hinders.shown(fit.values[figures.index(hinders)], plan.unit)
        sharpest = describe(SHARPEST * plan.scale.gauge, "length", plan.unit)
        limit = {
            "angle": "180 degrees at the most",
            "length": "more than 0",
            "radius": f"{sharpest}, ten gauges, at the least",
        }[hinders.unknown]
        room = ", with room for its easements" if hinders.track.ease else ""
        wrong += f"; {hinders.name} would have to be {value}, and can be {limit}{room}"
    return PlanError(wrong, file=plan.file, place=place)


def _shown(plan: Plan, line: Line, fit: LineFit) -> str:
    pairs = zip(figures_of(line), fit.values, strict=True)
    return " and ".join([f"{figure.name} at {figure.shown(value, plan.unit)}" for figure, value in pairs])


def _miss(plan: Plan, line: Line, fit: LineFit) -> str:
    """Return by how much a fit misses: in place, in heading, and beside another line."""
    words = [describe(fit.distance, "length", plan.unit, 2), f"{degrees(fit.angle)} degrees"]
    if line.parallel is not None:
        words.append(f'{describe(fit.beside, "length", plan.unit, 2)} beside line "{line.parallel.line}"')
    return " and ".join(words)
