"""The numbers along a route for a person: its elements, its joints, and a train's pull against its demand."""

from __future__ import annotations

from collections.abc import Callable

from gradehaul.haulage.stretches import Element
from gradehaul.haulage.views.section import Haul, LongSection
from gradehaul.show.base.labels import basis_told
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.check.outcome_words import OUTCOMES, stretch_words
from gradehaul.track.piecewise import Extreme, PiecewiseQuadratic


def profile_page(section: LongSection, reader: Reader) -> Page:
    """Return the numbers along a route as a page."""
    page = Page()
    profile, route = section.profile, section.route
    ends = f"round from {route.origin}" if route.lap else f"{route.origin} to {route.destination}"
    page.line("Route ", (route.name, "bold"), f": {ends}")
    length, climb, fall = (reader.length(value) for value in (profile.length, profile.climb, profile.fall))
    page.line(
        f"length {length}, climbs {climb}, falls {fall}; railhead at its start {_start(section, reader)}", indent=2
    )
    page.line()
    heads = ["from>", "to>", "track", "grade>", "curve", "effective grade>", "railhead at its end>"]
    page.table(heads, [_row(element, reader) for element in section.elements])
    if section.joints:
        page.heading("Joints")
        rows = [[reader.length(joint.at), joint.name, joint.kind] for joint in section.joints]
        page.table(["at>", "joint", "kind"], rows)
    if section.haul is None:
        page.line()
        page.line("No train is named for this route, so no pull is told: --train takes any train of the plan.")
    else:
        _add_haul(page, section, section.haul, reader)
    return page


def _start(section: LongSection, reader: Reader) -> str:
    return reader.length(section.profile.railhead.values[0].item(), fine=True)


def _row(element: Element, reader: Reader) -> list[Piece]:
    return [
        reader.length(element.start),
        reader.length(element.stop),
        element.track,
        _from_to(element.grade, reader.grade),
        _curve(element, reader),
        _from_to(element.effective, reader.grade),
        reader.length(element.railhead, fine=True),
    ]


def _from_to(ends: tuple[float, float], told: Callable[[float], str]) -> str:
    """Return one value, or two where they read differently."""
    first, last = map(told, ends)
    return first if first == last else f"{first} to {last}"


def _curve(element: Element, reader: Reader) -> str:
    if element.hand is None:
        return "straight"
    ends = _from_to(element.curvature, lambda k: reader.length(1 / abs(k)) if k else "straight")
    return f"{element.hand}, {ends}"


def _add_haul(page: Page, section: LongSection, haul: Haul, reader: Reader) -> None:
    page.heading("Pull")
    page.line(
        (haul.name, "bold"), f", {reader.length(haul.train.length)} long, engines included, asks at most", indent=2
    )
    for words, asked in (("to run", haul.running.greatest()), ("to start", haul.starting.greatest())):
        page.line(f"{reader.force(asked.value)} {words}, {_where(section, asked, reader)}", indent=4)
    rows: list[list[Piece]] = [
        [
            each.rail,
            _range(each.standing, reader),
            _range(each.slipping, reader),
            OUTCOMES[each.outcome],
            reader.force(each.verdict.margin),
            reader.length(each.verdict.at),
            each.verdict.track,
            "holds back" if each.verdict.holds_back else ("RUNS AWAY", "bold red"),
            basis_told(each.verdict.basis, each.verdict.slipping_basis),
        ]
        for each in haul.given
    ]
    heads = ["rail", "standing>", "slipping>", "outcome", "to spare>", "head at>", "on track", "downhill", "pull"]
    page.table(heads, rows)
    for each in haul.given:
        told = each.verdict
        for words, stretches in (
            ("stalls", told.stalling),
            ("must not stop", told.no_stopping),
            ("would not recover from a slip", told.no_recovery),
            ("runs away", told.running_away),
        ):
            if stretches:
                where = "; ".join(stretch_words(stretch, section.profile, reader) for stretch in stretches)
                page.line(f"{each.rail}: {words} {where}", indent=2)
    begins = "this leg" if section.route.number else "its route"
    page.line(f"Places are those of the train's head, from where {begins} begins.", indent=2)


def _where(section: LongSection, most: Extreme, reader: Reader) -> str:
    return f"with its head at {reader.length(most.at)}, on {section.profile.track_at(most.at)}"


def _range(pull: PiecewiseQuadratic, reader: Reader) -> str:
    least, greatest = (reader.force(value) for value in (pull.least().value, pull.greatest().value))
    return least if least == greatest else f"{least} to {greatest}"
