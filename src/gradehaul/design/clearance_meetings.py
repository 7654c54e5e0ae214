"""Meetings: every place where tracks pass over, under or beside one another, with the room there."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.clearance_chords import LONGEST, chords_of, closest, sharpest
from gradehaul.design.clearance_rail import gaps_between
from gradehaul.design.clearance_rules import Standard, widenings
from gradehaul.track.alignment import Alignment
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.plane import points

Integers = NDArray[np.intp]

_ONWARD = 1.5
"""Along the rail without reversal, what lies this many search distances ahead or nearer is the track itself."""
_PARTING = 20.0
"""Tracks that part at a joint are not judged up to this many track centers along the rail, both legs together: a
turnout of 1 in 8 needs 16 to part by one."""
_BESIDE = 1.25
"""Tracks no farther apart than so many times the room they need lie beside one another."""
_AT_ONCE = 4_000
_ROUNDING = 1e-5
"""Places nearer than this to the start of a track, m, are there."""
_FINE = 13
"""Places looked at on a track, in each of some rounds, to refine the worst place of a meeting."""
_ROUNDS = 4
_ACROSS = 5
"""Places looked at across the width of a track."""
_SQUARE = 0.03
"""The nearest places of two chords count as side by side up to this share of the fouling distance along the rail."""


class Meeting(NamedTuple):
    """The tightest place of one stretch where two tracks (or turns of one) pass: `over` one another or beside.

    `rise` is the height of the second railhead over the first, `apart` the distance of centers in the plane, `least`
    and `wanted` the centers needed there, curves allowed for; m.
    """

    over: bool
    track: str
    at: float
    other: str
    other_at: float
    rise: float
    apart: float
    least: float
    wanted: float


def meetings(alignment: Alignment, standard: Standard) -> list[Meeting]:
    """Return every meeting in a plan, frame by frame; frames whose map does not close are left out.

    Tracks over one another are those whose railheads differ by half the clear height or more, up to twice the height
    that is wanted, where stock on one reaches over the other. Tracks beside are all others no farther apart than 1.25
    times the room they need. Where a line goes on, and where lines part at a turnout, there is no meeting.
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
        self.scale = alignment.plan.scale
        self.chords = chords_of(alignment, names, standard.fouling)
        self.bend = sharpest(alignment, names, self.chords)
        lines = {name: number for number, name in enumerate(alignment.plan.lines)}
        tracks = alignment.plan.tracks
        self.line = np.array([lines[tracks[name].line] for name in names])[self.chords.track]
        self.length = np.array([alignment.tracks[name].length for name in names])
        self.wide = widenings(self.scale, self.bend, standard.group)
        self.reach = _BESIDE * (standard.centers + 2 * float(self.wide.max(initial=0.0)))
        self._gaps = gaps_between(alignment, names, _ONWARD * self.reach, _PARTING * standard.centers)
        self._fine: dict[int, tuple[FloatArray, FloatArray]] = {}

    def meetings(self) -> Iterator[Meeting]:
        found = [self._judged(part) for part in self._near()]
        pairs = _Pairs(*(np.concatenate(column) for column in zip(*found, strict=True))) if found else None
        if pairs is None or not pairs.one.size:
            return
        over = self._over(pairs.rise)
        for kind in (False, True):
            some = pairs.take(over == kind)
            short = np.abs(some.rise) if kind else some.apart - some.wanted
            for worst in _worst_of_each(some, short, self.line):
                yield self._refined(some.take(worst), over=kind)

    def _over(self, rise: Any) -> Any:  # noqa: ANN401 - a number or an array
        return np.abs(rise) >= 0.5 * self.standard.height

    def _near(self) -> Iterator[_Pairs]:
        """Yield pairs of chords within reach, those of one track after the other way round left out."""
        import shapely

        plane = self.chords.ends[:, :, :2]
        tree = shapely.STRtree(np.asarray(shapely.linestrings(plane)))
        low, high = plane.min(axis=1) - self.reach, plane.max(axis=1) + self.reach
        boxes = np.asarray(shapely.box(*low.T, *high.T))
        highest = 2 * (self.standard.height + self.standard.deck)
        span = self.chords.ends[:, :, 2]
        for begin in range(0, len(plane), _AT_ONCE):
            mine, two = tree.query(boxes[begin : begin + _AT_ONCE])
            one = mine + begin
            same = self.chords.track[one] == self.chords.track[two]
            ahead = self.chords.span[two, 0] - self.chords.span[one, 1]
            off = np.maximum(
                span[two].min(axis=1) - span[one].max(axis=1), span[one].min(axis=1) - span[two].max(axis=1)
            )
            kept = (one < two) & ~(same & (ahead < _ONWARD * self.reach)) & (off < highest)
            one, two = one[kept], two[kept]
            share, other, apart, slip = closest(plane[one], plane[two])
            square = slip <= _SQUARE * self.standard.fouling
            one, two = one[square], two[square]
            share, other, apart = share[square], other[square], apart[square]
            ends = self.chords.ends
            rise = (1 - other) * ends[two, 0, 2] + other * ends[two, 1, 2]
            rise -= (1 - share) * ends[one, 0, 2] + share * ends[one, 1, 2]
            at = self.chords.span[one, 0] + share * np.diff(self.chords.span[one])[:, 0]
            other_at = self.chords.span[two, 0] + other * np.diff(self.chords.span[two])[:, 0]
            more = self.wide[one] + self.wide[two]
            yield _Pairs(
                one, two, at, other_at, rise, apart, self.standard.fouling + more, self.standard.centers + more
            )

    def _judged(self, pairs: _Pairs) -> _Pairs:
        """Return the pairs that meet, without those that are one track going on or two that part."""
        over = self._over(pairs.rise)
        high = 2 * (self.standard.height + self.standard.deck)
        near = np.where(
            over, (pairs.apart < pairs.least) & (np.abs(pairs.rise) < high), pairs.apart < _BESIDE * pairs.wanted
        )
        pairs = pairs.take(near)
        onward, parting = self._rail_between(pairs)
        own = (onward < _ONWARD * self.reach) | ((parting < _PARTING * self.standard.centers) & ~self._over(pairs.rise))
        return pairs.take(~own)

    def _rail_between(self, pairs: _Pairs) -> tuple[FloatArray, FloatArray]:
        """Return the rail between the places of each pair, m: running on without reversal, and by parting."""
        keys, gaps = self._gaps
        found = np.full((2, pairs.one.size), np.inf)
        a, b = self.chords.track[pairs.one], self.chords.track[pairs.two]
        found[0] = np.where(a == b, np.abs(pairs.at - pairs.other_at), np.inf)
        if not keys.size:
            return found[0], found[1]
        for one in (0, 1):
            for two in (0, 1):
                key = (2 * a + one) * (2 * len(self.names)) + 2 * b + two
                place = np.minimum(np.searchsorted(keys, key), keys.size - 1)
                hit = keys[place] == key
                to_end = pairs.at if one == 0 else self.length[a] - pairs.at
                to_other = pairs.other_at if two == 0 else self.length[b] - pairs.other_at
                for kind in (0, 1):
                    rail = np.where(hit, gaps[place, kind], np.inf) + to_end + to_other
                    found[kind] = np.minimum(found[kind], rail)
        return found[0], found[1]

    def _refined(self, pair: _Pairs, *, over: bool) -> Meeting:
        """Return the worst place near a pair of chords, on the true arcs."""
        one, two = (int(self.chords.track[int(number)]) for number in (pair.one, pair.two))
        at, other_at = float(pair.at), float(pair.other_at)
        least, wanted = float(pair.least), float(pair.wanted)
        rise, apart = float(pair.rise), float(pair.apart)
        half = 0.5 * self.standard.fouling
        halves = half + float(self.wide[int(pair.one)]), half + float(self.wide[int(pair.two)])
        # what two tracks that cross share is as long as it is wide, and chords may be longer than that
        reach = 2.0 * LONGEST * self.standard.fouling
        for _ in range(_ROUNDS):
            s = np.clip(np.linspace(at - reach, at + reach, _FINE), 0.0, self.length[one])
            t = np.clip(np.linspace(other_at - 2 * reach, other_at + 2 * reach, 3 * _FINE), 0.0, self.length[two])
            found = self._lowest(one, s, two, t, halves) if over else self._nearest(one, s, two, t)
            if found is not None:
                at, other_at, rise, apart = found
            reach *= 4.0 / _FINE
        at, other_at = (0.0 if place < _ROUNDING else place for place in (at, other_at))
        return Meeting(over, self.names[one], at, self.names[two], other_at, rise, apart, least, wanted)

    def _nearest(self, one: int, s: FloatArray, two: int, t: FloatArray) -> tuple[float, float, float, float] | None:
        """Return the places, rise and distance where two tracks are nearest beside one another."""
        (xy, z), (uv, w) = self._places(one, s), self._places(two, t)
        apart = np.hypot(*(xy[:, None] - uv).T).T
        rise = w - z[:, None]
        score = np.where(self._over(rise), np.inf, apart)
        i, j = np.unravel_index(int(np.argmin(score)), score.shape)
        if not np.isfinite(score[i, j]):
            return None
        return float(s[i]), float(t[j]), float(rise[i, j]), float(apart[i, j])

    def _lowest(
        self, one: int, s: FloatArray, two: int, t: FloatArray, halves: tuple[float, float]
    ) -> tuple[float, float, float, float] | None:
        """Return the places, rise and distance where the room between two tracks over one another is least.

        Each track takes its own half-width on both its sides. Across the first, from side to side, places of its width
        are held against the second where its own width covers them.
        """
        (xy, z), (uv, w) = self._places(one, s), self._places(two, t)
        along = np.gradient(xy, axis=0)
        size = np.hypot(*along.T)
        moves = size > 0  # where a track ends, places repeat
        if moves.sum() < 2 or np.ptp(t) <= 0:
            return None
        s, xy, z, along = s[moves], xy[moves], z[moves], along[moves] / size[moves, None]
        left = np.column_stack([-along[:, 1], along[:, 0]])
        across = halves[0] * np.linspace(-1.0, 1.0, _ACROSS)
        spots = xy[:, None, :] + across[None, :, None] * left[:, None, :]
        step, start = np.diff(uv, axis=0), uv[:-1]
        long = (step**2).sum(axis=1)
        keep = long > 0
        step, start, long, t0, dt = step[keep], start[keep], long[keep], t[:-1][keep], np.diff(t)[keep]
        w0, dw = w[:-1][keep], np.diff(w)[keep]
        off = spots[:, :, None, :] - start
        share = np.clip((off * step).sum(axis=-1) / long, 0.0, 1.0)
        gap = np.hypot(off[..., 0] - share * step[:, 0], off[..., 1] - share * step[:, 1])
        foot = gap.argmin(axis=-1)
        share = np.take_along_axis(share, foot[..., None], axis=-1)[..., 0]
        gap = np.take_along_axis(gap, foot[..., None], axis=-1)[..., 0]
        rise = w0[foot] + share * dw[foot] - z[:, None]
        ends = ((foot == 0) & (share == 0)) | ((foot == long.size - 1) & (share == 1))
        score = np.where(self._over(rise) & (gap <= halves[1] * (1 + 1e-9)) & ~ends, np.abs(rise), np.inf)
        i, j = np.unravel_index(int(np.argmin(score)), score.shape)
        if not np.isfinite(score[i, j]):
            return None
        other_at = float(t0[foot[i, j]] + share[i, j] * dt[foot[i, j]])
        apart = float(np.hypot(*(xy[i] - start[foot[i, j]] - share[i, j] * step[foot[i, j]])))
        return float(s[i]), other_at, float(rise[i, j]), apart

    def _places(self, number: int, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places on a track: x and y, m, shape (n, 2), and railheads, m."""
        track = self.alignment.tracks[self.names[number]]
        if number not in self._fine:
            start = self.alignment.positions.tracks[self.names[number]].start
            trace = points(track.sections, start, 1e-4 * self.standard.fouling)
            self._fine[number] = trace.distance, trace.xy
        distance, xy = self._fine[number]
        place = np.column_stack([np.interp(at, distance, xy[:, 0]), np.interp(at, distance, xy[:, 1])])
        return place, track.railhead.at(at)


def _worst_of_each(pairs: _Pairs, short: FloatArray, line: Integers) -> Iterator[int]:
    """Yield the number of the worst pair of each connected stretch of pairs of chords."""
    if not pairs.one.size:
        return
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

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
    graph = coo_array((np.ones(row.size), (row, column)), shape=(key.size, key.size))
    stretch = connected_components(graph, directed=False)[1]
    by_stretch = np.lexsort((short, stretch))
    for first in np.flatnonzero(np.diff(stretch[by_stretch], prepend=-1)):
        yield int(by_stretch[first])
