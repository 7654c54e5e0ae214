"""The numbers of a plan view for a person: tracks, joints, what passes over what, and where trains get stuck."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.haulage.views.plan_view import PlanView, TrainView
from gradehaul.haulage.views.track_view import TrackView
from gradehaul.show.base.labels import USE_TOLD
from gradehaul.show.base.page import Page, Piece, words_of
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.outcome_words import misfit_words
from gradehaul.show.plan_view.film_uses import hangs_on, titles, train_told
from gradehaul.show.plan_view.shades import rail_told
from gradehaul.treatment.keep_clean import KeepCleanPlan
from gradehaul.treatment.stretches import UsedStretch, used_stretches


def map_page(view: PlanView, reader: Reader, film: KeepCleanPlan | None = None) -> Page:
    """Return the numbers of a plan view as a page, and with a keep-clean plan what is to become of each track."""
    page = Page()
    page.line((view.plan.title, "bold"), f": {len(view.tracks)} tracks in their places")
    page.line()
    heads = ["track", "from x>", "y>", "to x>", "y>", "length>", "curve", "grade>", "effective grade>", "back>", "rail"]
    table = [_row(track, reader) for track in view.tracks.values()]
    if film is not None:
        heads.append("is to be")
        uses = used_stretches(film)
        table = [[*row, _uses(uses.get(key, ()), reader)] for row, key in zip(table, view.tracks, strict=True)]
    page.table(heads, table)
    page.line("Effective grades are the greatest at a point: along the track as it is written, and back.", indent=2)
    if film is not None:
        page.heading(titles(film)[-1])
        for words in (*hangs_on(film, reader), *(train_told(train, film, reader) for train in film.trains)):
            page.line(words, indent=2)
        page.line("Why each stays clean: gradehaul treat.", indent=2)
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


def _uses(stretches: Sequence[UsedStretch], reader: Reader) -> Piece:
    """Return the use of a track, or of each stretch of it where there are several."""
    if len(stretches) == 1:
        return USE_TOLD[stretches[0].use]
    return ", ".join(f"{words_of(USE_TOLD[each.use])} to {reader.length(each.stop)}" for each in stretches)


def _place(x: float, y: float, reader: Reader) -> list[str]:
    return [reader.length(x), reader.length(y)]


def _curve(track: TrackView, reader: Reader) -> str:
    """Return a track's hand and least radius."""
    sharpest = track.sharpest
    if sharpest == 0:
        return "straight"
    return f"{'left' if sharpest > 0 else 'right'} {reader.length(1 / abs(sharpest))}"


def _add_train(page: Page, view: PlanView, train: TrainView, reader: Reader) -> None:
    page.line((train.name, "bold"), f", {rail_told(train.rail)}, route {train.route}: {train.outcome}", indent=2)
    if train.stall is not None:
        at = f"{reader.length(train.stall.at)} along {view.plan.tracks[train.stall.track].name}"
        x, y = _place(train.stall.x, train.stall.y, reader)
        page.line(f"stalls first {at}, at {x}, {y}", indent=4)
    for misfit in train.misfits:
        page.line(misfit_words(misfit, reader), indent=4)
    words = {
        "stalls": "stalls",
        "runs away": "runs away",
        "no stopping": "must not stop",
        "no recovery": "would not recover from a slip",
    }
    for mark in train.marks:
        start, stop = reader.length(mark.start), reader.length(mark.stop)
        names = list(dict.fromkeys(view.plan.tracks[part.track].name for part in mark.on))
        where = names[0] if len(names) == 1 else f"{names[0]} to {names[-1]}"
        page.line(
            f"{words.get(mark.kind, mark.kind)} with its head from {start} to {stop} along its route, {where}", indent=4
        )
