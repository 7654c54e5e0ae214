"""Clearances for a person: what fails, what to look at, how much passes, and by which rules."""

from __future__ import annotations

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import ClearanceOutcome, Finding
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.clearance.words import RULES, bounds_told, figure_told, headline, place_told

_WORDS: dict[ClearanceOutcome, Piece] = {
    "pass": ("pass", "green"),
    "look": ("look", "yellow"),
    "fail": ("FAIL", "bold red"),
}
_ORDER: tuple[ClearanceOutcome, ...] = ("fail", "look", "pass")
_MOST_PASSES = 12
"""Places that pass are told one by one up to so many for each rule."""
_CAUTION = (
    "Before trains run: push the longest and the tallest stock by hand past every place above. Guard or edge every "
    "track from which a train can fall, and keep children from open drops. Decks bear only as they are built: follow "
    "local codes, and ask a qualified person where structure, mains or stairs are touched."
)
_STATICS = (
    "Tipping is statics at the start of a train: each locomotive gives the same share of its pull, couplers stand "
    "along the track, nothing lurches. Slack that is run in or out can pull several times as hard."
)


def clearance_page(found: Clearances, reader: Reader) -> Page:
    """Return the answer as a page."""
    page = Page()
    page.line("Clearances: ", (found.plan.title, "bold"), f" ({clean(found.plan.file)})")
    page.line(f"{headline(found)}.")
    standard = found.standard
    stock = "none named" if standard.longest is None else f"longest {reader.length(standard.longest)}"
    deck = f"deck {reader.length(standard.deck)}" + (", assumed" if standard.deck_assumed else "")
    spacing = standard.spacing
    group = f"group {spacing.group}" if found.plan.practice == "NEM" else f"class {spacing.stock_class}"
    if standard.overhead:
        deck += f", overhead line {reader.length(standard.overhead)}" + (", assumed" * standard.overhead_assumed)
    page.line(
        f"Clear height {reader.length(standard.height)}, {deck}; track centers {reader.length(spacing.straight)}; "
        f"stock: {stock}, {group}."
    )
    for rule, words in RULES.items():
        own = [finding for finding in found.findings if finding.rule == rule]
        if own:
            page.heading(words)
            _add_rule(page, own, found, reader)
    if not found.findings:
        page.line("Nothing to judge: no tracks meet.")
    page.heading("Sources")
    for number, source in enumerate(_sources(found), 1):
        page.line(f"[{number}] {source}", indent=2)
    if found.notes:
        page.heading("Notes")
        for note in found.notes:
            page.line(str(note), indent=2)
    page.heading("Caution")
    if any(finding.rule == "string-lining" for finding in found.findings):
        page.line(_STATICS, indent=2)
    page.line(_CAUTION, indent=2)
    return page


def _sources(found: Clearances) -> list[str]:
    return list(dict.fromkeys(finding.source for finding in found.findings))


def _add_rule(page: Page, own: list[Finding], found: Clearances, reader: Reader) -> None:
    sources = _sources(found)
    numbers = {id(finding): number for number, finding in enumerate(found.ranked(), 1)}
    passing = [finding for finding in own if finding.outcome == "pass"]
    told = [finding for outcome in _ORDER for finding in own if finding.outcome == outcome]
    if len(passing) > _MOST_PASSES:
        told = told[: -len(passing)]
    rows: list[list[Piece]] = [
        [
            str(numbers[id(finding)]),
            _WORDS[finding.outcome],
            place_told(finding, found, reader),
            figure_told(finding.value, finding, reader),
            bounds_told(finding, reader),
            f"[{sources.index(finding.source) + 1}]",
            finding.words,
        ]
        for finding in told
    ]
    if rows:
        page.table(["no.>", "", "place", "is>", "passes", "source", ""], rows)
    if len(passing) > _MOST_PASSES:
        page.line(f"and {len(passing)} more that pass", indent=2)
