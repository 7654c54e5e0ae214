"""What became of a plan that a drawing was written into, and the refusal where it cannot be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, NamedTuple

from gradehaul.errors import PlanError


@dataclass(slots=True)
class Changes:
    """What became of a plan: names of tables, each as ``line "Main"``, and what is said of heights."""

    added: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    """Tables without the mark, which the drawing tells otherwise."""
    heights: list[str] = field(default_factory=list)


class Written(NamedTuple):
    """A plan file's text, what changed where there was one before, and what TOML makes of it."""

    text: str
    changes: Changes
    data: dict[str, Any]


def cannot(file: str) -> PlanError:
    """Return the refusal of a plan that cannot be changed in place."""
    return PlanError(
        "this plan is written so that it cannot be changed in place",
        file=file,
        write="each line, turnout and crossing as a table of its own, such as [line.Main]",
    )
