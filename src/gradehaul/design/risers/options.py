"""What is wished of risers, read from text: where they stand, what lies on them, and the stretch to print."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from gradehaul.design.climb.helix import usual_build
from gradehaul.design.climb.options import read_option
from gradehaul.design.risers.risers import LEVEL, RULE, Build, Risers, risers_along
from gradehaul.design.risers.walk import walk_along
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.layout import Layout


def wished_risers(layout: Layout, texts: Mapping[str, str | None], system: Literal["metric", "imperial"]) -> Risers:
    """Return the risers that are wished for.

    Parameters
    ----------
    layout
        The layout.
    texts
        ``every``, and some of ``line``, ``route``, ``begin``, ``deck``, ``roadbed``, ``track``, ``datum``, ``rule`` and
        ``level``; bare lengths read in the plan's unit.
    system
        Whose rule and level are used where nothing is said.

    Raises
    ------
    DesignError
        Lengths of which no risers can be made.
    QuantityError
        A text that is no length.
    RouteError
        No such line or route.
    """

    def read(name: str, usual: float, option: str = "") -> float:
        text = texts.get(name)
        return usual if text is None else read_option(option or name, text, "length", layout.plan.unit)

    usual = usual_build(layout.plan.scale, layout.plan.practice)
    layers = {name: read(name, getattr(usual, name)) for name in ("deck", "roadbed", "track")}
    for name, value in layers.items():
        if value < 0:
            raise DesignError(f"{name} must be 0 or more", place=f"--{name}", found=str(texts[name]))
    measures = {"rule": read("rule", RULE[system]), "level": read("level", LEVEL[system])}
    for name, value in measures.items():
        if value <= 0:
            raise DesignError(f"{name} must be longer than 0", place=f"--{name}", found=str(texts[name]))
    datum = None if texts.get("datum") is None else read("datum", 0.0)
    walk = walk_along(layout, line=texts.get("line"), route=texts.get("route"))
    build = Build(**layers, **measures, datum=datum)
    return risers_along(walk, build, every=read("every", 0.0), begin=read("begin", 0.0, "from"))
