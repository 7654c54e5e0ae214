"""gradehaul: what each hill asks of each train, and what each locomotive gives on clean and on filmed rail.

Load a plan, make a layout of it, and ask:

    plan = gradehaul.load_plan("plans/first-hill.toml")
    layout = gradehaul.Layout(plan)
    layout.longest_train("Uphill", "switcher", "boxcar", rail="treated").rated

Everything is loaded when it is first used, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gradehaul.errors import (
        DesignError,
        DrawingError,
        GradehaulError,
        PlanError,
        Problems,
        QuantityError,
        RouteError,
    )
    from gradehaul.haulage.answers.check import CheckAnswer, check
    from gradehaul.haulage.answers.layout import Layout
    from gradehaul.haulage.longest import Load
    from gradehaul.haulage.profile import RouteProfile
    from gradehaul.haulage.verdict import Verdict
    from gradehaul.network.graph import MovementGraph, Way
    from gradehaul.network.route import Route
    from gradehaul.plan.reader import load_plan, read_plan
    from gradehaul.plan.records import Plan
    from gradehaul.track.alignment import Alignment, align
    from gradehaul.track.piecewise import PiecewiseQuadratic

__version__ = "0.2.0"

_HOMES = {
    "gradehaul.errors": (
        "DesignError",
        "DrawingError",
        "GradehaulError",
        "PlanError",
        "Problems",
        "QuantityError",
        "RouteError",
    ),
    "gradehaul.haulage.answers.check": ("CheckAnswer", "check"),
    "gradehaul.haulage.answers.layout": ("Layout",),
    "gradehaul.haulage.longest": ("Load",),
    "gradehaul.haulage.profile": ("RouteProfile",),
    "gradehaul.haulage.verdict": ("Verdict",),
    "gradehaul.network.graph": ("MovementGraph", "Way"),
    "gradehaul.network.route": ("Route",),
    "gradehaul.plan.reader": ("load_plan", "read_plan"),
    "gradehaul.plan.records": ("Plan",),
    "gradehaul.track.alignment": ("Alignment", "align"),
    "gradehaul.track.piecewise": ("PiecewiseQuadratic",),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "Alignment",
    "CheckAnswer",
    "DesignError",
    "DrawingError",
    "GradehaulError",
    "Layout",
    "Load",
    "MovementGraph",
    "PiecewiseQuadratic",
    "Plan",
    "PlanError",
    "Problems",
    "QuantityError",
    "Route",
    "RouteError",
    "RouteProfile",
    "Verdict",
    "Way",
    "align",
    "check",
    "load_plan",
    "read_plan",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
