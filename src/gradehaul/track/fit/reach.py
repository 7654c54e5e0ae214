"""Reach: where a line leads from its start, by the figures of it that are to be found."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from gradehaul.plan.records import Line, Track, Unknown
from gradehaul.quantities import Kind, convert
from gradehaul.track.curvature import Section, own_sections
from gradehaul.track.map.plane import Leg, legs_of

_STAY = Leg(0j, 0.0)


class Figure(NamedTuple):
    """One figure that is to be found: of which track of a line, counted from 0, and which."""

    place: int
    track: Track
    unknown: Unknown

    @property
    def name(self) -> str:
        """What it is called: a straight by its number, a curve's angle, length or radius."""
        own = f" ({self.track.name})" if self.track.name != self.track.id else ""
        what = f"{self.track.kind} {self.track.number}{own}"
        return what if self.track.kind == "straight" else f"the {self.unknown} of {what}"

    @property
    def kind(self) -> Kind:
        """What it is measured in."""
        return "angle" if self.unknown == "angle" else "length"

    def of(self, track: Track) -> float:
        """Return the figure as a track has it, SI."""
        if self.unknown == "radius":
            return 1.0 / abs(track.curvature)
        return track.length if self.unknown == "length" else abs(track.curvature) * (track.length - track.ease)

    def shown(self, value: float, unit: str) -> str:
        """Return a value of it in the plan's unit, or in degrees, to a tenth of a millimeter and a thousandth."""
        unit = unit if self.kind == "length" else "deg"
        decimals = 3 if self.kind == "angle" else max(0, math.ceil(4 - math.log10(convert(1.0, unit)) - 1e-9))
        text = f"{convert(value, unit):.{decimals}f}"
        return f"{text.rstrip('0').rstrip('.') if decimals else text} {unit}"


def figures_of(line: Line) -> tuple[Figure, ...]:
    """Return the figures of a line that the builder left to be found, in order."""
    return tuple(Figure(place, track, unknown) for place, track in enumerate(line.tracks) for unknown in track.fit)


def arc(length: float, curvature: float) -> Leg:
    """Return where an arc leads: its chord is L sin(θ/2) / (θ/2) long and turned by θ/2, with θ = κ L."""
    half = 0.5 * length * curvature
    shrink = math.sin(half) / half if half else 1.0
    return Leg(length * shrink * cmath.exp(1j * half), 2 * half)


