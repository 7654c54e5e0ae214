"""Clearances for a person, what fails, what to look at, by which rules, and the words for findings; and as a table."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from decimal import Decimal
from typing import NamedTuple

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import ClearanceOutcome, Finding, Rule, Standard
from gradehaul.design.deck import STRENGTH
from gradehaul.errors import clean
from gradehaul.quantities import convert
from gradehaul.show import CLEARANCE
from gradehaul.show.base.labels import percent_words, spans
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat

_WORDS: dict[ClearanceOutcome, Piece] = {
    "pass": ("pass", "green"),
    "look": ("look", "yellow"),
    "fail": ("FAIL", "bold red"),
}
_SHORT_RULES: dict[Rule, str] = {
    "vertical room": "height",
    "side room": "centers",
    "radius": "radius",
    "change of grade": "vertical curve",
    "reverse curve": "reverse curve",
    "string-lining": "tipping",
}
"""The rule of a row."""

_PLACES = 3
"""Places of a row named one by one at the most."""

_FIRST = "Before trains run, push the longest and the tallest stock by hand past every place above."
_CAUTION = (
    "Put a guard or a raised edge along every track from which a train can fall, and keep children away from open "
    f"drops. {STRENGTH}"
)
_STATICS = (
    "Tipping is statics at the start of a train: each locomotive has the same share of the pull, couplers stand along "
    "the track, nothing lurches. Slack that runs in or out can pull several times as hard."
)


def clearance_page(found: Clearances, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return what fails and what to look at as a page, and below it the sections that are named in `more`."""
    page = Page()
    page.line((clean(found.plan.title), "bold"), ": clearances")
    page.line()
    style = "bold red" if found.count("fail") else "yellow" if found.count("look") or found.unchecked else "green"
    page.line((headline(found, units), style), ".")
    if not found.findings:
        page.line("Nothing to judge: no tracks meet.")
    if looked := [each for each in found.findings if each.outcome != "pass"]:
        page.line()
        _add_rows(page, found.standard, looked, units)
    page.line()
    page.line(_basis(found, units))
    page.line(_FIRST)
    page.more(CLEARANCE)
    if "places" in more:
        page.heading("All places")
        _add_rows(page, found.standard, found.findings, units, whole=True)
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
        if _SHORT_RULES[finding.rule] not in rules:
            rules.append(_SHORT_RULES[finding.rule])
    return found


def _basis(found: Clearances, units: UnitFormat) -> str:
    """Return by which figures the plan was judged."""
    standard = found.standard
    stock = "none named" if standard.longest is None else f"longest {units.length(standard.longest)}"
    clear = f"Clear height {_length(standard.height, units)}"
    if standard.clear is not None:
        more = standard.clear > standard.printed_height
        clear += " as wanted" if more else f" by the standard ({_length(standard.clear, units)} wanted)"
    deck = f"track, roadbed and deck {_deck(standard, units)}" + (" (assumed)" if standard.deck_assumed else "")
    spacing = standard.spacing
    group = f"group {spacing.group}" if found.plan.practice == "NEM" else f"class {spacing.stock_class}"
    if standard.overhead:
        deck += f" + overhead line {_length(standard.overhead, units)}" + (" (assumed)" * standard.overhead_assumed)
    return (
        f"{clear} + {deck} = {_length(standard.wanted_height, units)} from railhead to railhead; "
        f"track centers {_length(spacing.straight, units)}; stock: {stock}, {group}."
    )


def _length(value: float, units: UnitFormat) -> str:
    return units.length(value, fine=units.system == "imperial")


def _deck(standard: Standard, units: UnitFormat) -> str:
    """Return the thickness of the deck with roadbed and track as what adds up with the figures beside it."""
    total, *others = (Decimal(_length(each, units).split()[0]) for each in (
        standard.wanted_height, standard.height, *([standard.overhead] if standard.overhead else [])))  # fmt: skip
    return f"{total - sum(others)} {units.length_unit}"


def _add_rows(
    page: Page, standard: Standard, findings: Iterable[Finding], units: UnitFormat, *, whole: bool = False
) -> None:
    """Add rows by rule and outcome, those that differ in their place alone as one; the `whole` has all places."""
    kinds: dict[tuple[ClearanceOutcome, Rule], dict[tuple[str, ...], tuple[list[int], list[str]]]] = {}
    for finding in findings:
        alike = kinds.setdefault((finding.outcome, finding.rule), {})
        figures = (
            figure_words(finding.value, finding, units),
            *_bounds(finding, units),
            re.split("[,:(]", finding.source)[0],
            finding.words if whole else "",
        )
        numbers, places = alike.setdefault(figures, ([], []))
        numbers.append(finding.number)
        places.append(place_words(finding, units))
    for (outcome, rule), alike in kinds.items():
        under = _under_standard(standard, units) if (outcome, rule) == ("look", "vertical room") else ""
        page.line(_WORDS[outcome], f": {RULES[rule][0].lower()}{RULES[rule][1:].replace(': ', ', ')}{under}")
        if whole:
            for (actual, wanted, fails, by, words), (numbers, places) in alike.items():
                bounds = f"wanted {wanted}{fails and f', fails {fails}'} ({by})"
                named = "; ".join((*dict.fromkeys(places), *filter(None, [words])))
                page.line(f"{spans(numbers)}: {actual}, {bounds}: {named}", indent=2)
            continue
        rows = [[spans(numbers), *figures[:-1], _listed(places)] for figures, (numbers, places) in alike.items()]
        heads = ["no.", "actual>", "wanted", "fails", "by", "place"]
        several = {"fails": any(row[3] for row in rows), "by": len({row[4] for row in rows}) > 1}
        kept = [k for k, head in enumerate(heads) if several.get(head, True)]
        page.table([heads[k] for k in kept], [[row[k] for k in kept] for row in rows])


