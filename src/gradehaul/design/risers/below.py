"""Track below a riser: how near it passes, whether a block on its deck clears passing stock, and how long that is."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from gradehaul.design.risers.walk import Walk
from gradehaul.quantities import INCH
from gradehaul.quantities.si import Meters
from gradehaul.track.map.plane import lay_out
from gradehaul.track.piecewise import FloatArray
from gradehaul.track.proximity.spacing import spacing_of

BLOCK_WIDTH = 1.5 * INCH
"""How wide a post or block is, m: a 1x2 laid flat, 3/4 by 1 1/2 in (common practice)."""

PARALLEL = math.cos(math.radians(20))
"""Track that runs at a greater angle does not run along."""

_NEAR_BY = 0.005
"""How closely track is followed, m."""


@dataclass(frozen=True, slots=True)
class TrackBelow:
    """The track below a riser that a support under its center line would come nearest to, lengths in m.

    `apart` is how far its center line passes from that riser, `clear` how far from its center a block's face must
    stand: half the stock's width and the room beside it, and on a curve what stock overhangs (NEM 103). `room` is the
    least from the top of a deck below up to the deck of the riser. `fits` is whether blocks can hold the riser: one
    under its center line, or else, over track that runs along right under it as on a helix, two `beside` that track.
    """

    track: str
    apart: Meters
    clear: Meters
    room: Meters
    fits: bool
    beside: bool


class _Rail(NamedTuple):
    """Track in short chords: where each starts, x + iy, and leads, m, the railhead there, the bend, and whose it is."""

    place: NDArray[np.complex128]
    leads: NDArray[np.complex128]
    railhead: FloatArray
    bend: FloatArray
    track: NDArray[np.str_]


def tracks_below(walk: Walk, places: FloatArray, structure: float, deck: float) -> Iterator[TrackBelow | None]:
    """Yield for each place of a walk, m, the track below a support there; None where none is so near.

    Track lies below where its railhead is more than `structure`, m, under that of the walk, and counts as far as a
    support would stand in the way of its stock, or a car's width if that is more.
    """
    scale = walk.layout.plan.scale
    rail = _Rail(*(np.concatenate(columns) for columns in zip(_walked(walk), _not_walked(walk), strict=True)))
    clear = 0.5 * scale.stock_width + scale.side_clearance + spacing_of(walk.layout.plan).overhang(rail.bend)
    spots, headings, _ = walk.places(places)
    railheads = walk.railhead.at(np.minimum(places, walk.length))
    for at, spot, heading, railhead in zip(places, spots, headings, railheads, strict=True):
        off = (spot - rail.place) * np.exp(-1j * np.angle(rail.leads))
        apart = np.hypot(off.real - np.clip(off.real, 0.0, np.abs(rail.leads)), off.imag)
        need = clear + 0.5 * BLOCK_WIDTH
        near = (apart < np.maximum(need, scale.stock_width)) & (rail.railhead < railhead - structure)
        below = np.flatnonzero(near)
        if not below.size:
            yield None
            continue
        # both decks slope, so each point below counts against the point of this deck over it
        over = at + ((rail.place[below] - spot) * np.exp(-1j * heading)).real
        rooms = walk.railhead.at(np.clip(over, 0.0, walk.length)) - rail.railhead[below]
        worst = below[np.argmin((apart - need)[below])]
        along = np.abs(np.cos(np.angle(rail.leads[below]) - heading)) >= PARALLEL
        beside = bool(apart[worst] < need[worst] and along.all() and apart[worst] <= scale.gauge)
        fits = bool(apart[worst] >= need[worst]) or beside
        widest = float(clear[below].max())
        name = str(rail.track[worst])
        yield TrackBelow(name, float(apart[worst]), widest, float(rooms.min() - deck), fits, beside)


def _walked(walk: Walk) -> _Rail:
    samples = np.linspace(0.0, walk.length, max(int(walk.length / _NEAR_BY), 2))
    places, _, bends = walk.places(samples)
    own = np.clip(np.searchsorted(walk.starts, samples - 1e-9) - 1, 0, len(walk.ways) - 1)
    names = np.array([walk.layout.plan.tracks[way.track].name for way in walk.ways])
    bend = np.maximum(np.abs(bends[:-1]), np.abs(bends[1:]))
    return _Rail(places[:-1], np.diff(places), walk.railhead.at(samples[:-1]), bend, names[own[1:]])


def _not_walked(walk: Walk) -> _Rail:
    alignment = walk.layout.alignment
    positions, walked = alignment.positions, {way.track for way in walk.ways}
    frame = positions.tracks[walk.ways[0].track].frame
    names = [name for name, at in positions.tracks.items() if at.frame == frame and name not in walked]
    if not names or not positions.usable(frame):
        none, flat = np.empty(0, dtype=complex), np.empty(0)
        return _Rail(none, none, flat, flat, np.empty(0, dtype=str))
    tracks = [alignment.tracks[name] for name in names]
    starts = [positions.tracks[name].start for name in names]
    laid = lay_out([track.sections for track in tracks], starts, _NEAR_BY, longest=_NEAR_BY)
    heights = [track.railhead.at(laid.distance[laid.track == number]) for number, track in enumerate(tracks)]
    bend = np.maximum(np.abs(laid.parts.first), np.abs(laid.parts.last))
    shown = np.array([walk.layout.plan.tracks[name].name for name in names])
    return _Rail(laid.place, laid.leads, np.concatenate(heights), bend, shown[laid.track])
