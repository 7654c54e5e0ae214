"""A strip to print at full size: the track's center line in plan, cut into stretches that fit on a page each."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.risers.risers import Riser, Risers
from gradehaul.design.risers.walk import Walk
from gradehaul.errors import DesignError
from gradehaul.quantities import describe
from gradehaul.quantities.si import Meters, Radians
from gradehaul.track.curvature import Section
from gradehaul.track.piecewise import FloatArray

MOST_PAGES = 100
_FINE = 1e-5
"""How closely the center line is followed, m."""
_SHORTEST = 0.02
"""A page that holds less of the track than this, m, is too small."""
_SHRINK = 0.95


class PageRoom(NamedTuple):
    """The room of a page for the strip, m: along it and across it, and the overlap at both ends."""

    along: Meters
    across: Meters
    overlap: Meters = 0.012


class StripMark(NamedTuple):
    """A place on the strip: how far along the walk, m, where on its page, m, and the heading there, rad."""

    at: Meters
    place: complex
    heading: Radians


@dataclass(frozen=True, slots=True, eq=False)
class StripPage:
    """A stretch of the strip as it lies on its page, with the origin in the middle of the page, m.

    `line` are points of the center line, with the overlap at both ends, shape (n,). `joins` are the marks at which the
    page meets the one before and the one after.
    """

    number: int
    start: Meters
    stop: Meters
    line: NDArray[np.complex128]
    joins: tuple[StripMark, StripMark]
    risers: tuple[tuple[StripMark, Riser], ...]
    tangents: tuple[tuple[StripMark, str], ...]


def strip_pages(found: Risers, length: float, paper: PageRoom, half_width: float) -> tuple[StripPage, ...]:
    """Return the pages of a strip, from the first riser on.

    Each page shows the track in plan at full size, turned so that its stretch lies along the page. A page begins where
    the one before ends. The strip has a length along the track, m; marks reach `half_width` to either side of it, m.
    """
    unit = found.walk.layout.plan.unit
    if length <= 0:
        raise DesignError("a strip must be longer than 0", place="--strip", found=describe(length, "length", unit))
    if 2 * half_width > paper.across:
        raise DesignError(
            f"the page is too small for one riser: its mark is {describe(2 * half_width, 'length', unit)} wide",
            place="--strip",
            found=f"{describe(paper.across, 'length', unit)} across",
            write="a larger --paper, or no strip",
        )
    stop = min(found.begin + length, found.walk.length)
    pages: list[StripPage] = []
    at = found.begin
    while at < stop - 1e-9:
        if len(pages) == MOST_PAGES:
            write = f"--strip {describe(at - found.begin, 'length', unit)!r} or less"
            raise DesignError(f"a strip has at most {MOST_PAGES} pages", place="--strip", write=write)
        end = _fitting(found.walk, at, stop, paper, half_width)
        pages.append(_page(found, len(pages) + 1, at, end, paper))
        at = end
    return tuple(pages)


def _fitting(walk: Walk, start: float, stop: float, paper: PageRoom, half_width: float) -> float:
    """Return how far a stretch can go and still fit on a page."""
    room = complex(paper.along - 2 * paper.overlap, paper.across - 2 * half_width)
    end = min(stop, start + room.real)
    while True:
        if end - start < min(_SHORTEST, stop - start):
            unit = walk.layout.plan.unit
            raise DesignError(
                "the page is too small for this curve",
                place="--strip",
                found=f"{describe(paper.along, 'length', unit)} by {describe(paper.across, 'length', unit)}",
                write="a larger --paper",
            )
        seen, _ = _turned(walk, np.linspace(start, end, 65), start, end)
        if np.ptp(seen.real) <= room.real + 1e-9 and np.ptp(seen.imag) <= room.imag + 1e-9:
            return end
        end = start + _SHRINK * (end - start)


def _turned(walk: Walk, at: FloatArray, start: float, end: float) -> tuple[NDArray[np.complex128], FloatArray]:
    """Return places along a stretch as they lie with its chord along the page, from its start, and the headings."""
    places, headings, _ = walk.places(at)
    first, last = walk.places(np.array([start, end]))[0]
    chord = cmath.phase(complex(last - first))
    return (places - first) * np.exp(-1j * chord), headings - chord


def _page(found: Risers, number: int, start: float, end: float, paper: PageRoom) -> StripPage:
    walk = found.walk
    seen, _ = _turned(walk, np.linspace(start, end, 65), start, end)
    middle = complex(0.5 * (seen.real.max() + seen.real.min()), 0.5 * (seen.imag.max() + seen.imag.min()))

    def mark(at: float) -> StripMark:
        place, heading = _turned(walk, np.array([at]), start, end)
        return StripMark(at, complex(place[0]) - middle, float(heading[0]))

    low, high = max(0.0, start - paper.overlap), min(walk.length, end + paper.overlap)
    _, _, curvature = walk.places(np.linspace(low, high, 65))
    chord = math.sqrt(8 * _FINE / max(float(np.abs(curvature).max()), 1e-3))
    line, _ = _turned(walk, np.linspace(low, high, max(2, math.ceil((high - low) / chord) + 1)), start, end)
    inside = [(mark(riser.at), riser) for riser in found.risers if start - 1e-9 <= riser.at <= end + 1e-9]
    unit, changes = walk.layout.plan.unit, walk.tangent_points
    near = [(at, after) for at, _, after in changes if start - 1e-9 <= at <= end + 1e-9]
    tangents = [(mark(at), section_words(after, unit)) for at, after in near]
    return StripPage(number, start, end, line - middle, (mark(start), mark(end)), tuple(inside), tuple(tangents))


def section_words(section: Section, unit: str) -> str:
    """Return what begins at a tangent point."""
    if section.first != section.last:
        return "easement"
    if abs(section.first) < 1e-9:
        return "straight"
    return f"radius {describe(1 / abs(section.first), 'length', unit)}"
