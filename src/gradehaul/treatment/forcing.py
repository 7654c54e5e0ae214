"""What keeps a unit clean: the train that would fail, its test, and the place of its head on the track."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from gradehaul.haulage.profile import RouteProfile
from gradehaul.treatment.needs import Test, Tight


class OnTrack(NamedTuple):
    """A place on a track: its id, and the distance from the start of the track, m."""

    track: str
    along: float


@dataclass(frozen=True, slots=True)
class Forced:
    """What keeps a unit clean: a train, its test that would fail, where its head is then, m, and by how much, N.

    `track` names the track that its head is on, `on` tells the place there.
    """

    train: str
    test: Test
    head: float
    track: str
    short: float
    on: OnTrack


def forced_by(number: int, place: Tight, kept: Collection[int], profile: RouteProfile) -> Forced:
    """Return what keeps a unit clean, by its number and the place that would fail most if it were filmed too.

    Parameters
    ----------
    number, place
        The unit and the place.
    kept
        The units that are kept clean, this one among them.
    profile
        The train's route.
    """
    still = set(kept) - {number}
    starts, ways = profile.starts, profile.route.ways
    which = int(np.clip(np.searchsorted(starts, place.head - 1e-9, side="right") - 1, 0, len(ways) - 1))
    begin, end = float(starts[which]), float(starts[which + 1])
    along = place.head - begin if ways[which].forward else end - place.head
    return Forced(
        place.train,
        place.test,
        place.head,
        profile.track_at(place.head),
        place.short(lambda under: bool(under - still)),
        OnTrack(ways[which].track, along),
    )
