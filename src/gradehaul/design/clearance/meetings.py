"""Meetings: every place where tracks pass over, under or beside one another, with the room there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.clearance.places import WorstPlaces
from gradehaul.design.clearance.rules import HAIR, Standard
from gradehaul.quantities.si import Meters, PerMeter
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.proximity.nearness import chords_of, near_pairs
from gradehaul.track.proximity.rail import rail_gaps, rail_of

Integers = NDArray[np.intp]

_SAGITTA = 1 / 200
"""How far a chord may stray from its track while places are looked for, as a share of the fouling distance."""
_LONGEST = 2.0
"""The longest such chord, in fouling distances."""
_ONWARD = 1.5
"""Along the rail without reversal, what lies this many search distances ahead or nearer is the track itself."""
_PARTING = 20.0
"""Tracks that part at a joint are not judged up to this many track centers along the rail, both legs together: a
turnout of 1 in 8 needs 16 to part by one."""
_BESIDE = 1.25
"""Tracks no farther apart than so many times the room they need lie beside one another."""
_ROUNDING = 1e-5
"""Places nearer than this to the start of a track, m, are there."""
_SQUARE = 0.03
"""The nearest places of two chords count as side by side up to this share of the fouling distance along the rail."""
_LEVEL = 0.05
"""Tracks that cross with less than this share of the clear height between their railheads cross on one level."""
_PARTS = 8
"""Each chord is held in so many parts against a bound."""
_CORNER = 0.05
"""A place is beside a chord up to this share of it beyond its ends, since chords leave gaps outside their corners."""


class Meeting(NamedTuple):
    """The tightest place of one stretch where two tracks (or turns of one) pass: `over` one another or beside.

    A track that was given no name counts as its whole line. `rise` is the height of the second railhead over the first,
    `apart` the distance of centers in the plane, `least` and `wanted` the centers needed there, curves allowed for; m.
    `bend` is the sharper curvature there, 1/m. Tracks that cross on one level are beside one another, 0 m apart.
    `looks` and `fails` are how much of the upper track, else of the first, has less room than passes and than fails, m.
    """

    over: bool
    track: str
    at: Meters
    other: str
    other_at: Meters
    rise: Meters
    apart: Meters
    least: Meters
    wanted: Meters
    bend: PerMeter
    looks: Meters
    fails: Meters


def meetings(alignment: Alignment, standard: Standard) -> list[Meeting]:
    """Return every meeting in a plan, frame by frame; frames whose map does not close are left out.

    Tracks over one another are those whose railheads differ by half the clear height or more, up to twice the height
    that is wanted, where stock on one reaches over the other; and those that cross with any less height, but for what
    crosses on one level. Tracks beside are all others no farther apart than 1.25 times the room they need. Where a line
    goes on, and where lines part at a turnout, there is no meeting.
    """
    positions = alignment.positions
    names: dict[int, list[str]] = {}
    for name, track in positions.tracks.items():
        if positions.usable(track.frame):
            names.setdefault(track.frame, []).append(name)
    return [each for members in names.values() for each in _Frame(alignment, members, standard).meetings()]


class _Pairs(NamedTuple):
    """Pairs of chords that meet: their numbers, the places on their tracks, and what is there; shape (n,) each."""

    one: Integers
    two: Integers
    at: FloatArray
    other_at: FloatArray
    rise: FloatArray
    apart: FloatArray
    least: FloatArray
    wanted: FloatArray

    def take(self, which: Any) -> _Pairs:  # noqa: ANN401 - whatever numpy takes for an index
        return _Pairs(*(column[which] for column in self))


class _Frame:
    """All track of one frame as chords."""

    def __init__(self, alignment: Alignment, names: Sequence[str], standard: Standard) -> None:
        self.alignment = alignment
        self.names = names
        self.standard = standard
        self.spacing = spacing = standard.spacing
        self.highest = 2 * standard.wanted_height
        fouling = spacing.fouling
        self.chords = chords_of(alignment, names, stray=fouling * _SAGITTA, longest=fouling * _LONGEST)
        self.bend = self.chords.bend
        lines = {name: number for number, name in enumerate(alignment.plan.lines)}
        tracks = alignment.plan.tracks
        self.line = np.array([lines[tracks[name].line] for name in names])[self.chords.track]
        named = [
            len(lines) + k if tracks[name].name != name else lines[tracks[name].line] for k, name in enumerate(names)
        ]
        self.named = np.array(named)[self.chords.track]
        self.length = np.array([alignment.tracks[name].length for name in names])
        self.wide = spacing.overhang(self.bend)
        most = self.bend.max(keepdims=True)
        self.reach = _BESIDE * max(
            float(spacing.wanted(most, most)[0]), spacing.straight + 2 * float(spacing.overhang(most)[0])
        )
        rail = rail_of(alignment.plan, {name: number for number, name in enumerate(names)}, slips=True)
        self._gaps = rail_gaps(rail, _ONWARD * self.reach, _PARTING * spacing.straight)

    def meetings(self) -> Iterator[Meeting]:
        found = [self._judged(*part) for part in near_pairs(self.chords.ends, self.reach, self.highest)]
        pairs = _Pairs(*(np.concatenate(column) for column in zip(*found, strict=True))) if found else None
        if pairs is None or not pairs.one.size:
            return
        over = np.abs(pairs.rise) >= 0.5 * self.standard.printed_height
        low = self._crossing_low(pairs, over)
        places = WorstPlaces(
            self.alignment, self.names, half=0.5 * self.spacing.fouling, reach=2.0 * _LONGEST * self.spacing.fouling
        )
        for kind in (False, True):
            some = np.flatnonzero((over | low) == kind)
            of_kind = pairs.take(some)
            short = np.abs(of_kind.rise) if kind else of_kind.apart - of_kind.wanted
            worst, stretch = _worst_of_each(of_kind, short, self.line, self.named)
            along = self._short_along(of_kind, stretch, over=kind)[:, : worst.size]
            yield from self._refined(pairs.take(some[worst]), low[some[worst]], along, places, over=kind)

    def _crossing_low(self, pairs: _Pairs, over: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Return which pairs lie where tracks cross over one another with less than half the clear height.

        As far as either track reaches over the other there, they are over one another and not beside.
        """
        low = np.zeros(over.size, dtype=bool)
        crosses = np.flatnonzero((pairs.apart == 0.0) & ~over)
        crosses = crosses[np.abs(pairs.rise[crosses]) >= _LEVEL * self.standard.printed_height]
        if not crosses.size:
            return low
        from scipy.spatial import cKDTree

        ends = self.chords.ends[:, :, :2]
        first, last = ends[pairs.one].swapaxes(0, 1)
        begin, end = self.chords.span[pairs.one].T
        place = first + (last - first) * ((pairs.at - begin) / (end - begin))[:, np.newaxis]
        below = np.flatnonzero(~over)
        tree = cKDTree(place[below])
        for number in crosses.tolist():
            step, other = (ends[k, 1] - ends[k, 0] for k in (pairs.one[number], pairs.two[number]))
            sine = abs(step[0] * other[1] - step[1] * other[0]) / float(np.hypot(*step) * np.hypot(*other))
            reach = float(pairs.least[number]) / max(sine, 1e-3)
            near = below[tree.query_ball_point(place[number], reach)]
            same = (self.line[pairs.one[near]] == self.line[pairs.one[number]]) & (
                self.line[pairs.two[near]] == self.line[pairs.two[number]]
            )
            low[near[same & (pairs.apart[near] < pairs.least[near])]] = True
        return low

    def _judged(self, one: Integers, two: Integers) -> _Pairs:
        """Return the pairs of chords that meet, without those that are one track going on or two that part."""
        ends, span, track = self.chords.ends, self.chords.span, self.chords.track
        kept = (track[one] != track[two]) | (span[two, 0] - span[one, 1] >= _ONWARD * self.reach)
        one, two = one[kept], two[kept]
        share, other, apart, slip = _closest(ends[one, :, :2], ends[two, :, :2])
        near = (slip <= _SQUARE * self.spacing.fouling) & (apart < self.reach)
        one, two, share, other, apart = one[near], two[near], share[near], other[near], apart[near]
        rise = (1 - other) * ends[two, 0, 2] + other * ends[two, 1, 2]
        rise -= (1 - share) * ends[one, 0, 2] + share * ends[one, 1, 2]
        over = np.abs(rise) >= 0.5 * self.standard.printed_height
        beside = self.spacing.wanted(self.bend[one], self.bend[two])
        above = self.spacing.fouling + self.wide[one] + self.wide[two]
        least = np.where(over, above, self.spacing.least(self.bend[one], self.bend[two]))
        meets = np.where(over, (apart < above) & (np.abs(rise) < self.highest), apart < _BESIDE * beside)
        at = span[one, 0] + share * (span[one, 1] - span[one, 0])
        other_at = span[two, 0] + other * (span[two, 1] - span[two, 0])
        pairs = _Pairs(one, two, at, other_at, rise, apart, least, beside).take(meets)
        running_on, parting = self._own(track[pairs.one], track[pairs.two], pairs.at, pairs.other_at)
        return pairs.take(~(running_on | (parting & ~over[meets])))

    def _own(
        self, a: Integers, b: Integers, at: FloatArray, other_at: FloatArray
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Return whether places of tracks a and b are of one track going on, and whether of two that part."""
        running_on, parting = self._rail_between(a, b, at, other_at)
        return running_on < _ONWARD * self.reach, parting < _PARTING * self.spacing.straight

    def _rail_between(
        self, a: Integers, b: Integers, at: FloatArray, other_at: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return the rail between places of tracks a and b, m: running on without reversal, and by parting."""
        keys, gaps = self._gaps
        found = np.full((2, *np.broadcast_shapes(at.shape, other_at.shape)), np.inf)
        found[0] = np.where(a == b, np.abs(at - other_at), np.inf)
        if not keys.size:
            return found[0], found[1]
        for one in (0, 1):
            for two in (0, 1):
                key = (2 * a + one) * (2 * len(self.names)) + 2 * b + two
                place = np.minimum(np.searchsorted(keys, key), keys.size - 1)
                hit = keys[place] == key
                to_end = at if one == 0 else self.length[a] - at
                to_other = other_at if two == 0 else self.length[b] - other_at
                for kind in (0, 1):
                    rail = np.where(hit, gaps[place, kind], np.inf) + to_end + to_other
                    found[kind] = np.minimum(found[kind], rail)
        return found[0], found[1]

    def _short_along(self, pairs: _Pairs, stretch: Integers, *, over: bool) -> FloatArray:
        """Return how much of each stretch has less room than what passes, and than what fails, m, shape (2, n)."""
        ends, width = self.chords.ends, np.diff(self.chords.span)[:, 0] / _PARTS
        upper = over & (pairs.rise > 0)
        own, other = np.where(upper, pairs.two, pairs.one), np.where(upper, pairs.one, pairs.two)
        share = (np.arange(_PARTS) + 0.5) / _PARTS
        place = ends[own, :1] + share[:, np.newaxis] * np.diff(ends[own], axis=1)
        start, step = ends[other, :1], np.diff(ends[other], axis=1)
        foot = ((place - start) * step)[:, :, :2].sum(2) / (step[:, :, :2] ** 2).sum(2)
        off = place - start - foot[:, :, np.newaxis] * step
        apart = np.where(np.abs(foot - 0.5) < 0.5 + _CORNER, np.hypot(off[:, :, 0], off[:, :, 1]), np.inf)
        room = np.where(apart < pairs.least[:, np.newaxis], np.abs(off[:, :, 2]), np.inf) if over else apart
        standard = self.standard
        bounds = (standard.wanted_height, standard.least_height) if over else (pairs.wanted, pairs.least)
        found = []
        for bound in bounds:
            row, part = np.nonzero(room < np.broadcast_to(bound, own.shape)[:, np.newaxis] - HAIR)
            cells = np.unique(np.stack([stretch[row], own[row], part]), axis=1)
            found.append(np.bincount(cells[0], width[cells[1]], minlength=own.size))
        return np.stack(found)

    def _refined(
        self, pairs: _Pairs, low: NDArray[np.bool_], short: FloatArray, places: WorstPlaces, *, over: bool
    ) -> Iterator[Meeting]:
        """Yield the worst place near each pair of chords, on the true arcs."""
        one, two = self.chords.track[pairs.one], self.chords.track[pairs.two]
        if over:
            floor = np.where(low, 0.0, 0.5 * self.standard.printed_height)
            found = places.lowest(one, two, pairs[2:6], (self.wide[pairs.one], self.wide[pairs.two]), floor)
        else:
            found = places.nearest(one, two, pairs[2:6], 0.5 * self.standard.printed_height, self._own)
        bend = np.maximum(self.bend[pairs.one], self.bend[pairs.two])
        columns = (one, two, *found, pairs.least, pairs.wanted, bend, *short)
        for a, b, at, other_at, *rest in zip(*(column.tolist() for column in columns), strict=True):
            here, there = (0.0 if place < _ROUNDING else place for place in (at, other_at))
            yield Meeting(over, self.names[a], here, self.names[b], there, *rest)


def _worst_of_each(pairs: _Pairs, short: FloatArray, line: Integers, named: Integers) -> tuple[Integers, Integers]:
    """Return the number of the worst pair of each connected stretch of pairs of chords, and of each pair its stretch.

    A stretch goes on along lines, and ends where another pair of named tracks begins.
    """
    if not pairs.one.size:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=np.intp)
    count = line.size + 1
    key = pairs.one * count + pairs.two
    order = np.argsort(key)
    ranked = key[order]
    edges: list[tuple[Integers, Integers]] = []
    for up, across in ((0, 1), (1, 0), (1, 1), (1, -1)):
        one, two = pairs.one + up, pairs.two + across
        inside = (one < line.size) & (two >= 0) & (two < line.size)
        place = np.minimum(np.searchsorted(ranked, one * count + two), ranked.size - 1)
        hit = inside & (ranked[place] == one * count + two)
        one, two = np.where(inside, one, 0), np.where(inside, two, 0)
        hit &= (line[one] == line[pairs.one]) & (line[two] == line[pairs.two])
        edges.append((np.flatnonzero(hit), order[place[hit]]))
    row, column = (np.concatenate(part) for part in zip(*edges, strict=True))
    from gradehaul.plan.drawing.nearness import components  # with all that a drawing needs

    connected = components(key.size, np.column_stack((row, column)))
    both = np.sort([named[pairs.one], named[pairs.two]], axis=0)
    stretch = np.unique(np.stack([connected, *both]), axis=1, return_inverse=True)[1].ravel()
    by_stretch = np.lexsort((short, stretch))
    return by_stretch[np.flatnonzero(np.diff(stretch[by_stretch], prepend=-1))], stretch