class Reach:
    """Where a line leads by the values of its open figures, in closed form but for easements.

    Parameters
    ----------
    line
        The line.
    sections
        The sections of its tracks, by their ids; infinite in curvature where a radius is to be found.
    """

    def __init__(self, line: Line, sections: Mapping[str, Sequence[Section]]) -> None:
        self.line = line
        self.figures = figures_of(line)
        known = {
            track.id: sections[track.id]
            for track in line.tracks
            if not track.open and all(map(_finite, sections[track.id]))
        }
        self._sections = sections
        self._known = legs_of(known)

    def tracks(self, values: Sequence[float]) -> tuple[Track, ...]:
        """Return the tracks of the line with values for its figures, SI."""
        tracks = list(self.line.tracks)
        for place, own in self._by_track(values).items():
            length, curvature = _shape(tracks[place], own)
            tracks[place] = replace(tracks[place], length=length, curvature=curvature)
        return tuple(tracks)

    def _by_track(self, values: Sequence[float]) -> dict[int, dict[Unknown, float]]:
        found: dict[int, dict[Unknown, float]] = {}
        for figure, value in zip(self.figures, values, strict=True):
            found.setdefault(figure.place, {})[figure.unknown] = float(value)
        return found

    def legs(self, values: Sequence[float]) -> Iterator[tuple[float, Leg]]:
        """Yield the length, m, and the leg of every track with values for the figures; either sign of each will do."""
        own = self._by_track(values)
        for place, track in enumerate(self.line.tracks):
            if track.id in self._known:
                yield track.length, self._known[track.id]
            elif place in own:
                length, curvature = _shape(track, own[place])
                yield length, eased_arc(length, curvature, track.ease) if track.ease else arc(length, curvature)
            else:  # an easement beside a curve whose radius is to be found
                yield track.length, legs_of({track.id: [self._easement(place, own)]})[track.id]

    def end(self, values: Sequence[float]) -> Leg:
        """Return where the line leads with values for the figures."""
        leg = _STAY
        for _, each in self.legs(values):
            leg = leg.then(each)
        return leg

    def middle(self, values: Sequence[float]) -> complex:
        """Return where the middle of the line lies, half its length from its start, m, x + iy."""
        legs = list(self.legs(values))
        left = 0.5 * sum(length for length, _ in legs)
        leg = _STAY
        for place, (length, each) in enumerate(legs):
            if left <= length or place == len(legs) - 1:
                return leg.then(self._partly(place, left, length, values)).chord
            left -= length
            leg = leg.then(each)
        raise AssertionError

    def _partly(self, place: int, along: float, length: float, values: Sequence[float]) -> Leg:
        """Return where a part of a track leads."""
        track, own = self.line.tracks[place], self._by_track(values)
        if place in own or track.kind != "easement":
            length, curvature = _shape(track, own.get(place, {}))
            if not track.ease:
                return arc(along, curvature)
            sections: Sequence[Section] = own_sections(replace(track, length=length, curvature=curvature))
        else:
            sections = [self._easement(place, own)]
        return legs_of({track.id: list(_cut(sections, along))})[track.id]

    def _easement(self, place: int, own: Mapping[int, Mapping[Unknown, float]]) -> Section:
        """Return the section of an easement, with the radii that are found beside it."""
        (section,) = self._sections[self.line.tracks[place].id]
        first, last = section.first, section.last
        if not math.isfinite(first):
            first = _shape(self.line.tracks[place - 1], own[place - 1])[1]
        if not math.isfinite(last):
            last = _shape(self.line.tracks[place + 1], own[place + 1])[1]
        return Section(section.length, first, last)


def _finite(section: Section) -> bool:
    return math.isfinite(section.length) and math.isfinite(section.first) and math.isfinite(section.last)


def _shape(track: Track, own: Mapping[Unknown, float]) -> tuple[float, float]:
    """Return the length, m, and the curvature, 1/m, of a track with values for its figures."""
    curvature = track.curvature
    if "radius" in own:
        curvature = math.copysign(1.0, curvature) / own["radius"]
    length = own.get("length", track.length)
    turn = own.get("angle", track.turn)
    if turn is not None:
        length = turn / abs(curvature) + track.ease
    return length, curvature


def eased_arc(length: float, curvature: float, ease: float) -> Leg:
    """Return where a curve of a whole length leads that has an easement at each end.

    An easement of length e whose curvature runs evenly from 0 to κ turns by φ = κ e / 2, and its chord is
    e ∫₀¹ exp(i φ u²) du, which is a Fresnel integral; the one at the far end is its mirror image.
    """
    from scipy.special import fresnel

    turn = 0.5 * curvature * ease
    reach = math.sqrt(2 * abs(turn) / math.pi)
    sine, cosine = fresnel(reach)
    chord = ease * complex(cosine, math.copysign(sine, turn)) / reach if reach else complex(ease)
    first, last = Leg(chord, turn), Leg(chord.conjugate() * cmath.exp(1j * turn), turn)
    return first.then(arc(length - 2 * ease, curvature)).then(last)


def _cut(sections: Sequence[Section], along: float) -> Iterator[Section]:
    """Yield the sections of the first part of a track."""
    for section in sections:
        part = min(section.length, along)
        if part > 0:
            yield Section(part, section.first, section.first + (section.last - section.first) * part / section.length)
        along -= part
