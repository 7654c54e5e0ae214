"""The main answer for a plan, in one call."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gradehaul.haulage.answers.check import CheckAnswer, check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan.records import Plan


def check(
    plan: Plan,
    *,
    all_routes: bool = False,
    hours: float | None = None,
    rails: Sequence[str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> CheckAnswer:
    return check_layout(Layout(plan, all_routes=all_routes, hours=hours), rails=rails, progress=progress)
