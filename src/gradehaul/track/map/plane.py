"""The plane: where one track leads, and the points along it, in closed form or exact to rounding."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from gradehaul.quantities.si import Meters, Radians
from gradehaul.track.curvature import Section
from gradehaul.track.piecewise import FloatArray

ComplexArray = NDArray[np.complex128]
_Number = TypeVar("_Number", np.float64, np.complex128)

MOST_POINTS = 2_000
"""The most pieces into which one track is cut for drawing or measuring."""

_TURN_OF_PART = 2.0
"""An easement is integrated in parts that turn by at most this, rad, so that the rule below is exact to rounding."""

_MOST_PARTS = 64
"""The most parts of one track for its leg: over 20 full turns; one that turns farther is only approximate."""

_RULE = 12
"""Points of the Gauss-Legendre rule for each part of an easement."""


class Leg(NamedTuple):
    """How far a track or a line leads from its start, x + iy with x along the heading there, and by what it turns."""

    chord: complex
    turn: Radians

    def then(self, other: Leg) -> Leg:
        """Return this leg and another after it as one."""
        return Leg(self.chord + other.chord * cmath.exp(1j * self.turn), self.turn + other.turn)

    def reversed(self) -> Leg:
        """Return the leg as it is met from its far end."""
        return Leg(self.chord * cmath.exp(-1j * self.turn), -self.turn)

    def inverse(self) -> Leg:
        """Return the leg that leads back along this one, to its start and its heading there."""
        return Leg(-self.chord * cmath.exp(-1j * self.turn), -self.turn)

    def apart(self, other: Leg) -> tuple[float, float]:
        """Return how far the ends of two legs are apart, m, and by how much this one heads farther left, rad."""
        return abs(self.chord - other.chord), math.remainder(self.turn - other.turn, math.tau)


class Pose(NamedTuple):
    """A place, m, and the heading there, radians counterclockwise, 0 along x."""

    x: Meters
    y: Meters
    heading: Radians

    @classmethod
    def of(cls, leg: Leg) -> Pose:
        """Return the pose to which a leg leads from the origin."""
        return cls(leg.chord.real, leg.chord.imag, math.remainder(leg.turn, math.tau))

    @property
    def leg(self) -> Leg:
        """The leg that leads there from the origin."""
        return Leg(complex(self.x, self.y), self.heading)


class Trace(NamedTuple):
    """Points along a track: the distance of each from the track's start, m, shape (n,), and x, y, m, shape (n, 2)."""

    distance: FloatArray
    xy: FloatArray


class Parts(NamedTuple):
    """Short stretches of evenly running curvature: lengths, m, curvatures at both ends, 1/m, shape (n,) each."""

    length: FloatArray
    first: FloatArray
    last: FloatArray


def many_points(
    tracks: Sequence[Sequence[Section]],
    starts: Sequence[Pose],
    tolerance: float,
    *,
    longest: float = math.inf,
    most: int = MOST_POINTS,
) -> tuple[NDArray[np.intp], FloatArray, FloatArray]:
    """Return points along many tracks, one after another, each in its place to rounding and so close that chords do.

    An arc of curvature κ strays from a chord over the length h by the sagitta κ h² / 8, so h = √(8 tolerance / κ);
    in an easement the larger curvature of its ends counts. No chord is longer than `longest`, m. A track has at most
    `most` chords, or one a section if that is more: one that would need more strays farther.

    Returns the number of the track of each point, its distance along it, m, both of shape (n,), and x, y, m, (n, 2).
    """
    laid = lay_out(tracks, starts, tolerance, longest=longest, most=most)
    # a place before each part, and one behind the last of each track
    opens = np.searchsorted(laid.track, np.arange(len(tracks)))
    behind = np.append(opens[1:], laid.track.size)
    end = laid.place[behind - 1] + laid.leads[behind - 1]
    places = np.insert(laid.place, behind, end)
    distance = np.insert(laid.distance, behind, laid.distance[behind - 1] + laid.parts.length[behind - 1])
    track = np.insert(laid.track, behind, np.arange(len(tracks)))
    return track, distance, np.column_stack([places.real, places.imag])


def points(
    sections: Sequence[Section],
    start: Pose = Pose(0.0, 0.0, 0.0),  # noqa: B008 - a frozen pose
    tolerance: float = 1e-4,
    *,
    longest: float = math.inf,
    most: int = MOST_POINTS,
) -> Trace:
    """Return the points along one track; see `many_points`."""
    return Trace(*many_points([sections], [start], tolerance, longest=longest, most=most)[1:])


