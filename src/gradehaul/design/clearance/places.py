"""Worst places: where many pairs of tracks are nearest or lowest over one another, on the true arcs."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from gradehaul.track.alignment import Alignment
from gradehaul.track.map.plane import lay_out
from gradehaul.track.piecewise import FloatArray

Integers = NDArray[np.intp]
WorstPlace = tuple[FloatArray, FloatArray, FloatArray, FloatArray]
"""Places on both tracks, the rise of the second railhead over the first and the distance of centers, m, (n,) each."""
OwnPlaces = Callable[[Integers, Integers, FloatArray, FloatArray], tuple[NDArray[np.bool_], NDArray[np.bool_]]]
"""Of two tracks, by number, and places on both, m: whether there one goes on as the other, and whether they part."""

_FINE = 13
"""Places looked at on a track, in each of some rounds, to refine the worst place of a meeting."""
_ROUNDS = 4
_ACROSS = 5
"""Places looked at across the width of a track."""
_AT_ONCE = 128


class WorstPlaces:
    """All tracks of one frame, to be looked at closely in places.

    `half` is half the room that straight track needs, `reach` how far from a first place the worst one may lie, m.
    """

    def __init__(self, alignment: Alignment, names: Sequence[str], *, half: float, reach: float) -> None:
        self.half = half
        self.reach = reach
        tracks = [alignment.tracks[name] for name in names]
        starts = [alignment.positions.tracks[name].start for name in names]
        self.laid = lay_out([track.sections for track in tracks], starts)
        self.length = np.array([track.length for track in tracks])
        # all tracks laid end to end, with room between, so that one search finds a place on any of them
        self.offset = np.cumsum(self.length + 1.0) - self.length
        self.begins = self.laid.distance + self.offset[self.laid.track]
        heads = [track.railhead for track in tracks]
        self.breaks = np.concatenate([head.breaks[:-1] + at for head, at in zip(heads, self.offset, strict=True)])
        self.values, self.slopes, self.seconds = (
            np.concatenate([getattr(head, field) for head in heads]) for field in ("values", "slopes", "seconds")
        )

    def nearest(
        self, one: Integers, two: Integers, first: Sequence[FloatArray], level: float, own: OwnPlaces
    ) -> WorstPlace:
        """Return where each pair of tracks is nearest, where their railheads differ by less than a height.

        `first` has a first place of each pair, as the result has the last. Nowhere is it a place of which `own` says
        that there one track goes on, or two part at a turnout.
        """

        def look(which: slice, s: FloatArray, t: FloatArray) -> tuple[FloatArray, WorstPlace]:
            (xy, z), (uv, w) = self._places(one[which], s), self._places(two[which], t)
            apart = np.hypot(*np.moveaxis(xy[:, :, np.newaxis] - uv[:, np.newaxis], -1, 0))
            rise = w[:, np.newaxis] - z[:, :, np.newaxis]
            numbers = one[which, np.newaxis, np.newaxis], two[which, np.newaxis, np.newaxis]
            running_on, parting = own(*numbers, s[:, :, np.newaxis], t[:, np.newaxis])
            score = np.where((np.abs(rise) >= level) | running_on | parting, np.inf, apart)
            row, i, j = _least_of_each(score)
            return score[row, i, j], (s[row, i], t[row, j], rise[row, i, j], apart[row, i, j])

        return self._search(one, two, first, look)

    def lowest(
        self,
        one: Integers,
        two: Integers,
        first: Sequence[FloatArray],
        wide: tuple[FloatArray, FloatArray],
        floor: FloatArray,
    ) -> WorstPlace:
        """Return where the room between each pair of tracks over one another is least, of what is at least a height.

        Each track takes its own half-width on both its sides, wider by `wide` on a curve. Across the first, from side
        to side, places of its width are held against the second where its own width covers them.
        """

        def look(which: slice, s: FloatArray, t: FloatArray) -> tuple[FloatArray, WorstPlace]:
            (xy, z), (uv, w) = self._places(one[which], s), self._places(two[which], t)
            along = np.gradient(xy, axis=1)
            size = np.hypot(along[..., 0], along[..., 1])
            moves = size > 0  # where a track ends, places repeat
            along = along / np.where(moves, size, 1.0)[..., np.newaxis]
            left = np.stack([-along[..., 1], along[..., 0]], axis=-1)
            across = (self.half + wide[0][which])[:, np.newaxis] * np.linspace(-1.0, 1.0, _ACROSS)
            spots = xy[:, :, np.newaxis] + across[:, np.newaxis, :, np.newaxis] * left[:, :, np.newaxis]
            step, start = np.diff(uv, axis=1), uv[:, :-1]
            long = (step**2).sum(axis=-1)
            real = long > 0
            long = np.where(real, long, 1.0)
            dx = spots[..., np.newaxis, 0] - start[:, np.newaxis, np.newaxis, :, 0]
            dy = spots[..., np.newaxis, 1] - start[:, np.newaxis, np.newaxis, :, 1]
            sx, sy = (step[:, np.newaxis, np.newaxis, :, k] for k in (0, 1))
            share = np.clip((dx * sx + dy * sy) / long[:, np.newaxis, np.newaxis], 0.0, 1.0)
            gap = (dx - share * sx) ** 2 + (dy - share * sy) ** 2
            gap = np.where(real[:, np.newaxis, np.newaxis], gap, np.inf)
            foot = gap.argmin(axis=-1)[..., np.newaxis]
            share = np.take_along_axis(share, foot, axis=-1)[..., 0]
            gap = np.sqrt(np.take_along_axis(gap, foot, axis=-1)[..., 0])
            foot = foot[..., 0]
            row = np.arange(len(s))[:, np.newaxis, np.newaxis]
            rise = w[row, foot] + share * np.diff(w)[row, foot] - z[..., np.newaxis]
            opens, closes = real.argmax(axis=1), real.shape[1] - 1 - real[:, ::-1].argmax(axis=1)
            ends = ((foot == opens[:, None, None]) & (share == 0)) | ((foot == closes[:, None, None]) & (share == 1))
            fits = (np.abs(rise) >= floor[which][:, None, None]) & moves[..., np.newaxis] & ~ends
            fits &= gap <= ((self.half + wide[1][which]) * (1 + 1e-9))[:, np.newaxis, np.newaxis]
            score = np.where(fits, np.abs(rise), np.inf)
            row, i, j = _least_of_each(score)
            under, part = foot[row, i, j], share[row, i, j]
            other_at = t[row, under] + part * (t[row, under + 1] - t[row, under])
            apart = np.hypot(*(xy[row, i] - start[row, under] - part[:, np.newaxis] * step[row, under]).T)
            return score[row, i, j], (s[row, i], other_at, rise[row, i, j], apart)

        return self._search(one, two, first, look)

    def _search(
        self,
        one: Integers,
        two: Integers,
        first: Sequence[FloatArray],
        look: Callable[[slice, FloatArray, FloatArray], tuple[FloatArray, WorstPlace]],
    ) -> WorstPlace:
        """Look closer and closer around the best place so far."""
        best = np.stack(list(first))
        for begin in range(0, one.size, _AT_ONCE):
            which = slice(begin, min(begin + _AT_ONCE, one.size))
            reach = self.reach
            for _ in range(_ROUNDS):
                at, other_at = best[0, which, np.newaxis], best[1, which, np.newaxis]
                s = at + reach * np.linspace(-1.0, 1.0, _FINE)
                t = other_at + 2 * reach * np.linspace(-1.0, 1.0, 3 * _FINE)
                s = np.clip(s, 0.0, self.length[one[which], np.newaxis])
                t = np.clip(t, 0.0, self.length[two[which], np.newaxis])
                score, found = look(which, s, t)
                best[:, which] = np.where(np.isfinite(score), np.stack(found), best[:, which])
                reach *= 4.0 / _FINE
        return best[0], best[1], best[2], best[3]

    def _places(self, number: Integers, at: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return places on tracks, at of shape (n, m): x and y, m, shape (n, m, 2), and railheads, m, shape (n, m)."""
        at = at + self.offset[number][:, np.newaxis]
        part = np.searchsorted(self.begins, at, side="right") - 1
        place = self.laid.at(part.ravel(), (at - self.begins[part]).ravel()).reshape(at.shape)
        xy = np.stack([place.real, place.imag], axis=-1)
        which = np.searchsorted(self.breaks, at, side="right") - 1
        t = at - self.breaks[which]
        return xy, self.values[which] + t * (self.slopes[which] + 0.5 * t * self.seconds[which])


def _least_of_each(score: FloatArray) -> tuple[Integers, Integers, Integers]:
    """Return the indexes of the least value of each first index, shape (n,) each."""
    flat = score.reshape(len(score), -1).argmin(axis=1)
    i, j = np.unravel_index(flat, score.shape[1:])
    return np.arange(len(score)), i, j
