"""What a shell may complete: names that stand in the plan on the line, as far as that plan can be read."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Literal

from gradehaul.errors import GradehaulError

if TYPE_CHECKING:
    import click

    from gradehaul.plan.records import Plan

Section = Literal["trains", "routes", "rails", "films", "powers", "cars", "surveys"]


def names(section: Section) -> Callable[[click.Context, click.Parameter, str], list[str]]:
    """Return a completion by the names in a section of the plan; nothing where there is no plan yet, or a faulty one.

    Examples
    --------
    >>> import click
    >>> from gradehaul.command.answers import profile
    >>> context = click.Context(profile)
    >>> context.params["plan"] = "plans/first-hill.toml"
    >>> names("rails")(context, profile.params[0], "tr")
    ['treated', 'treated fresh']
    """

    def complete(ctx: click.Context, _: click.Parameter, incomplete: str) -> list[str]:
        path = _plan(ctx)
        if path is None:
            return []
        from gradehaul.plan import load_plan

        try:
            known = _known(load_plan(path), section)
        except (GradehaulError, OSError):
            return []
        return [name for name in known if name.casefold().startswith(incomplete.casefold())]

    return complete


def _plan(ctx: click.Context) -> str | None:
    """Return the plan on the line. Where an option still lacks its value nothing before it has been taken in."""
    path = ctx.params.get("plan") or ctx.params.get("stock")
    if isinstance(path, str):
        return path
    before = [*ctx.args, *os.environ.get("COMP_WORDS", "").split()]
    return next((word for word in before if word.lower().endswith(".toml")), None)


def _known(plan: Plan, section: Section) -> Iterable[str]:
    if section == "rails":
        from gradehaul.plan.resolve.stock import conditions

        return conditions(plan.films)
    found: Iterable[str] = getattr(plan, section)
    return found
