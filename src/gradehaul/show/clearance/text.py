"""Clearances for a person: what fails, what to look at, how much passes, and by which rules."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import ClearanceOutcome, Finding, Rule
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader
from gradehaul.show.clearance.words import bounds_words, figure_words, headline, place_words
from gradehaul.show.sections import CLEARANCE

_WORDS: dict[ClearanceOutcome, Piece] = {
    "pass": ("pass", "green"),
    "look": ("look", "yellow"),
    "fail": ("FAIL", "bold red"),
}
_RULES: dict[Rule, str] = {
    "vertical room": "height over",
    "side room": "centers",
    "radius": "radius",
    "change of grade": "change of grade",
    "reverse curve": "reverse curve",
    "string-lining": "tipping",
}
"""The rule of a row."""

_PLACES = 3
"""Places of a row named one by one at the most."""

_FIRST = "Before trains run, push the longest and the tallest stock by hand past every place above."
_CAUTION = (
    "Guard or edge every track from which a train can fall, and keep children from open drops. Decks bear only as they "
    "are built: follow local codes, and ask a qualified person where structure, mains or stairs are touched."
)
_STATICS = (
    "Tipping is statics at the start of a train: each locomotive has the same share of the pull, couplers stand along "
    "the track, nothing lurches. Slack that runs in or out can pull several times as hard."
)


def clearance_page(found: Clearances, reader: Reader, more: Collection[str] = ()) -> Page:
    """Return what fails and what to look at as a page, and below it the sections that are named in `more`."""
    page = Page()
    page.line((clean(found.plan.title), "bold"), ": clearances")
    page.line()
    style = "bold red" if found.count("fail") else "yellow" if found.count("look") or found.unchecked else "green"
    page.paragraph((headline(found), style), ".")
    if not found.findings:
        page.line("Nothing to judge: no tracks meet.")
    _add_rows(page, found, reader)
    page.line()
    page.paragraph(_basis(found, reader))
    page.paragraph(_FIRST)
    page.more(CLEARANCE)
    if "places" in more:
        page.heading("All places")
        _add_places(page, found, reader)
    if "sources" in more:
        page.heading("Sources")
        for source, rules in _sources(found.findings).items():
            page.line(f"{', '.join(rules)}: {source}", indent=2)
    if "notes" in more:
        page.heading("Notes")
        for note in found.notes:
            page.line(str(note), indent=2)
        if any(finding.rule == "string-lining" for finding in found.findings):
            page.line(_STATICS, indent=2)
        page.line(_CAUTION, indent=2)
    return page


def _sources(findings: Iterable[Finding]) -> dict[str, list[str]]:
    """Return the sources of findings, each with the rules it is for."""
    found: dict[str, list[str]] = {}
    for finding in findings:
        rules = found.setdefault(finding.source, [])
        if _RULES[finding.rule] not in rules:
            rules.append(_RULES[finding.rule])
    return found


def _basis(found: Clearances, reader: Reader) -> str:
    """Return by which figures the plan was judged."""
    standard = found.standard
    stock = "none named" if standard.longest is None else f"longest {reader.length(standard.longest)}"
    deck = f"track, roadbed and deck {reader.length(standard.deck, fine=True)}" + (
        ", assumed" if standard.deck_assumed else ""
    )
    spacing = standard.spacing
    group = f"group {spacing.group}" if found.plan.practice == "NEM" else f"class {spacing.stock_class}"
    if standard.overhead:
        deck += f", overhead line {reader.length(standard.overhead)}" + (", assumed" * standard.overhead_assumed)
    return (
        f"Clear height {reader.length(standard.height)}, {deck}; track centers {reader.length(spacing.straight)}; "
        f"stock: {stock}, {group}."
    )


def _add_rows(page: Page, found: Clearances, reader: Reader) -> None:
    """Add a row for each finding that does not pass, the worst first; those alike but for their place share one."""
    alike: dict[tuple[Piece, ...], tuple[list[str], list[str]]] = {}
    for number, finding in enumerate(found.ranked(), 1):
        if finding.outcome == "pass":
            continue
        figure = figure_words(finding.value, finding, reader)
        key = (_WORDS[finding.outcome], _RULES[finding.rule], figure, bounds_words(finding, reader))
        numbers, places = alike.setdefault(key, ([], []))
        numbers.append(str(number))
        places.append(place_words(finding, found, reader))
    if not alike:
        return
    rows: list[list[Piece]] = [
        [_listed(numbers), outcome, rule, figure, bounds, _listed(places)]
        for (outcome, rule, figure, bounds), (numbers, places) in alike.items()
    ]
    page.line()
    page.table(["no.", "", "rule", "is>", "passes", "place"], rows, indent=0)


def _add_places(page: Page, found: Clearances, reader: Reader) -> None:
    """Add every finding by itself, the worst first."""
    rows: list[list[Piece]] = [
        [
            str(number),
            _WORDS[finding.outcome],
            _RULES[finding.rule],
            place_words(finding, found, reader),
            figure_words(finding.value, finding, reader),
            bounds_words(finding, reader),
            finding.words,
        ]
        for number, finding in enumerate(found.ranked(), 1)
    ]
    page.table(["no.>", "", "rule", "place", "is>", "passes", ""], rows)


def _listed(names: Iterable[str], most: int = _PLACES) -> str:
    every = list(dict.fromkeys(names))
    more = [f"{len(every) - most} more"] if len(every) > most else []
    return "; ".join((*every[:most], *more))
