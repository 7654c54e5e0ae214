"""The numbers of a plan view for a person: tracks, joints, what passes over what, and where trains get stuck."""

from __future__ import annotations

from gradehaul.haulage.plan_view import PlanView, TrainView
from gradehaul.haulage.track_view import TrackView
from gradehaul.show.page import Page, Piece
from gradehaul.show.plan_key import rail_told
from gradehaul.show.reading_units import Reader


def map_page(view: PlanView, reader: Reader) -> Page:
    """Return the numbers of a plan view as a page."""
    page = Page()
    page.line((view.plan.title, "bold"), f": {len(view.tracks)} tracks in their places")
    page.line()
    heads = ["track", "from x>", "y>", "to x>", "y>", "length>", "curve", "grade>", "effective grade>", "back>", "rail"]
    page.table(heads, [_row(track, reader) for track in view.tracks.values()])
    page.line("Effective grades are the greatest at a point: along the track as it is written, and back.", indent=2)
    if view.joints:
        page.heading("Joints")
        rows = [
            [joint.name, joint.kind, *_place(joint.x, joint.y, reader), reader.length(joint.railhead, fine=True)]
            for joint in view.joints
        ]
        page.table(["joint", "kind", "x>", "y>", "railhead>"], rows)
    if view.overpasses:
        page.heading("Tracks over tracks")
        by_id = view.tracks
        rows = [
            [by_id[each.over.track].name, by_id[each.under.track].name, *_place(each.over.x, each.over.y, reader),
             reader.length(each.height)]
            for each in view.overpasses
        ]  # fmt: skip
        page.table(["over", "under", "x>", "y>", "railheads apart>"], rows)
    if view.trains:
        page.heading("Trains")
        for train in view.trains:
            _add_train(page, view, train, reader)
    for note in view.notes:
        page.line()
        page.line(str(note))
    return page


def _row(track: TrackView, reader: Reader) -> list[Piece]:
    first, last = track.xy[0].tolist(), track.xy[-1].tolist()
    onward, back = track.steepest
    return [
        track.name,
        *_place(first[0], first[1], reader),
        *_place(last[0], last[1], reader),
        reader.length(track.length),
        _curve(track, reader),
        reader.grade(track.grade),
        reader.grade(onward),
        reader.grade(back),
        track.rail,
    ]


def _place(x: float, y: float, reader: Reader) -> list[str]:
    return [reader.length(x), reader.length(y)]


def _curve(track: TrackView, reader: Reader) -> str:
    """Return a track's hand and least radius."""
    sharpest = track.sharpest
    if sharpest == 0:
        return "straight"
    return f"{'left' if sharpest > 0 else 'right'} {reader.length(1 / abs(sharpest))}"


def _add_train(page: Page, view: PlanView, train: TrainView, reader: Reader) -> None:
    page.line(
        (train.name, "bold"), f", {rail_told(train.rail)}, route {train.route}: {train.verdict.outcome}", indent=2
    )
    if train.stall is not None:
        at = f"{reader.length(train.stall.at)} along {view.plan.tracks[train.stall.track].name}"
        x, y = _place(train.stall.x, train.stall.y, reader)
        page.line(f"stalls first {at}, at {x}, {y}", indent=4)
    words = {"stalls": "stalls", "no stopping": "must not stop", "no recovery": "would not recover from a slip"}
    for mark in train.marks:
        start, stop = reader.length(mark.start), reader.length(mark.stop)
        names = list(dict.fromkeys(view.plan.tracks[part.track].name for part in mark.on))
        where = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
        page.line(f"{words[mark.kind]} with its head from {start} to {stop} along its route, {where}", indent=4)
