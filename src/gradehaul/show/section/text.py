"""The figures along a route: for a person its ruling grade, and a train's pull against its demand; as CSV."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import groupby

from gradehaul.haulage.answers.judged import outcome_of
from gradehaul.haulage.stretches import RouteElement
from gradehaul.haulage.verdict import WORST_FIRST, Outcome
from gradehaul.haulage.views.section import Haul, LongSection, PullGiven
from gradehaul.show import PROFILE
from gradehaul.show.base.labels import basis_words, from_to
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import add_doubts
from gradehaul.show.check.outcome_words import (
    OUTCOMES,
    care_lines,
    everywhere,
    outcome_piece,
    rail_at,
    short_words,
    spare_words,
)
from gradehaul.show.check.route_text import ends, ruling_sentence
from gradehaul.track.piecewise import Extreme, PiecewiseQuadratic


def profile_page(section: LongSection, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the answer for a route as a page, and below it the sections that are named in `more`."""
    page = Page()
    profile, route = section.profile, section.route
    page.line("Route ", (route.name, "bold"), f": {ends(route)}")
    add_doubts(page, section.doubts, "gradehaul readings")
    page.line()
    haul = section.haul
    if haul is not None:
        judged = [each for each in haul.given if each.judged] or list(haul.given)
        worst = min(judged, key=lambda each: (WORST_FIRST.index(each.outcome), each.verdict.spare))
        words = outcome_text(haul, worst, units)
        page.line((f"{haul.name} {words}", OUTCOMES[worst.outcome][1]), f"{bracketed(haul, worst)}.")
    length, climb, fall = (units.length(value) for value in (profile.length, profile.climb, profile.fall))
    ruling = profile.ruling()
    page.line(ruling_sentence(ruling, units))
    page.line(f"Length {length}, climbs {climb}, falls {fall}; railhead at its start {_start(section, units)}.")
    if haul is None:
        page.line("No train is named for this route: --train takes any train of the plan.")
    else:
        _add_haul(page, section, haul, units)
    page.line()
    page.more(PROFILE)
    if "track" in more:
        page.heading("Track")
        page.table(["  ends at>", "railhead>", "grade>", "curve", "effective>"], list(_track_rows(section, units)))
        page.line("Each row begins where the one above it ends. To and from a radius: easements.", indent=2)
    if "joints" in more:
        page.heading("Joints")
        rows = [[units.length(joint.at), joint.name, joint.kind] for joint in section.joints]
        page.table(["at>", "joint", "kind"], rows)
    if "care" in more and haul is not None:
        _add_care(page, section, haul, units)
    return page


def _start(section: LongSection, units: UnitFormat) -> str:
    return units.length(section.profile.railhead.values[0].item(), fine=True)


def _track_rows(section: LongSection, units: UnitFormat) -> Iterator[tuple[Piece, ...]]:
    """Yield the name of each track, and below it a row for each of its elements."""
    for track, elements in groupby(section.elements, key=lambda element: element.track):
        yield (track,)
        for element in elements:
            yield (
                units.length(element.stop),
                units.length(element.railhead, fine=True),
                from_to(*map(units.grade, element.grade)),
                _curve(element, units),
                from_to(*map(units.grade, element.effective)),
            )


def _curve(element: RouteElement, units: UnitFormat) -> str:
    if element.hand is None:
        return "straight"
    first, last = (units.length(1 / abs(k)) if k else "" for k in element.curvature)
    if first and last:
        return f"{element.hand} {from_to(first, last)}"
    return f"{element.hand} to {last}" if last else f"{element.hand} from {first}"


