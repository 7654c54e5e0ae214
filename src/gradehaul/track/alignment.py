"""The alignment: every track with its curvature and railhead along it, and how the tracks lie in the plane."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities.si import Meters
from gradehaul.track.curvature import LineChain, Section, chains, sections, summed_curvature
from gradehaul.track.fit import fit_notes, fitted
from gradehaul.track.heights.railhead import level_notes, refuse_steep, solve_railheads
from gradehaul.track.heights.vertical import notes_on_grades, round_grades
from gradehaul.track.map.closing import closure_notes
from gradehaul.track.map.positions import Positions, map_positions
from gradehaul.track.piecewise import PiecewiseQuadratic


@dataclass(frozen=True, slots=True)
class AlignedTrack:
    """A track with its geometry, in its line's direction: `railhead`, m, and summed |curvature|, radians."""

    id: str
    name: str
    length: Meters
    sections: tuple[Section, ...]
    railhead: PiecewiseQuadratic
    summed_curvature: PiecewiseQuadratic
    rail: str | None


@dataclass(frozen=True, slots=True)
class Alignment:
    """All tracks by id, where they lie, the railhead of every joint, m, and what was noted on the way."""

    plan: Plan
    chains: tuple[LineChain, ...]
    tracks: Mapping[str, AlignedTrack]
    railheads: Mapping[str, Meters]
    """Railhead of each joint, m: at a rounded change of grade, the height where the grades meet."""
    positions: Positions
    notes: tuple[Note, ...]
    level: tuple[str, ...]
    """Tracks, by id, that are level only since no height is known beyond them."""
    doubts: tuple[Note, ...]
    """Those of the notes that can make the whole answer wrong: figures that miss closing by far."""


def align(plan: Plan) -> Alignment:
    """Work out the geometry of every track of a plan; figures that were left to be found are found first.

    Refused are a plan without lines, figures that close no line, heights that contradict each other, a piece of the
    network without a known height, and a grade of 100 % or more.
    """
    if not plan.lines:
        write = "[line.NAME] with from, to and track"
        raise Problems([PlanError("the plan has no line", file=plan.file, write=write)])
    plan = fitted(plan)
    in_order = chains(plan)
    curvature = sections(plan, in_order)
    heights = solve_railheads(plan)
    refuse_steep(plan, heights)
    rounded = round_grades(plan, in_order, heights)
    tracks = {
        track.id: AlignedTrack(
            id=track.id,
            name=track.name,
            length=track.length,
            sections=curvature[track.id],
            railhead=rounded[track.id],
            summed_curvature=summed_curvature(curvature[track.id]),
            rail=track.rail,
        )
        for track in plan.tracks.values()
    }
    positions = map_positions(plan, curvature)
    closing = closure_notes(plan, positions, curvature)
    notes = (
        *fit_notes(plan),
        *heights.notes,
        *level_notes(plan, heights.slack),
        *notes_on_grades(plan, in_order, heights),
        *(note for note, _ in closing),
    )
    doubts = tuple(note for note, matters in closing if matters)
    return Alignment(plan, in_order, tracks, heights.joints, positions, notes, heights.slack, doubts)


class FirstLook(NamedTuple):
    """The doubts of the alignment that a plan will have, and what keeps it from one."""

    doubts: tuple[Note, ...] = ()
    problems: tuple[GradehaulError, ...] = ()


def first_look(plan: Plan | None) -> FirstLook:
    """Return what an alignment will find fault with; a plan that has no height yet is looked at in the plane alone."""
    doubts: tuple[Note, ...] = ()
    if plan is None:
        return FirstLook()
    try:
        plan = fitted(plan)
        curvature = sections(plan, chains(plan))
        closing = closure_notes(plan, map_positions(plan, curvature), curvature)
        doubts = tuple(note for note, matters in closing if matters)
        on_tracks = any(track.railhead is not None for track in plan.tracks.values())
        if plan.railhead or on_tracks or any(line.railhead_at for line in plan.lines.values()):
            refuse_steep(plan, solve_railheads(plan))
    except Problems as problems:
        return FirstLook(doubts, problems.errors)
    except GradehaulError as error:
        return FirstLook(doubts, (error,))
    return FirstLook(doubts)
