"""The parts of an answer in the order in which the page needs them: outcomes first, random trials last."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import Any

from gradehaul.design.clearance.findings import failing_places
from gradehaul.errors import GradehaulError
from gradehaul.haulage.answers.check_notes import doubtful_readings, doubts_of
from gradehaul.haulage.answers.judged import TrainAnswer, judged_trains
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.haulage.answers.set_heights import railhead_responses, tried_plan
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads, known_part
from gradehaul.plan.records import Plan
from gradehaul.show.base.labels import listed
from gradehaul.show.base.page import words_of
from gradehaul.show.base.unit_format import units_for
from gradehaul.show.check.first_screen import clearance_words
from gradehaul.show.check.trial_text import aside_words
from gradehaul.show.clearance import failing_words
from gradehaul.show.film import depends_on, riskier
from gradehaul.show.report.document import (
    chances,
    conditions_document,
    heights_document,
    on_conditions,
    plan_view_document,
    report_document,
    verdict_rows,
)
from gradehaul.show.report.page import drawn_plan_view
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan

Part = dict[str, Any]
"""One part of an answer, as JSON has it; its `kind` says which."""


@dataclass(frozen=True)
class Stated:
    """A plan with its layout, and its trains on the rail conditions that are shown."""

    plan: Plan
    layout: Layout
    trains: tuple[TrainAnswer, ...]

    @property
    def judged(self) -> tuple[TrainAnswer, ...]:
        """The trains on the rail conditions by which the plan is judged."""
        return tuple(train for train in self.trains if train.rail in self.layout.judged())

    @property
    def shown(self) -> dict[str, list[TrainAnswer]]:
        """The trains on each condition that is shown."""
        return on_conditions(conditions_document(self.layout, self.layout.judged()), self.trains)


def stated(plan: Plan, hours: float | None = None) -> Stated:
    """Return a plan with its layout and its trains judged, at an age of all film or at its worse.

    Raises
    ------
    GradehaulError
        Heights that contradict each other, routes that no train can follow.
    """
    layout = Layout(plan, hours=hours)
    return Stated(plan, layout, judged_trains(layout, (*layout.judged(), *film_rails(layout.rails))))


def parts(base: Stated, trial: TrialHeights) -> Iterator[Part]:
    """Yield the parts of the answer for a plan with changes that are tried: whoever waits for less may stop early.

    Changes that no longer fit the plan are left out, and the first part names them.
    """
    trial, lost = known_part(base.plan, trial)
    try:
        changed, aside = tried_plan(base.plan, trial)
        now = stated(changed, trial.hours) if trial else base
    except GradehaulError as error:
        yield {"kind": "refused", "trial": _trial(trial), "lines": str(error).splitlines()}
        return
    layout = now.layout
    units = units_for(now.plan)
    document = report_document(layout, now.trains, layout.judged(), units)
    document |= {
        "kind": "answer",
        "trial": _trial(trial),
        "lost": lost,
        "aside": aside_words(tuple(aside.values()), units) if aside else "",
        "stated_heights": fixed_railheads(base.plan),
        "stated_rails": {key: track.rail for key, track in base.plan.tracks.items() if track.rail is not None},
        "stated_verdicts": verdict_rows(dict(zip(now.shown, base.shown.values(), strict=True))),
        **conditions_document(layout, list(dict.fromkeys(map(layout.aged, base.layout.judged())))),
        "doubts": [str(note) for note in doubtful_readings(layout.plan, (*now.plan.locos, *now.plan.cars))],
        "not_run": [name for name in now.plan.trains if name not in {train.name for train in now.trains}],
    }
    yield document
    view, notes = drawn_plan_view(layout)
    yield {"kind": "view", "plan_view": None if view is None else plan_view_document(view), "notes": notes}
    yield {"kind": "heights", "heights": heights_document(railhead_responses(layout.alignment, yielding=True))}
    yield {"kind": "doubts", "doubts": [str(note) for note in doubts_of(layout, layout.plan)]}
    found: list[dict[str, str]] = []
    for each in chances(now.shown):
        found.append(each)
        yield {"kind": "chances", "chances": list(found)}
    fails = failing_places(layout)
    words = f"{clearance_words(None)}." if fails is None else ""
    if fails:
        words = f"{clearance_words(len(fails))}, the worst {failing_words(fails[0], units)}."
    yield {"kind": "clearance", "words": words}
    if now.plan.films and now.plan.trains:
        yield _film(layout)


def _trial(trial: TrialHeights) -> dict[str, Any]:
    return {"heights": dict(trial.heights), "rails": dict(trial.rails), "hours": trial.hours}


def _film(layout: Layout) -> Part:
    """Return where the film may go, as rail conditions to take over; none where the plan has several films."""
    if len(layout.plan.films) > 1:
        names = listed([f'"{film}"' for film in layout.plan.films])
        words = f"The plan has the films {names}: gradehaul treat --film NAME plans where one of them may go."
        return {"kind": "film", "rails": {}, "words": words}
    try:
        found = keep_clean_plan(layout, KeepCleanOptions())
    except GradehaulError as error:
        return {"kind": "film", "rails": {}, "words": str(error)}
    # what follows is of the command and of its table, and takes long to find
    first, *rest = islice(depends_on(found, units_for(layout.plan)), 2)
    lines = first, *(line[:2] for line in rest), *riskier(found)
    words = " ".join("".join(map(words_of, line)) for line in lines)
    return {"kind": "film", "rails": {} if found.beyond else dict(found.rails), "words": words}
