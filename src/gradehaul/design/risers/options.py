"""The options of risers: where they stand, what lies on them, and what is usual where an option is left out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from gradehaul.design.climb.helix import usual_build
from gradehaul.design.risers.risers import LEVEL, RULE, Build, Risers, risers_along
from gradehaul.design.risers.walk import walk_along
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.quantities import describe


def risers_of(
    layout: Layout,
    lengths: Mapping[str, float | None],
    system: Literal["metric", "imperial"],
    *,
    line: str | None = None,
    route: str | None = None,
) -> Risers:
    """Return the risers along a line or a route.

    Parameters
    ----------
    layout
        The layout.
    lengths
        ``every``, and some of ``begin``, ``deck``, ``roadbed``, ``track``, ``datum``, ``rule`` and ``level``, m.
    system
        Whose rule and level are used where these are left out.
    line, route
        The line or route; where neither is named, the plan's only line.

    Raises
    ------
    DesignError
        Lengths of which no risers can be made.
    RouteError
        No such line or route.
    """
    build = usual_build(layout.plan.scale, layout.plan.practice)
    usual: dict[str, float | None] = {name: getattr(build, name) for name in ("deck", "roadbed", "track")}
    usual |= {"rule": RULE[system], "level": LEVEL[system], "datum": None, "begin": 0.0, "every": 0.0}
    wanted = usual | {name: value for name, value in lengths.items() if value is not None}
    for name in ("rule", "level"):
        value = wanted[name]
        if value is not None and value <= 0:
            raise DesignError(
                f"{name} must be longer than 0", place=f"--{name}", found=describe(value, "length", layout.plan.unit)
            )
    every, begin = wanted.pop("every") or 0.0, wanted.pop("begin") or 0.0
    return risers_along(walk_along(layout, line=line, route=route), Build(**wanted), every=every, begin=begin)  # type: ignore[arg-type]