class LaidTracks(NamedTuple):
    """Many tracks cut into parts of evenly running curvature, n in all, one track after another; arrays of shape (n,).

    `distance` is how far along its track each part starts, m, `place` where, x + iy, `leads` where from there to its
    end, and `heading` the heading at its start.
    """

    track: NDArray[np.intp]
    distance: FloatArray
    parts: Parts
    place: ComplexArray
    leads: ComplexArray
    heading: FloatArray

    def at(self, part: NDArray[np.intp], along: FloatArray) -> ComplexArray:
        """Return the places so far along parts, m, exact to rounding, x + iy."""
        length, first, last = (column[part] for column in self.parts)
        chord = _chords(Parts(along, first, first + (last - first) * (along / length)))
        found: ComplexArray = self.place[part] + chord * np.exp(1j * self.heading[part])
        return found


def lay_out(
    tracks: Sequence[Sequence[Section]],
    starts: Sequence[Pose],
    tolerance: float = math.inf,
    *,
    longest: float = math.inf,
    most: int = MOST_POINTS,
) -> LaidTracks:
    """Lay out many tracks in parts whose chords stray no farther than a tolerance; see `many_points`."""
    length, first, last = np.array([(p.length, p.first, p.last) for parts in tracks for p in parts]).T
    owner = np.repeat(np.arange(len(tracks)), [len(parts) for parts in tracks])
    sharpest = np.maximum(np.abs(first), np.abs(last))
    count = np.maximum(length * np.sqrt(sharpest / (8.0 * tolerance)), length / longest)
    count = np.maximum(count, np.where(first != last, length * sharpest / _TURN_OF_PART, 0.0))
    whole = np.ceil(np.clip(count * (1 - 1e-12), 1.0, float(most)))
    total = np.bincount(owner, whole, minlength=len(tracks))[owner]
    whole = np.where(total > most, np.maximum(np.floor(whole * (most / total)), 1.0), whole)
    number = whole.astype(int)
    parts = _parts(length, first, last, number)
    track = np.repeat(owner, number)
    opens = np.searchsorted(track, np.arange(len(tracks)))  # the first part of each track
    x, y, headings = np.array(starts, dtype=float).reshape(-1, 3).T
    heading = headings[track] + _before(_turns(parts), opens, track)
    leads = _chords(parts) * np.exp(1j * heading)
    return LaidTracks(
        track,
        _before(parts.length, opens, track),
        parts,
        _before(leads, opens, track) + (x + 1j * y)[track],
        leads,
        heading,
    )


def _before(values: NDArray[_Number], opens: NDArray[np.intp], track: NDArray[np.intp]) -> NDArray[_Number]:
    """Return for every part the sum over those before it on its track."""
    sums = np.append(values.dtype.type(0.0), np.cumsum(values)[:-1])
    found: NDArray[_Number] = sums - sums[opens][track]
    return found


def _parts(length: FloatArray, first: FloatArray, last: FloatArray, count: NDArray[np.int_]) -> Parts:
    """Cut each section into a count of equal parts."""
    section = np.repeat(np.arange(length.size), count)
    place = np.arange(section.size) - np.repeat(np.cumsum(count) - count, count)
    rise = (last - first)[section] / count[section]
    begin = first[section] + place * rise
    # an arc stays exactly even
    return Parts((length / count)[section], begin, np.where(rise == 0.0, begin, begin + rise))


def _turns(parts: Parts) -> FloatArray:
    return 0.5 * parts.length * (parts.first + parts.last)


@lru_cache(maxsize=1)
def _gauss_legendre() -> tuple[FloatArray, FloatArray]:
    """Return the points and weights of the rule on the stretch from 0 to 1."""
    place, weight = np.polynomial.legendre.leggauss(_RULE)
    return 0.5 * (place + 1.0), 0.5 * weight


def _chords(parts: Parts) -> ComplexArray:
    """Return how far each part leads from its start, x + iy with x along the heading there.

    An arc's chord is length × sin(α) / α at the angle α, half of what it turns. An easement is a clothoid: ∫ exp(iθ) ds
    with θ = κ₁ s + (κ₂ − κ₁) s² / (2 length), by a Gauss-Legendre rule that is exact to rounding where it turns little.
    """
    half = 0.5 * _turns(parts)
    chord: ComplexArray = parts.length * np.sinc(half / math.pi) * np.exp(1j * half)
    eased = np.flatnonzero(parts.first != parts.last)
    if eased.size:
        place, weight = _gauss_legendre()
        length, first, last = (column[eased, np.newaxis] for column in parts)
        turned = length * place * (first + 0.5 * (last - first) * place)
        chord[eased] = parts.length[eased] * (np.exp(1j * turned) @ weight)
    return chord


def legs_of(sections: Mapping[str, Sequence[Section]]) -> dict[str, Leg]:
    """Return the leg of every track."""
    if not sections:
        return {}
    laid = lay_out([*sections.values()], [Pose(0.0, 0.0, 0.0)] * len(sections), most=_MOST_PARTS)
    opens = np.searchsorted(laid.track, np.arange(len(sections)))
    chords = np.add.reduceat(laid.leads, opens).tolist()
    turns = np.add.reduceat(_turns(laid.parts), opens).tolist()
    return {track: Leg(chord, turn) for track, chord, turn in zip(sections, chords, turns, strict=True)}
