"""Demand and pull of a train at the place where it has least to spare, cause by cause."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from gradehaul.haulage.demand import demand_at, tension_at
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.haulage.verdict import Verdict
from gradehaul.quantities.si import Meters, Newtons
from gradehaul.track.piecewise import FloatArray


@dataclass(frozen=True, slots=True)
class DemandBreakdown:
    """Demand and pull with the train's head at one place, m from where its route begins, N."""

    at: Meters
    track: str
    grade: Newtons
    curves: Newtons
    rolling: Newtons
    tension: Newtons
    """Friction of flanges that coupler tension presses; 0 where the plan leaves it out."""
    pull: Newtons
    """The standing pull."""

    @property
    def all(self) -> Newtons:
        """The whole demand."""
        return self.grade + self.curves + self.rolling + self.tension


def demand_breakdown(profile: RouteProfile, train: Train, verdict: Verdict) -> DemandBreakdown:
    """Return the demand of a train where it has least to spare, on a route with or without reversals."""
    # of two legs that meet there, the one that ends: a leg begins with its train on track that it has just gone over
    leg, start = next(run for run in profile.runs if verdict.margin_at <= run[1] + run[0].length * (1 + 1e-12))
    runs, head = train.after(leg.route.run_rounds), verdict.margin_at - start
    demanded = sum(demand_at(leg, runs, head))
    grade = _grades(leg, runs, head)
    tension = tension_at(leg, runs, head)
    pull = verdict.margin + demanded + runs.rolling + tension
    return DemandBreakdown(verdict.margin_at, leg.track_at(head), grade, demanded - grade, runs.rolling, tension, pull)


def _grades(profile: RouteProfile, train: Train, head: float) -> float:
    """Return the demand of grades alone on the whole train, N; behind the origin track is level, or the lap's."""
    places: FloatArray = head - train.edges
    heights = profile.railhead.at(places % profile.length if profile.route.lap else np.maximum(places, 0.0))
    return float((train.line_weights * (heights[:-1] - heights[1:])).sum())
