"""The options that several verbs have, each written once."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

import click

from gradehaul.command.completion import names
from gradehaul.errors import PlanError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Verb = TypeVar("Verb", bound="Callable[..., Any]")

plan_argument = click.argument("plan", type=click.Path())
json_option = click.option("--json", "as_json", is_flag=True, help="One JSON document and nothing else.")
open_option = click.option("--open", "open_it", is_flag=True, help="Open what was written in the system's viewer.")
show_option = click.option(
    "--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]"
)
grades_option = click.option(
    "--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True
)
size_option = click.option(
    "--size", type=click.Choice(["a4", "phone"]), default="a4", show_default=True, help="Of the picture."
)
all_routes_option = click.option(
    "--all-routes", is_flag=True, help="Every route between ends and berths, up to a limit."
)
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True, help="Of the draws."
)


def csv_option(rows: str) -> Callable[[Verb], Verb]:
    """Return the option of a table, told by what its rows are."""
    return click.option("--csv", "as_csv", is_flag=True, help=f"{rows} as a table for a spreadsheet.")


def output_option(words: str, *, required: bool = False) -> Callable[[Verb], Verb]:
    """Return the option of the file to write."""
    return click.option("-o", "--output", type=click.Path(), required=required, help=words)


def trains_option(train: str) -> Callable[[Verb], Verb]:
    """Return the option that names trains, all named ones where it is not given."""
    words = f"{train}; again for more.  [default: all named]"
    return click.option("--train", "trains", multiple=True, help=words, shell_complete=names("trains"))


def routes_option(route: str) -> Callable[[Verb], Verb]:
    """Return the option that names routes, all where it is left out."""
    words = f"{route}; again for more.  [default: all]"
    return click.option("--route", "routes", multiple=True, help=words, shell_complete=names("routes"))


def more_option(sections: Sequence[str]) -> Callable[[Verb], Verb]:
    """Return the option that names sections to print below the first screen; the verb gets those that it names."""
    words = f"Print more: {', '.join(sections)} or all; with commas, or again for more."

    def chosen(_context: click.Context, _parameter: click.Parameter, values: Sequence[str]) -> tuple[str, ...]:
        return _sections(sections, values)

    return click.option("--more", multiple=True, metavar="SECTION", help=words, callback=chosen)


def _sections(known: Sequence[str], values: Sequence[str]) -> tuple[str, ...]:
    """Return the sections that are named, each once; all where one of the names is ``all``."""
    wanted = dict.fromkeys(part.strip().casefold() for value in values for part in value.split(","))
    for name in wanted:
        if name not in known and name != "all":
            from gradehaul.plan.names import nearest, quoted

            near = nearest(name, (*known, "all"))
            write = near or f"one of {', '.join((*known, 'all'))}"
            raise PlanError("there is no such section", file="--more", found=quoted(name), write=write)
    return tuple(known) if "all" in wanted else tuple(wanted)


def rails_option(default: str, rail: str = "A rail condition") -> Callable[[Verb], Verb]:
    """Return the option that names rail conditions."""
    words = f"{rail}; again for more.  [default: {default}]"
    return click.option("--rail", "rails", multiple=True, help=words, shell_complete=names("rails"))
