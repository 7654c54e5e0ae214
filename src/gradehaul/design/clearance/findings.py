"""Clearances: what passes, needs a look, or fails by the standards, place by place."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from gradehaul.design.clearance.meetings import Meeting, meetings
from gradehaul.design.clearance.rules import (
    HAIR,
    OUTCOMES,
    TIE,
    USUAL_ALLOWANCES,
    Allowances,
    ClearanceOutcome,
    Finding,
    Standard,
    figures,
    standard_of,
)
from gradehaul.design.clearance.shape import Tightest, grade_changes, radii, reverse_curves, tightest
from gradehaul.design.deck import SOURCE
from gradehaul.errors import PlanError, quoted
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.stretches import on_tracks
from gradehaul.haulage.train import build_train, trains_named
from gradehaul.plan.records import Note, Plan
from gradehaul.quantities.document import AnswerRecord
from gradehaul.track.map.closing import misclosure


@dataclass(frozen=True, slots=True)
class Unchecked:
    """What was left out, and why."""

    what: str
    reason: str

    def __str__(self) -> str:
        return f"{self.what}, since {self.reason}"


@dataclass(frozen=True, slots=True)
class Clearances(AnswerRecord):
    """Everything that was judged on a plan, and the figures it was judged by."""

    KEYS: ClassVar[str] = (
        "passes complete would_fail not_checked=unchecked counts standard places=findings notes=notes_by_place"
    )

    plan: Plan
    standard: Standard
    findings: tuple[Finding, ...]
    """What fails first, then what is to be looked at; each in the order of the rules, along the plan."""
    notes: tuple[Note, ...]
    unchecked: tuple[Unchecked, ...]

    def count(self, outcome: ClearanceOutcome) -> int:
        """Return how many places came out so."""
        return sum(finding.outcome == outcome for finding in self.findings)

    @property
    def passes(self) -> bool:
        """Whether nothing fails; what is only to be looked at does not count, nor what was not checked."""
        return not self.count("fail")

    @property
    def would_fail(self) -> int:
        """How many places where tracks lie over one another fail if what is assumed of deck and wire is so."""
        standard = self.standard
        least = standard.least_clear + standard.overhead + standard.deck - HAIR
        over = [each for each in self.findings if each.rule == "vertical room" and each.outcome == "look"]
        return sum(each.value * (1 + TIE) < least for each in over)

    @property
    def complete(self) -> bool:
        """Whether everything was checked, and nothing that fails rests on what is assumed."""
        return not (self.unchecked or self.would_fail)

    @property
    def counts(self) -> Mapping[ClearanceOutcome, int]:
        """How many places came out in each way."""
        return {outcome: self.count(outcome) for outcome in OUTCOMES}

    @property
    def notes_by_place(self) -> tuple[Mapping[str, str], ...]:
        """The notes, each as its place and its text."""
        return tuple({"place": note.place, "text": note.text} for note in self.notes)


def clearances(layout: Layout, allowances: Allowances = USUAL_ALLOWANCES) -> Clearances:
    """Return the judgment of a plan by its clearances.

    What is raised is that of `gradehaul.Layout.clearances`.
    """
    plan, alignment = layout.plan, layout.alignment
    standard = standard_of(plan, allowances)
    trains = trains_named(plan, allowances.trains)
    met = [_judged(each, standard) for each in meetings(alignment, standard)]
    found = (
        *sorted(met, key=lambda each: each.rule != "vertical room"),
        *radii(plan, standard),
        *grade_changes(alignment, standard),
        *reverse_curves(plan, layout.movements, standard),
        *(finding for name in trains for finding in _string_lining(layout, name, standard)),
    )
    ranked = sorted(found, key=lambda finding: -OUTCOMES.index(finding.outcome))
    names = {key: track.name for key, track in plan.tracks.items()}
    findings = tuple(
        replace(
            each,
            number=number,
            track=names.get(each.track, each.track),
            other=names.get(each.other or ""),
            onto=names.get(each.onto or ""),
        )
        for number, each in enumerate(ranked, 1)
    )
    notes, unchecked = tuple(_notes(layout, standard)), tuple(_unchecked(layout, standard, trains))
    return Clearances(plan, standard, findings, notes, unchecked)


def failing_places(layout: Layout) -> tuple[Finding, ...] | None:
    """Return what fails the clearances, the worst first; None where not all could be checked and nothing else fails.

    Nothing can be checked where no practice has a clear height for the scale.
    """
    try:
        standard_of(layout.plan, USUAL_ALLOWANCES)
    except PlanError:
        return None
    found = clearances(layout)

    def room(each: Finding) -> float:
        """Return what there is as a share of what must be; 0 where there is nothing, as between opposite curves."""
        is_there, must_be = (each.least, each.value) if each.share else (each.value, each.least)
        return is_there / must_be if must_be else 0.0

    fails = tuple(sorted((each for each in found.findings if each.outcome == "fail"), key=room))
    return None if found.unchecked and not fails else fails


def _judged(met: Meeting, standard: Standard) -> Finding:
    spacing = standard.spacing
    if not met.over:
        words = "they cross on one level" if met.apart == 0.0 else ""
        beyond = spacing.beyond(met.bend)
        if beyond:
            words = words or "sharper than any curve for which a spacing is printed"
        curved = met.wanted > spacing.straight
        return Finding(
            "side room",
            met.track,
            met.at,
            met.apart,
            met.wanted,
            met.least,
            "; ".join(part for part in (spacing.straight_source, spacing.curve_source if curved else "") if part),
            other=met.other,
            other_at=met.other_at,
            words=words,
            hair=HAIR,
            best="look" if beyond else "pass",
            short=(met.looks, met.fails),
        )
    upper_first = met.rise < 0
    deck = SOURCE if standard.deck_assumed else "as stated"
    return Finding(
        "vertical room",
        met.track if upper_first else met.other,
        met.at if upper_first else met.other_at,
        abs(met.rise),
        standard.wanted_height,
        standard.least_height,
        f"{standard.height_source}; deck: {deck}",
        other=met.other if upper_first else met.track,
        other_at=met.other_at if upper_first else met.at,
        words="railhead over railhead",
        hair=HAIR,
        short=(met.looks, met.fails),
    )


def _string_lining(layout: Layout, name: str, standard: Standard) -> Iterator[Finding]:
    plan = layout.plan
    named = plan.trains[name]
    if named.route not in {route.name for route in layout.routes}:
        return
    train = build_train(plan, named)
    rule = figures()["tipping"]
    worst: Tightest | None = None
    for each, start in layout.profile(named.route).approached:
        order = train.after(each.route.run_rounds)
        found = tightest(each, order, layout.pulls, gauge=plan.scale.gauge, coupler=standard.coupler, start=start)
        if found is not None and (worst is None or found.share > worst.share):
            worst, leg, begins = found, each, start
    if worst is None:
        return
    place = next(on_tracks(leg, worst.head - begins, worst.head - begins))
    way = "pulled inward" if worst.inward else "pushed outward"
    beyond = "; more than its locomotives give, so it stalls first" if worst.pull_share > 1 else ""
    counted = " from the end that leads" if train.after(leg.route.run_rounds) != train else ""
    share = f"{100 * worst.pull_share:.0f} % of the locomotives' pull"
    yield Finding(
        "string-lining",
        place.track,
        place.start,
        worst.share,
        rule["looks"],
        1.0,
        f"{rule['source']}; coupler height: {standard.coupler_source}",
        share=True,
        words=f"vehicle {worst.vehicle}{counted}, {way} at {share}{beyond}",
        train=name,
        head_at=worst.head,
    )


def _unchecked(layout: Layout, standard: Standard, trains: Sequence[str]) -> Iterator[Unchecked]:
    """Yield what could not be judged."""
    plan, positions = layout.plan, layout.alignment.positions
    frames = {track.frame for track in positions.tracks.values()}
    off = [closure for closure in positions.closures if closure.severity > 1.0]
    if off:
        worst = max(off, key=lambda closure: closure.severity)
        one = len(off) == 1
        what = ("place" if one else "places") if worst.stated else ("loop" if one else "loops")
        misses = ("misses" if one else "miss") + ("" if worst.stated else " closing")
        most = "" if one else "up to "
        yield Unchecked(
            "over and beside",
            f"{len(off)} {what} {misses} by {most}{misclosure(plan, worst)}, at joint {worst.joint}",
        )
    if len(frames) > 1:
        yield Unchecked(f"clearance between {len(frames)} separate parts of the plan", "nothing says where they lie")
    if standard.longest is None:
        yield Unchecked("radius and reverse curves", "the plan has no stock")
    routes = {route.name for route in layout.routes}
    if lost := [name for name in trains if plan.trains[name].route not in routes]:
        yield Unchecked(f"tipping of {', '.join(map(quoted, lost))}", "no way was found for the route")


def _assumed(standard: Standard) -> str:
    """Return which layers of the deck are assumed."""
    if len(standard.assumed_layers) == 3:
        return "its thickness with roadbed and track is assumed"
    return f"its {' and '.join(standard.assumed_layers)} {'is' if len(standard.assumed_layers) == 1 else 'are'} assumed"


def _notes(layout: Layout, standard: Standard) -> Iterator[Note]:
    if standard.longest is None:
        yield Note("stock", "the plan has none: spacing on curves allows for the longest")
    if standard.deck_assumed:
        yield Note("deck", f"{_assumed(standard)}; set it with [deck] in the plan, or --structure")
    if standard.overhead_assumed:
        yield Note("wire", "the height of the overhead line over its lowest wire is assumed; set it with --overhead")
    yield from layout.alignment.notes
