"""The wording of faults: places and lengths in the plan's unit, and the faults counted by kind, worst first.

Only what is wrong with an entity's own figures, before anything is made of it, is in m.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from gradehaul.errors import quoted
from gradehaul.plan.drawing.records import Fault, Spot
from gradehaul.plan.records import Note
from gradehaul.quantities import convert

_FINE = 2e-4
"""How finely a place is named, m."""
_GAP = 2e-5
"""How finely a gap is named, m."""
_LISTED = 3

UNUSED = "height-unused"
"""The code of faults for heights that were drawn and are not used: they come before any answer."""

FLAT_HELIX = "flat-helix"
"""The code of faults for turns that may be a helix drawn flat: they come before any answer too."""

NUMBERS = "numbers"
"""The code of faults for bare numbers on a layer that does not say what they are: they come before any answer too."""


KINDS = {
    "shortened": "Bends too small to follow",
    "unit": "The unit",
    "no-unit": "Heights without a unit",
    "turns": "Circles over one another",
    FLAT_HELIX: "Perhaps a helix drawn flat",
    "missing-block": "Blocks that are missing",
    "external-block": "Blocks of other files",
    "no-tangent": "Not joined, at an angle",
    "level-miss": "Not joined, in height",
    "near-miss": "Ends that nearly meet",
    UNUSED: "Heights not used",
    NUMBERS: "Bare numbers",
    "height-unread": "Heights not read",
    "raise": "Nothing to raise",
    "zero": "Another 0, or drawn flat",
    "climb": "Read as one climb",
    "height-misfit": "Heights that differ",
    "kink": "Breaks of direction",
    "no-rail": "Without another rail",
    "lone-layer": "Layers that meet none",
    "no-track": "Left out as no track",
    "stray": "Track by itself",
    "other-name": "Other names",
    "mark-unused": "Points that join nothing",
    "unknown-entity": "Not read as track",
    "not-read": "Not read",
    "text-unused": "Texts that name nothing",
    "easement": "Easements, as arcs",
    "radius": "Unsure radii",
    "overlap": "Drawn twice in part",
    "duplicate": "Drawn twice",
    "gap": "Gaps closed",
    "zero-length": "Without length",
    "paper-space": "On paper alone",
    "encoding": "Letters in doubt",
    "warned": "Damaged, or skipped",
}
"""What faults of each code are called, by what they cost an answer: track or heights that are missing come before what
was repaired."""


def length_text(length: float, unit: str, fine: float = _FINE) -> str:
    """Return the text of a length, to about `fine`, m.

    Examples
    --------
    >>> length_text(0.0021, "mm"), length_text(0.0021, "in"), length_text(0.00104, "mm", 2e-5)
    ('2.1 mm', '0.08 in', '1.04 mm')
    """
    return f"{convert(length, unit):.{_decimals(unit, fine)}f} {unit}"


def rounded_up(length: float, unit: str) -> str:
    """Return a length as a bare figure of a plan that is surely more, to about a fifth of a millimeter.

    Examples
    --------
    >>> rounded_up(0.0018, "in"), rounded_up(0.0021, "mm")
    ('0.08', '2.2')
    """
    times = 10 ** _decimals(unit, _FINE)
    return f"{(math.floor(convert(length, unit) * times + 0.01) + 1) / times:.12g}"


def bare(length: float, unit: str) -> str:
    """Return a length as a bare figure of a plan, to a hundredth of a millimeter or so.

    Examples
    --------
    >>> bare(0.07, "mm"), bare(0.0254 / 3, "in")
    ('70', '0.333')
    """
    return f"{round(convert(length, unit), _decimals(unit, _GAP)):.12g}"


def _decimals(unit: str, fine: float) -> int:
    return max(0, round(-math.log10(convert(fine, unit))))


def at_text(spot: Spot, unit: str) -> str:
    """Return the text of a point, to about a fifth of a millimeter.

    Examples
    --------
    >>> at_text(Spot(0.3048, 1.0287), "in"), at_text(Spot(0.3048, 1.0287), "mm")
    ('(12.00, 40.50) in', '(304.8, 1028.7) mm')
    """
    decimals = _decimals(unit, _FINE)
    x, y = (round(convert(value, unit), decimals) + 0.0 for value in (spot.x, spot.y))
    return f"({x:.{decimals}f}, {y:.{decimals}f}) {unit}"


def gap_text(gap: float, unit: str) -> str:
    """Return what is said of a gap, m, that was closed."""
    return f"ends drawn {length_text(gap, unit, _GAP)} apart are one joint"


def fault_text(fault: Fault, unit: str) -> str:
    """Return one fault with its place.

    Examples
    --------
    >>> fault_text(Fault("kink", "the direction breaks by 9 degrees", Spot(0.3, 0.1), "2F", "TRACK"), "mm")
    'the direction breaks by 9 degrees, at (300.0, 100.0) mm on layer "TRACK"'
    """
    where = "" if fault.spot is None else f", at {at_text(fault.spot, unit)}"
    known = fault.spot is None or not fault.layer or fault.layer in fault.text
    layer = "" if known else f" on layer {quoted(fault.layer)}"
    return f"{fault.text}{where}{layer}"


def by_code(faults: Iterable[Fault]) -> dict[str, list[Fault]]:
    """Return faults by their codes, those that cost an answer most first, and the worst of each first.

    Examples
    --------
    >>> list(by_code([Fault("gap", ""), Fault("no-tangent", "")]))
    ['no-tangent', 'gap']
    """
    rank = {code: number for number, code in enumerate(KINDS)}
    found: dict[str, list[Fault]] = {}
    for fault in sorted(faults, key=lambda each: (rank.get(each.code, -1), each.code, -each.weight)):
        found.setdefault(fault.code, []).append(fault)
    return found


def kind_text(code: str, count: int) -> str:
    """Return what faults of a code are called, and how many there are.

    Examples
    --------
    >>> kind_text("duplicate", 2)
    'Drawn twice (2)'
    """
    return f"{KINDS[code]} ({count:,})"


def fault_notes(file: str, faults: Sequence[Fault], unit: str) -> list[Note]:
    """Return a note for each kind of fault: how many there are, and the worst of them."""
    notes = []
    for code, found in by_code(faults).items():
        if code in {UNUSED, FLAT_HELIX}:
            continue
        worst = "; ".join(fault_text(fault, unit) for fault in found[:_LISTED])
        more = f"; and {len(found) - _LISTED} more" if len(found) > _LISTED else ""
        worst_first = ", worst first" if len(found) > 1 else ""
        notes.append(Note(file, f"{kind_text(code, len(found))}{worst_first}: {worst}{more}"))
    return notes


def unused_heights(faults: Sequence[Fault]) -> int:
    """Return how many heights of a drawing are not used."""
    return sum(fault.code == UNUSED for fault in faults)


def unused_text(count: int) -> str:
    """Return what it means that so many heights of a drawing are not used, empty where all are.

    Examples
    --------
    >>> unused_text(1)
    '1 height of the drawing is not used: a hill may be steeper'
    """
    if not count:
        return ""
    counted = "1 height of the drawing is" if count == 1 else f"{count:,} heights of the drawing are"
    return f"{counted} not used: a hill may be steeper"


def doubtful_heights(file: str, faults: Sequence[Fault], unit: str) -> list[Note]:
    """Return notes on heights that were drawn and are not used, how many and one of them, and on each flat helix.

    Examples
    --------
    >>> fault = Fault(UNUSED, '"50" is beside no track', Spot(0.3, 0.1), layer="HEIGHTS")
    >>> for note in doubtful_heights("tarn.dxf", [fault, fault], "mm"):
    ...     print(note.text)
    2 heights of the drawing are not used: a hill may be steeper ("50" is beside no track, at (300.0, 100.0) mm on
    layer "HEIGHTS")
    """
    found = by_code(faults)
    unused = [
        f"{unused_text(unused_heights(faults))} ({fault_text(fault, unit)})" for fault in found.get(UNUSED, [])[:1]
    ]
    flat = [fault_text(fault, unit) for fault in found.get(FLAT_HELIX, [])]
    return [Note(file, text) for text in (*unused, *flat)]
