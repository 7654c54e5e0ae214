"""Pull in many draws at once: what the locomotives of a train give together on the rails under them."""

from __future__ import annotations

from typing import Literal

import numpy as np

from gradehaul.haulage.train import Train
from gradehaul.haulage.trust.draws import Draws
from gradehaul.plan.records import Loco
from gradehaul.track.piecewise import FloatArray

State = Literal["standing", "slipping"]


def given(train: Train, under: tuple[tuple[str, ...], ...], draws: Draws, state: State = "standing") -> FloatArray:
    """Return what the locomotives of a train give together, each on the weakest rail under it, N, shape (draws,).

    Parameters
    ----------
    train
        The train.
    under
        The rail conditions under each of its locomotives.
    draws
        Draws of the plan's figures.
    state
        Whether its wheels hold or slip.
    """
    pulls = [weakest(loco, rails, draws, state) for (loco, _), rails in zip(train.locos, under, strict=True)]
    together = draws.together(train.together, train.together_basis)
    total: FloatArray = np.sum(pulls, axis=0) * (train.together if together is None else together)
    return total


def weakest(loco: Loco, rails: tuple[str, ...], draws: Draws, state: State = "standing") -> FloatArray:
    """Return the weakest pull of a locomotive on any of some rail conditions, draw by draw, N, shape (draws,)."""
    pull = draws.standing if state == "standing" else draws.slipping
    least: FloatArray = np.min([pull(loco, rail) for rail in rails], axis=0)
    return least
