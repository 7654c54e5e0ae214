"""The words for findings of clearance: rules, places, figures and bounds."""

from __future__ import annotations

from gradehaul.design.clearance.findings import Clearances
from gradehaul.design.clearance.rules import Finding, Rule
from gradehaul.show.base.reading_units import Reader

RULES: dict[Rule, str] = {
    "vertical room": "Over one another: railhead over railhead",
    "side room": "Beside one another: between track centers",
    "radius": "Radius",
    "change of grade": "Change of grade: the length over which it happens",
    "reverse curve": "Curves of opposite hand: the straight between",
    "string-lining": "Cars on curves: tipping moment over what the car's weight holds",
}


def headline(found: Clearances) -> str:
    """Return how many places came out how, and what was not checked."""
    counts = [f"{found.count('fail')} fail"]
    counts += [f"{found.count('look')} to look at", f"{found.count('pass')} pass"]
    if not found.unchecked:
        return ", ".join(counts)
    left_out = "; ".join(map(str, found.unchecked))
    return f"{counts[0]}, NOT CHECKED: {left_out}; {', '.join(counts[1:])}"


def place_words(finding: Finding, found: Clearances, reader: Reader) -> str:
    """Return where a finding is."""
    tracks = found.plan.tracks
    name = tracks[finding.track].name if finding.track in tracks else finding.track
    if finding.head_at is not None:
        return f"train {finding.train}, head on {name}, {reader.length(finding.head_at)} along its route"
    here = f"{name} at {reader.length(finding.at)}"
    if finding.rule == "radius":
        here = name
    if not finding.other or finding.other_at is None:
        return here
    joined = "over" if finding.rule == "vertical room" else "and"
    return f"{here} {joined} {tracks[finding.other].name} at {reader.length(finding.other_at)}"


def figure_words(value: float, finding: Finding, reader: Reader) -> str:
    """Return a figure of a finding: a length or a share."""
    return f"{100 * value:.0f} %" if finding.kind == "share" else reader.length(value, fine=reader.system == "imperial")


def bounds_words(finding: Finding, reader: Reader) -> str:
    """Return what it takes to pass, and what fails where that differs."""
    word, other = ("under", "from") if finding.at_most else ("from", "under")
    passes = f"{word} {figure_words(finding.wanted, finding, reader)}"
    if finding.least in (finding.wanted, 0.0):
        return passes
    return f"{passes}, fails {other} {figure_words(finding.least, finding, reader)}"