def _add_haul(page: Page, section: LongSection, haul: Haul, units: UnitFormat) -> None:
    """Add what a train needs, and a row for each rail condition, the worst first."""
    page.line()
    page.line((haul.name, "bold"), f", {units.length(haul.train.length)} long, engines included, needs at most")
    for words, need in (("to run", haul.running.greatest()), ("to start", haul.starting.greatest())):
        page.line(f"{units.force(need.value)} {words}, {_where(section, need, units)}", indent=2)
    if (push := haul.least.least()).value < 0:
        page.line(f"{units.force(-push.value)} to be held back, {_where(section, push, units)}", indent=2)
    leg = section.route.whole != section.route.name
    rows: list[list[Piece]] = [
        [
            condition_words(haul, each),
            outcome_piece(each.outcome, each.verdict),
            *([outcome_piece(_here(each), each.verdict)] if leg else []),
            spare_words(_here(each), each.verdict, units),
            f"{each.verdict.spare_track}, {units.length(each.verdict.spare_at)}",
            _range(each.standing, units),
            _range(each.slipping, units),
        ]
        for each in sorted(haul.given, key=lambda each: WORST_FIRST.index(each.outcome))
    ]
    heads = ["rail", "outcome", *(["this leg"] if leg else []), "to spare>", "hardest place", "pull>", "slipping>"]
    page.table(heads, rows, indent=0)


def _here(given: PullGiven) -> Outcome:
    """Return the outcome on what is shown, which may be one leg of the route."""
    return outcome_of(given.verdict, given.misfits)


def outcome_text(haul: Haul, given: PullGiven, units: UnitFormat) -> str:
    """Return the outcome in words; of a leg, with that of the whole route where it differs."""
    words = short_words(_here(given), given.verdict, haul.misfits, units)[0]
    whole = outcome_piece(given.outcome, given.verdict)[0].lower()
    return words if given.outcome == _here(given) else f"{words} on this leg; {whole} on the whole route"


def condition_words(haul: Haul, given: PullGiven) -> str:
    """Return a rail condition, or what it is called to have its film everywhere where that is not judged."""
    if given.judged:
        return rail_at(given.rail, haul.hours)
    films = everywhere([each.rail for each in haul.given if not each.judged], haul.hours)
    return next(name for name, ages in films.items() if given.rail in ages)


def bracketed(haul: Haul, given: PullGiven) -> str:
    """Return a rail condition behind an outcome, in parentheses unless it has its own."""
    words = condition_words(haul, given)
    return f", {words}" if words.endswith(")") else f" ({words})"


def _add_care(page: Page, section: LongSection, haul: Haul, units: UnitFormat) -> None:
    """Add where a train must not stop or slip, stalls or runs away, and how well its pulls are known."""
    page.heading("Where to take care")
    for each in haul.given:
        verdict = each.verdict
        known = basis_words(verdict.basis, verdict.slipping_basis)
        back = "is held back downhill" if verdict.holds_back else "runs away downhill"
        slipping = _range(each.slipping, units)
        page.line(
            (condition_words(haul, each), "bold"), f": pull {known}; with slipping wheels {slipping}; {back}", indent=2
        )
        for line in care_lines(verdict, section.profile, units):
            page.line(line, indent=4)
    begins = "this leg" if section.route.number else "its route"
    page.line(f"Places are those of the train's head, from where {begins} begins.", indent=2)


def _where(section: LongSection, most: Extreme, units: UnitFormat) -> str:
    return f"with its head at {units.length(most.at)}, on {section.profile.track_at(most.at)}"


def _range(pull: PiecewiseQuadratic, units: UnitFormat) -> str:
    return from_to(units.force(pull.least().value), units.force(pull.greatest().value))


def profile_csv(section: LongSection, units: UnitFormat | None) -> str:
    """Return the elements of a route as CSV (RFC 4180), a row each; curvature is positive for left."""
    columns = (
        "from=start to=stop track grade_from=grade.0 grade_to=grade.1 hand radius curvature_from=curvature.0 "
        "curvature_to=curvature.1 effective_from=effective.0 effective_to=effective.1 railhead"
    )
    return table(RouteElement, columns, section.elements, units)