def _closest(one: FloatArray, two: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return where chords are nearest one another: the shares of the way along both, and the distance there.

    The last is how far the one place lies along the rail from the foot of the other, on the chord where that is less.
    """
    d, e = one[:, 1] - one[:, 0], two[:, 1] - two[:, 0]
    off = one[:, 0] - two[:, 0]
    a, b, c = (d * d).sum(1), (d * e).sum(1), (e * e).sum(1)
    p, q = (d * off).sum(1), (e * off).sum(1)
    det = a * c - b * b
    inner = det > 1e-12 * a * c
    s = np.where(inner, (b * q - c * p) / np.where(inner, det, 1.0), 0.0)
    t = np.where(inner, (a * q - b * p) / np.where(inner, det, 1.0), 0.0)
    crosses = inner & (s >= 0) & (s <= 1) & (t >= 0) & (t <= 1)

    def onto(place: FloatArray, start: FloatArray, step: FloatArray, size: FloatArray) -> FloatArray:
        found: FloatArray = np.clip(((place - start) * step).sum(1) / size, 0.0, 1.0)
        return found

    zero, full = np.zeros_like(a), np.ones_like(a)
    options = [
        (s, t),
        (zero, onto(one[:, 0], two[:, 0], e, c)),
        (full, onto(one[:, 1], two[:, 0], e, c)),
        (onto(two[:, 0], one[:, 0], d, a), zero),
        (onto(two[:, 1], one[:, 0], d, a), full),
    ]
    gaps = np.stack([np.hypot(*(off + u[:, None] * d - v[:, None] * e).T) for u, v in options])
    gaps[0] = np.where(crosses, 0.0, np.inf)
    best = gaps.argmin(axis=0)
    row = np.arange(best.size)
    shares = np.stack([u for u, _ in options]), np.stack([v for _, v in options])
    u, v = shares[0][best, row], shares[1][best, row]
    apart = off + u[:, None] * d - v[:, None] * e
    slip = np.minimum(np.abs((apart * d).sum(1)) / np.sqrt(a), np.abs((apart * e).sum(1)) / np.sqrt(c))
    return u, v, gaps[best, row], slip
