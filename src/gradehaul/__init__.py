"""gradehaul: what each hill of a model railroad demands of each train, and which trains still climb on treated rail.

Load a plan, make a layout of it, and ask:

    layout = gradehaul.Layout(gradehaul.load_plan("plans/first-hill.toml"))
    layout.check().passes
    layout.longest_train("Uphill", "switcher", "boxcar", rail="treated").rated

Everything is loaded when it is first used, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from gradehaul.design.clearance.findings import Clearances
    from gradehaul.design.climb.designs import HelixAnswer, InclineAnswer
    from gradehaul.design.level.railheads import Leveled
    from gradehaul.errors import (
        DesignError,
        DrawingError,
        GradehaulError,
        PlanError,
        Problems,
        QuantityError,
        RouteError,
    )
    from gradehaul.haulage.answers.check import CheckAnswer
    from gradehaul.haulage.answers.readings import ReadingsAnswer
    from gradehaul.haulage.answers.trial_train import TrialAnswer
    from gradehaul.haulage.longest import Load
    from gradehaul.haulage.profile import RouteProfile
    from gradehaul.haulage.verdict import Verdict
    from gradehaul.interface import Layout, helix, import_drawing, incline, readings
    from gradehaul.network.graph import Way
    from gradehaul.network.route import Route
    from gradehaul.plan.edit.importing import Imported
    from gradehaul.plan.reader import load_plan, read_plan
    from gradehaul.plan.records import Plan
    from gradehaul.track.piecewise import PiecewiseQuadratic
    from gradehaul.treatment.keep_clean import KeepCleanPlan

__version__ = "0.2.0"

_HOMES = {
    "gradehaul.design.clearance.findings": ("Clearances",),
    "gradehaul.design.climb.designs": ("HelixAnswer", "InclineAnswer"),
    "gradehaul.design.level.railheads": ("Leveled",),
    "gradehaul.errors": (
        "DesignError",
        "DrawingError",
        "GradehaulError",
        "PlanError",
        "Problems",
        "QuantityError",
        "RouteError",
    ),
    "gradehaul.haulage.answers.check": ("CheckAnswer",),
    "gradehaul.haulage.answers.readings": ("ReadingsAnswer",),
    "gradehaul.haulage.answers.trial_train": ("TrialAnswer",),
    "gradehaul.haulage.longest": ("Load",),
    "gradehaul.haulage.profile": ("RouteProfile",),
    "gradehaul.haulage.verdict": ("Verdict",),
    "gradehaul.interface": ("Layout", "helix", "import_drawing", "incline", "readings"),
    "gradehaul.network.graph": ("Way",),
    "gradehaul.network.route": ("Route",),
    "gradehaul.plan.edit.importing": ("Imported",),
    "gradehaul.plan.reader": ("load_plan", "read_plan"),
    "gradehaul.plan.records": ("Plan",),
    "gradehaul.track.piecewise": ("PiecewiseQuadratic",),
    "gradehaul.treatment.keep_clean": ("KeepCleanPlan",),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "CheckAnswer",
    "Clearances",
    "DesignError",
    "DrawingError",
    "GradehaulError",
    "HelixAnswer",
    "Imported",
    "InclineAnswer",
    "KeepCleanPlan",
    "Layout",
    "Leveled",
    "Load",
    "PiecewiseQuadratic",
    "Plan",
    "PlanError",
    "Problems",
    "QuantityError",
    "ReadingsAnswer",
    "Route",
    "RouteError",
    "RouteProfile",
    "TrialAnswer",
    "Verdict",
    "Way",
    "helix",
    "import_drawing",
    "incline",
    "load_plan",
    "read_plan",
    "readings",
]


def __getattr__(name: str) -> object:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
