"""Track centers: what is wanted is never less than what fails, in every scale, by either practice."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest

from gradehaul.scales import Practice, known_scales, own_scale, scale_named
from gradehaul.track.proximity.spacing import spacing_for

BENDS = np.concatenate([[0.0], 1.0 / np.geomspace(0.05, 20.0, 60)])


@pytest.mark.parametrize("practice", get_args(Practice))
def test_centers_that_fail_are_under_those_that_are_wanted(practice: Practice) -> None:
    one, other = np.meshgrid(BENDS, BENDS)
    for scale in (*map(scale_named, known_scales()), own_scale(25.0, 0.045), own_scale(300.0, 0.005)):
        for full_size in (None, 10.0, 20.0, 24.0, 30.0):
            spacing = spacing_for(scale, practice, full_size)
            wanted, least = spacing.wanted(one, other), spacing.least(one, other)
            assert (wanted >= least * (1 - 1e-12)).all(), (scale.name, full_size, float((least - wanted).max()))
