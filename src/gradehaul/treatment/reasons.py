"""Reasons: what keeps a unit clean, as the train that would fail, its test, and the place of its head."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gradehaul.haulage.profile import RouteProfile
from gradehaul.quantities.si import Meters, Newtons
from gradehaul.treatment.needs import Bools, FilmTest, TightPlaces


@dataclass(frozen=True, slots=True)
class HeadPlace:
    """A place on a track: its id, and the distance from the start of the track, m."""

    KEYS: ClassVar[str] = "track at=along"

    track: str
    along: Meters


@dataclass(frozen=True, slots=True)
class Reason:
    """What keeps a unit clean: a train, its test that would fail, where its head is then, m, and by how much, N.

    `track` names the track that its head is on, `on` is the place there.
    """

    KEYS: ClassVar[str] = "train test at=head track on short"

    train: str
    test: FilmTest
    head: Meters
    track: str
    short: Newtons
    on: HeadPlace


def reasons(
    tight: Sequence[TightPlaces],
    kept: Collection[int],
    filmed: Collection[int],
    takes: Bools,
    clean: Bools,
    profiles: Mapping[str, RouteProfile],
) -> dict[int, Reason]:
    """Return what keeps units clean: for each the place that would fail most if film came on it, too.

    `tight` are the places that set bounds to the film; `kept` and `filmed` the units that are kept clean and those that
    are wiped; `takes` and `clean` whether film would change each unit, and whether it is clean now; `profiles` the
    route of each train, by its name.
    """
    stays, sure = np.zeros(takes.size, dtype=bool), np.zeros(takes.size, dtype=bool)
    stays[list(kept)] = True
    sure[list(filmed)] = True
    most: dict[int, tuple[float, TightPlaces, int]] = {}
    for place in tight:
        short = place.short_with(~stays, sure, takes, clean)
        codes, losses = [np.zeros(0, dtype=np.intp)], [np.zeros(0)]
        for under, loss in zip(place.under, place.loss, strict=True):
            where = np.flatnonzero((loss > 0) & (under.count(~stays & takes) == 0))
            at, units = under.at(where).pairs()
            counts = stays[units] & takes[units]
            own = np.unique(where[at[counts]] * takes.size + units[counts])  # on a lap a unit may be there twice
            codes.append(own)
            losses.append(loss[own // takes.size])
        code, which = np.unique(np.concatenate(codes), return_inverse=True)
        worst = short[code // takes.size] + np.bincount(which, np.concatenate(losses), minlength=code.size)
        order = np.lexsort((code, -worst, code % takes.size))
        number, first = np.unique(code[order] % takes.size, return_index=True)
        for one, k in zip(number.tolist(), order[first].tolist(), strict=True):
            if worst[k] > 0 and (one not in most or worst[k] > most[one][0]):
                most[one] = float(worst[k]), place, int(code[k] // takes.size)
    return {
        number: _reason(place.train, place.test, float(place.head[k]), short, profiles[place.train])
        for number, (short, place, k) in most.items()
    }


def _reason(train: str, test: FilmTest, head: float, short: float, profile: RouteProfile) -> Reason:
    starts, ways = profile.starts, profile.route.ways
    which = int(np.clip(np.searchsorted(starts, head - 1e-9, side="right") - 1, 0, len(ways) - 1))
    begin, end = float(starts[which]), float(starts[which + 1])
    along = head - begin if ways[which].forward else end - head
    return Reason(train, test, head, profile.track_at(head), short, HeadPlace(ways[which].track, along))