def _under_standard(standard: Standard, units: UnitFormat) -> str:
    """Return between which clear heights a place lies that is only to be looked at; "" where none less is wanted."""
    if standard.clear is None or standard.clear >= standard.printed_height:
        return ""
    printed, clear = (_length(each, units) for each in (standard.printed_height, standard.clear))
    assumed = standard.deck_assumed or standard.overhead_assumed
    return f"; under the standard's {printed}" + ("" if assumed else f", over your {clear}")


def _listed(names: Iterable[str], most: int = _PLACES) -> str:
    every = list(dict.fromkeys(names))
    more = [f"{len(every) - most} more"] if len(every) > most else []
    return "; ".join((*every[:most], *more))


RULES: dict[Rule, str] = {
    "vertical room": "One above the other: railhead to railhead",
    "side room": "Side by side: center to center",
    "radius": "Radius",
    "change of grade": "Vertical curve: the length over which the grade changes",
    "reverse curve": "Reverse curve: the straight between its two curves",
    "string-lining": "Cars on curves: tipping moment over what the car's weight holds",
}


def headline(found: Clearances, units: UnitFormat) -> str:
    """Return how many places came out how, how many more fail if what is assumed is so, and what was not checked."""
    counts = [f"{found.count('fail')} fail"]
    if would := found.would_fail:
        counts[0] += f", {would} would fail with the assumed {_assumed(found.standard, units)}"
    counts += [f"{found.count('look')} to look at", f"{found.count('pass')} pass"]
    if not found.unchecked:
        return ", ".join(counts)
    left_out = "; ".join(map(str, found.unchecked))
    return f"{counts[0]}, NOT CHECKED: {left_out}; {', '.join(counts[1:])}"


def _assumed(standard: Standard, units: UnitFormat) -> str:
    """Return what is assumed of the room that a track takes over another."""
    layers = [f"deck of {_deck(standard, units)} with roadbed and track"] * standard.deck_assumed
    overhead = [f"overhead line of {_length(standard.overhead, units)}"] * standard.overhead_assumed
    return " and ".join(layers + overhead)


def place_words(finding: Finding, units: UnitFormat) -> str:
    """Return where a finding is."""
    if finding.head_at is not None:
        return f"train {finding.train}, head on {finding.track}, {units.length(finding.head_at)} along its route"
    here = finding.track if finding.rule == "radius" else f"{finding.track} at {units.length(finding.at)}"
    if finding.onto is not None:
        return f"{here}, onto {finding.onto}"
    if finding.other is None or finding.other_at is None:
        return here
    joined = "over" if finding.rule == "vertical room" else "and"
    fails = "fails for" if finding.outcome == "fail" else "for"
    along = "" if finding.along is None else f", {fails} {units.length(finding.along)}"
    return f"{here} {joined} {finding.other} at {units.length(finding.other_at)}{along}"


def failing_words(finding: Finding, units: UnitFormat) -> str:
    """Return where a finding is, what is there and what is wanted."""
    actual = f"{_SHORT_RULES[finding.rule]} {figure_words(finding.value, finding, units)}"
    wanted, fails = _bounds(finding, units)
    return f"{place_words(finding, units)}: {actual}, wanted {wanted}{fails and f', fails {fails}'}"


def figure_words(value: float, finding: Finding, units: UnitFormat) -> str:
    """Return a figure of a finding: a length or a share."""
    return percent_words(value) if finding.share else _length(value, units)


def _bounds(finding: Finding, units: UnitFormat) -> tuple[str, str]:
    wanted, least = (figure_words(value, finding, units) for value in (finding.wanted, finding.least))
    one = finding.least in (finding.wanted, 0.0)
    if finding.share:
        return f"under {wanted}", "" if one else f"{least} or more"
    return f"{wanted} or more", "" if one else f"under {least}"


class _Row(NamedTuple):
    finding: Finding
    value: float
    passes: float
    fails: float
    unit: str


_COLUMNS = (
    "finding.number finding.rule finding.outcome finding.track finding.at other_track=finding.other finding.other_at "
    "finding.onto finding.along finding.train finding.head_at value passes fails in=unit finding.words finding.source"
)


def clearance_csv(found: Clearances, units: UnitFormat | None) -> str:
    """Return the answer as CSV (RFC 4180); figures are lengths or plain shares, as the column `in` says."""
    unit = "m" if units is None else units.length_unit

    def row(finding: Finding) -> _Row:
        value, passes, fails = finding.value, finding.wanted, finding.least
        if finding.share:
            return _Row(finding, value, passes, fails, "share")
        return _Row(finding, convert(value, unit), convert(passes, unit), convert(fails, unit), unit)

    return table(_Row, _COLUMNS, map(row, found.findings), units)
