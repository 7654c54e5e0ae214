"""Where a pull comes from, under a locomotive that stands on several kinds of rail."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from gradehaul.haulage.adhesion import Pull
from gradehaul.haulage.demand import bases_at

TRAIN = SimpleNamespace(locos=[(SimpleNamespace(length=0.2), 0.0)])


def pulls(**by_rail: Pull) -> SimpleNamespace:
    def look_up(_loco: object, rail: str) -> Pull:
        return by_rail[rail]

    return SimpleNamespace(standing=look_up, slipping=look_up)


@pytest.mark.parametrize("under", [["clean", "oiled"], ["oiled", "clean"]])
@pytest.mark.parametrize(
    ("clean", "oiled", "told"),
    [
        (Pull(0.5, "measured"), Pull(0.5, "assumed"), "assumed"),  # equals: the least certain, in any order
        (Pull(0.5, "assumed"), Pull(0.5, "measured"), "assumed"),
        (Pull(0.4, "measured"), Pull(0.5, "assumed"), "measured"),  # the weakest pull counts
        (Pull(0.5, "assumed"), Pull(0.4, "measured"), "measured"),
    ],
)
def test_the_basis_under_a_locomotive_does_not_hang_on_any_order(under, clean, oiled, told):
    rails = tuple((rail,) for rail in under)
    profile = SimpleNamespace(rails=rails, starts=np.array([0.0, 1.0, 2.0]), route=SimpleNamespace(lap=False))
    found = bases_at(profile, TRAIN, "as planned", pulls(clean=clean, oiled=oiled), 1.1)
    assert (found.standing, found.slipping) == (told, told)
