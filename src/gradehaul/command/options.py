"""The options that several verbs have, each written once."""

from __future__ import annotations

import functools
from typing import TYPE_CHECKING, Any, TypeVar

import click

from gradehaul.command.completion import names

if TYPE_CHECKING:
    from collections.abc import Callable

    from gradehaul.show.base.reading_units import Reader

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


_SI = "gradehaul.si"


def csv_option(rows: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return the options of a table, named by what its rows are: in the plan's units, or with ``--si`` in SI units."""

    def add(verb: Callable[..., None]) -> Callable[..., None]:
        @functools.wraps(verb)
        def with_units(*, si: bool, **given: Any) -> None:  # noqa: ANN401 - the verb's own options
            if si and not (given.get("as_csv") or given.get("csv_trains")):
                raise click.UsageError("--si does nothing without --csv")
            click.get_current_context().meta[_SI] = si
            verb(**given)

        table = click.option("--csv", "as_csv", is_flag=True, help=f"{rows} as a table for a spreadsheet.")
        return table(
            click.option("--si", is_flag=True, help="A table in m and N, not in the plan's units.")(with_units)
        )

    return add


def table_reader(reader: Reader) -> Reader | None:
    """Return whose units a table is in: those of the reader, None where ``--si`` is given."""
    return None if click.get_current_context().meta.get(_SI) else reader


def output_option(words: str, *, required: bool = False) -> Callable[[Verb], Verb]:
    """Return the option of the file to write."""
    return click.option("-o", "--output", type=click.Path(), required=required, help=words)


def trains_option(train: str) -> Callable[[Verb], Verb]:
    """Return the option that names trains, all named ones where it is not given."""
    words = f"{train}; again for more.  [default: all named]"
    return click.option("--train", "trains", multiple=True, help=words, shell_complete=names("trains"))


def rails_option(default: str, rail: str = "A rail condition") -> Callable[[Verb], Verb]:
    """Return the option that names rail conditions."""
    words = f"{rail}; again for more.  [default: {default}]"
    return click.option("--rail", "rails", multiple=True, help=words, shell_complete=names("rails"))
