"""The figures of a plan view: tracks in their places, effective grades, what passes over what, and failures."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import ClassVar, Literal

import numpy as np

from gradehaul.errors import PlanError
from gradehaul.haulage.answers.judged import JUDGED_KEYS, TrainAnswer, judged_trains, worse_ages, worst_first
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.stretches import OnTrack, on_tracks
from gradehaul.haulage.verdict import HeadStretch
from gradehaul.haulage.views.track_view import Overpass, TrackSpot, TrackView, overpasses, track_view
from gradehaul.plan.names import listed
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities.document import AnswerRecord
from gradehaul.quantities.si import Hours, Meters, Radians
from gradehaul.track.fit import fit_notes
from gradehaul.track.map.closing import figure_misses, figure_name, misclosure
from gradehaul.track.map.plane import Pose
from gradehaul.track.map.positions import USABLE_MISCLOSURE
from gradehaul.track.piecewise import FloatArray

_BESIDE = 0.15
"""The room between two pieces whose relative places are unknown, as a share of their extent."""

MarkKind = Literal["stalls", "runs away", "no stopping", "no recovery"]
"""Where a train stalls, runs away, would not start again, or would not recover from a slip."""


@dataclass(frozen=True, slots=True)
class Runaway:
    """Where a train begins to run away and where that ends; None on track that is not in the view."""

    KEYS: ClassVar[str] = "begins ends"

    begins: TrackSpot | None
    ends: TrackSpot | None


@dataclass(frozen=True, slots=True)
class JointView:
    """A joint where it lies, m, with its railhead, m, and the heading in which its first line leaves it."""

    KEYS: ClassVar[str] = "name kind x y railhead"

    name: str
    kind: Literal["end", "plain", "turnout", "crossing", "table"]
    frame: int
    x: Meters
    y: Meters
    heading: Radians
    railhead: Meters


@dataclass(frozen=True, slots=True)
class TrainMark:
    """A stretch on which the head of a train must not be: what happens there, and the tracks it lies on.

    `start` and `stop` are places along the route, m.
    """

    KEYS: ClassVar[str] = "kind from=start to=stop on"

    kind: MarkKind
    start: Meters
    stop: Meters
    on: tuple[OnTrack, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TrainView(TrainAnswer):
    """What becomes of a train on one rail condition, with the stretches to mark and where its failures begin and end.

    A place on track that is not in the view is left out; the verdict shows it.
    """

    KEYS: ClassVar[str] = f"name route rail {JUDGED_KEYS} stall runaways marks"

    marks: tuple[TrainMark, ...]
    stall: TrackSpot | None
    """Where it stalls first."""
    runaways: tuple[Runaway, ...]
    """Where it begins to run away and where that ends, for each stretch."""


@dataclass(frozen=True, slots=True, eq=False)
class PlanView(AnswerRecord):
    """A plan from above, all that a drawing of it needs; nothing in it is rounded."""

    HEAD: ClassVar[str] = "plan=plan.title"
    KEYS: ClassVar[str] = "pieces=frames hours tracks=placed_tracks joints overpasses trains notes"

    plan: Plan
    tracks: Mapping[str, TrackView]
    """By id, in the order of the plan; those of a frame that does not close are left out."""
    unplaced: tuple[TrackView, ...]
    """The tracks left out, as they come to lie from the start of their frame, apart from all others."""
    joints: tuple[JointView, ...]
    overpasses: tuple[Overpass, ...]
    trains: tuple[TrainView, ...]
    """One for each train and rail condition."""
    film_spreads: bool
    """Whether wheels carry a film onto track that is planned without."""
    hours: Hours | None
    """The age of every film; None for fresh and rested."""
    frames: int
    """Number of pieces whose places relative to one another are unknown."""
    notes: tuple[Note, ...]
    """What is left out, and why."""

    @property
    def worse(self) -> tuple[TrainView, ...]:
        """The trains, each on each film once, at its worse age; the worst first."""
        return tuple(worst_first(worse_ages(self.trains)))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """The least and greatest x, then y, m."""
        xy = np.concatenate([track.xy for track in self.tracks.values()])
        (left, bottom), (right, top) = xy.min(axis=0).tolist(), xy.max(axis=0).tolist()
        return left, right, bottom, top

    @property
    def placed_tracks(self) -> tuple[TrackView, ...]:
        """The tracks, in the order of the plan."""
        return tuple(self.tracks.values())


def plan_view(
    layout: Layout,
    trains: Sequence[str] | None = None,
    rails: Sequence[str] | None = None,
    routes: Sequence[str] = (),
) -> PlanView:
    """Return the figures of a layout's plan view.

    Named trains are judged, None for all whose route is among the layout's, on the rail conditions by which the layout
    passes where none is named. Where routes are named, their track alone is shown, and where no train is, theirs are
    judged.
    """
    views = {view.id: view for view in _laid_out(layout, usable=True)}
    lost = list(_laid_out(layout, usable=False))
    if not views:
        raise _no_places(layout)
    wanted = [layout.route(name) for name in routes]
    if wanted and trains is None:
        whole = {route.whole for route in wanted}
        trains = [name for name, named in layout.plan.trains.items() if named.route in whole]
    chosen = _judged(layout, trains, rails)
    shifts = _shifts(views.values())
    aside = _shifts([*views.values(), *lost], last={view.frame for view in lost})
    views = {name: _shifted(view, shifts[view.frame]) for name, view in views.items()}
    joints, over = tuple(_joints(layout, shifts)), tuple(overpasses(list(views.values())))
    if wanted:
        run = {way.track for route in wanted for way in route.ways}
        views = {name: view for name, view in views.items() if name in run}
        lost = [view for view in lost if view.id in run]
        if not views:
            raise _no_places(layout)
        over = tuple(each for each in over if {each.over.track, each.under.track} <= run)
        ends = np.concatenate([view.xy[[0, -1]] for view in views.values()])
        joints = tuple(
            joint for joint in joints if np.isclose(ends, (joint.x, joint.y), rtol=0, atol=1e-6).all(axis=1).any()
        )
    return PlanView(
        plan=layout.plan,
        tracks=views,
        unplaced=tuple(_shifted(view, aside[view.frame]) for view in lost),
        joints=joints,
        overpasses=tuple(over),
        trains=tuple(_train(layout, views, each) for each in chosen),
        film_spreads=layout.film_spreads,
        hours=layout.hours,
        frames=len(shifts),
        notes=tuple(_notes(layout, len(shifts))),
    )


# Tracks and frames


def _laid_out(layout: Layout, *, usable: bool) -> Iterator[TrackView]:
    positions = layout.alignment.positions
    berths = {track: berth.name for berth in layout.plan.berths.values() for track in berth.tracks}
    for track in layout.alignment.tracks.values():
        place = positions.tracks[track.id]
        if positions.usable(place.frame) == usable:
            yield track_view(layout, track, place.frame, place.start, berths.get(track.id))


def _shifts(views: Iterable[TrackView], last: Collection[int] = ()) -> dict[int, tuple[float, float]]:
    """Return by how much each frame is moved: the one with most track stays, the others lie to its right in a row.

    Those in `last` come behind all others.
    """
    boxes: dict[int, list[FloatArray]] = {}
    length: dict[int, float] = {}
    for view in views:
        boxes.setdefault(view.frame, []).append(view.xy)
        length[view.frame] = length.get(view.frame, 0.0) + view.length
    order = sorted(boxes, key=lambda frame: (frame in last, -length[frame], frame))
    corners = {
        frame: (np.concatenate(boxes[frame]).min(axis=0), np.concatenate(boxes[frame]).max(axis=0)) for frame in order
    }
    room = _BESIDE * max(float((high - low).max()) for low, high in corners.values())
    low, high = corners[order[0]]
    shifts = {order[0]: (0.0, 0.0)}
    right, bottom = float(high[0]), float(low[1])
    for frame in order[1:]:
        own_low, own_high = corners[frame]
        shifts[frame] = (right + room - float(own_low[0]), bottom - float(own_low[1]))
        right += room + float(own_high[0] - own_low[0])
    return shifts


def _shifted(view: TrackView, shift: tuple[float, float]) -> TrackView:
    if shift == (0.0, 0.0):
        return view
    start = Pose(view.start.x + shift[0], view.start.y + shift[1], view.start.heading)
    return replace(view, start=start, xy=view.xy + np.array(shift))


def _joints(layout: Layout, shifts: Mapping[int, tuple[float, float]]) -> Iterator[JointView]:
    for joint in layout.alignment.positions.joints.values():
        if joint.frame in shifts:
            across, up = shifts[joint.frame]
            kind, railhead = layout.plan.joints[joint.name].kind, layout.alignment.railheads[joint.name]
            pose = joint.pose
            yield JointView(joint.name, kind, joint.frame, pose.x + across, pose.y + up, pose.heading, railhead)


def _no_places(layout: Layout) -> PlanError:
    positions = layout.alignment.positions
    worst = max(positions.worst.values(), key=lambda closure: closure.severity)
    return PlanError(
        "nothing can be drawn in its place, since no track has a usable one: a figure of lines must close to "
        f"{USABLE_MISCLOSURE:.0%} of its length and 15 degrees",
        file=layout.plan.file,
        place=figure_name(worst),
        found=f"{misclosure(layout.plan, worst)} off",
        write="lengths and angles that bring it back to where it starts",
    )


def _notes(layout: Layout, frames: int) -> Iterator[Note]:
    yield from fit_notes(layout.plan)
    positions = layout.alignment.positions
    for frame, worst in positions.worst.items():
        if not positions.usable(frame):
            lost = sorted({layout.plan.tracks[name].line for name, at in positions.tracks.items() if at.frame == frame})
            misses = f"{figure_misses(worst)} by {misclosure(layout.plan, worst)}"
            yield Note("plan view", f"left out: {listed(lost)}, since {misses}")
    if frames > 1:
        yield Note("plan view", f"{frames} separate pieces are drawn side by side; their true places are unknown")


# Trains


def _judged(layout: Layout, trains: Sequence[str] | None, rails: Sequence[str] | None) -> tuple[TrainAnswer, ...]:
    """Return each train to show on each rail condition; a train that is named must have a route that is answered."""
    for name in trains or ():
        layout.route(layout.train(name).route)
    return judged_trains(layout, layout.judged(rails), trains)


def _train(layout: Layout, views: Mapping[str, TrackView], judged: TrainAnswer) -> TrainView:
    profile, verdict = layout.profile(judged.route), judged.verdict
    kinds: tuple[tuple[MarkKind, tuple[HeadStretch, ...]], ...] = (
        ("no recovery", verdict.no_recovery),
        ("no stopping", verdict.no_stopping),
        ("runs away", verdict.running_away),
        ("stalls", verdict.stalling),
    )
    marks = tuple(
        TrainMark(kind, stretch.start, stretch.stop, tuple(on_tracks(profile, stretch.start, stretch.stop)))
        for kind, stretches in kinds
        for stretch in stretches
    )
    return TrainView(
        **{field.name: getattr(judged, field.name) for field in fields(judged)},
        marks=marks,
        stall=_spot(profile, views, verdict.at) if verdict.stalling else None,
        runaways=tuple(
            Runaway(_spot(profile, views, each.start), _spot(profile, views, each.stop, ahead=False))
            for each in verdict.running_away
        ),
    )


def _spot(profile: RouteProfile, views: Mapping[str, TrackView], at: float, *, ahead: bool = True) -> TrackSpot | None:
    """Return where a place on a route lies, headed as the route runs; at a joint on the track ahead, or behind."""
    number = profile.number_at(at, ahead=ahead)
    way = profile.route.ways[number]
    if way.track not in views:
        return None
    begin, end = float(profile.starts[number]), float(profile.starts[number + 1])
    spot = views[way.track].spot(at - begin if way.forward else end - at)
    return spot if way.forward else replace(spot, heading=spot.heading + math.pi)
