"""The words for an outcome: one wording for text, pictures, the page and its script."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from gradehaul.haulage.answers.judged import Judged, Misfit
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.verdict import HeadStretch, Outcome, Verdict
from gradehaul.plan.records import Plan
from gradehaul.show.base.labels import apart, chance_words
from gradehaul.show.base.page import Piece
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.track.proximity.fouling import Fouling

OUTCOMES: Mapping[Outcome, tuple[str, str]] = {
    "stalls": ("STALLS", "bold red"),
    "runs away": ("RUNS AWAY", "bold red"),
    "too long": ("TOO LONG", "bold red"),
    "marginal": ("marginal", "yellow"),
    "climbs": ("climbs", "green"),
}
"""An outcome in a table, with its style."""

_MEETS = 1e-3
"""Tracks no farther apart than this, m, meet: at a turnout or a crossing."""

DOES: Mapping[Outcome, tuple[str, str]] = {
    "stalls": ("stalls", "stall"),
    "runs away": ("runs away", "run away"),
    "too long": ("is too long", "are too long"),
    "marginal": ("is marginal", "are marginal"),
    "climbs": ("gets through", "get through"),
}
"""What one train does behind its name, and what several do."""

SHORT: Mapping[Outcome, tuple[str, ...]] = {
    "stalls": (
        "stalls first at {at} on {track}, lacks up to {lacks}",
        "stalls on {track}, lacks up to {lacks}",
        "stalls at {at} on {track}",
        "stalls on {track}",
        "stalls",
    ),
    "runs away": ("runs away first from {at} to {end}, on {track}", "runs away on {track}", "runs away"),
    "too long": ("too long for {room}", "too long"),
    "marginal": ("marginal, {spare} to spare at {at} on {track}", "marginal, {spare} to spare", "marginal"),
    "climbs": ("climbs, {spare} to spare at {at} on {track}", "climbs, {spare} to spare", "climbs"),
}
"""An outcome in a few words, the longest wording first; places are those of the train's head."""

SENTENCES: Mapping[str, str] = {
    "stalls": "It stalls {head}: at worst it lacks {lacks}. It needs more than it can pull {where}.",
    "marginal": "It gets through only while the wheels never slip: {spare} to spare where it is least, {head}.",
    "no stopping": "It must not stop, since it would not start again, {where}.",
    "no recovery": "It would not recover from a slip {where}.",
    "climbs": "It gets through even if the wheels slip, with {spare} to spare where it is least, {head}. It can stop "
    "and start again anywhere.",
    "runs away": "Downhill it runs away: the cars push the locomotives {where}.",
    "holds back": "Downhill it holds back.",
    "uphill": "Uphill: {words}",
    "too long": "It is {length} long and does not fit {room}, which holds {holds}.",
    "run-round": "Its locomotives are {length} long and do not fit {room}, which holds {holds}.",
    "head": "with its head at {at} on {track}",
}
"""The sentences of a verdict."""


def outcome_cells(train: Judged, units: UnitFormat) -> list[Piece]:
    """Return the outcome of a train, its risk, and the pull to spare; that it does not fit is sure, and no risk."""
    risk = "–" if train.outcome == "too long" else chance_words(train.risk)
    return [OUTCOMES[train.outcome], risk, spare_words(train.outcome, train.verdict, units)]


def spare_words(outcome: Outcome, verdict: Verdict, units: UnitFormat) -> str:
    """Return the pull to spare in a table; none where no pull helps: a train that runs away, or is too long."""
    return "–" if outcome in ("runs away", "too long") else units.force(verdict.margin)


def plain_words(outcome: Outcome, verdict: Verdict, misfits: Sequence[Misfit]) -> str:
    """Return an outcome with its place, without a figure: ``stalls on Hill:3``."""
    wording = {"stalls": 3, "runs away": 1, "too long": 0}.get(outcome, -1)
    room = misfits[0].place if misfits else ""
    return SHORT[outcome][wording].format(track=apart(verdict.worst_track), room=apart(room))


def marginal_words(verdict: Verdict, profile: RouteProfile) -> str:
    """Return by which rule a train is marginal, with the first place: its pull while the wheels hold is enough."""
    rules = [
        (verdict.no_stopping, "it would not start again after a stop on {track}"),
        (verdict.no_recovery, "slipping wheels would not recover on {track}"),
    ]
    return " and ".join(
        words.format(track=apart(profile.track_at(stretches[0].start, ahead=True)))
        for stretches, words in rules
        if stretches
    )


def short_words(outcome: Outcome, verdict: Verdict, misfits: Sequence[Misfit], units: UnitFormat) -> list[str]:
    """Return wordings of an outcome in a few words, the fullest first."""
    away = verdict.running_away[0] if outcome == "runs away" else None
    values = {
        "at": units.length(verdict.worst_at),
        "end": units.length(away.stop) if away is not None else "",
        "track": verdict.worst_track,
        "spare": units.force(verdict.margin),
        "lacks": units.force(-verdict.margin),
        "room": misfits[0].place if misfits else "",
    }
    return [words.format(**values) for words in SHORT[outcome]]


def misfit_words(misfit: Misfit, units: UnitFormat) -> str:
    """Return in a sentence that a place does not hold a train."""
    kind = "run-round" if misfit.kind == "run-round" else "too long"
    length, holds = units.lengths_apart(misfit.length, misfit.available)
    return SENTENCES[kind].format(length=length, room=apart(misfit.place), holds=holds)


def spread_words(plan: Plan, units: UnitFormat) -> str:
    """Return how far film counts past wiped track; a guess, unless the plan states it."""
    guess = " (a guess)" if plan.carry_basis == "assumed" else ""
    return f"Film is counted {units.length(plan.carry_over)}{guess} past wiped track, since wheels spread it."


def fouled_words(fouled_by: Iterable[Fouling], units: UnitFormat) -> str:
    """Return what ends the clear length of a berth: the track, how near it comes, and what trains need to pass."""
    words = []
    for each in fouled_by:
        near = f"{units.length(each.distance)} away" if each.distance > _MEETS else "which it meets"
        words.append(f"fouls {each.track}, {near}; trains need {units.length(each.needed)} to pass")
    return "; ".join(words)


def stretch_words(stretch: HeadStretch, profile: RouteProfile, units: UnitFormat) -> str:
    """Return where a stretch of a route begins and ends, and on which track."""
    first, last = profile.track_at(stretch.start, ahead=True), profile.track_at(stretch.stop)
    one = first == last or stretch.stop <= stretch.start
    under = f"on {apart(first)}" if one else f"{apart(first)} to {apart(last)}"
    start, stop = units.length(stretch.start), units.length(stretch.stop)
    return f"at {start}, {under}" if start == stop else f"from {start} to {stop}, {under}"


def care_lines(verdict: Verdict, profile: RouteProfile, units: UnitFormat) -> Iterator[str]:
    """Yield where a train stalls or runs away; where it gets by, also where it must not stop and would not recover."""
    cares = {"stalls": verdict.stalling, "runs away, its cars pushing the locomotives,": verdict.running_away}
    if not verdict.stalling:
        cares["must not stop, since it would not start again,"] = verdict.no_stopping
        cares["would not recover from a slip"] = verdict.no_recovery
    for words, stretches in cares.items():
        if stretches:
            yield f"{words} {'; '.join(stretch_words(stretch, profile, units) for stretch in stretches)}"
