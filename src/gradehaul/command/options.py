"""The parameters that several verbs have, each written once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from typing import Any, TypeVar

import click

from gradehaul.command.answer import refuse_idle
from gradehaul.command.parameters import LENGTH, RAIL, ROUTE, SHARE, Name, PlanFile
from gradehaul.errors import PlanError

Verb = TypeVar("Verb", bound=Callable[..., Any])

_FILM = ("film", "need", "reserve", "step", "carry")
"""What says what a keep-clean plan must meet."""

plan_argument = click.argument("plan", type=PlanFile(), is_eager=True)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON only.")
open_option = click.option("--open", "open_it", is_flag=True, help="Open the file in the system's viewer.")
strict_option = click.option("--strict", is_flag=True, help="Exit with 1 where anything fails or goes unchecked.")
show_option = click.option(
    "--show", type=click.Choice(["metric", "imperial"]), help="Units to show.  [default: the plan's]"
)
grades_option = click.option(
    "--grades", type=click.Choice(["percent", "permille", "one-in"]), default="percent", show_default=True
)
size_option = click.option(
    "--size", type=click.Choice(["a4", "phone"]), default="a4", show_default=True, help="Paper or screen to draw for."
)
paper_option = click.option(
    "--paper", type=click.Choice(["a4", "letter"]), help="Paper size.  [default: from the units]"
)
all_routes_option = click.option(
    "--all-routes", is_flag=True, help="Include every route between ends and berths, up to a limit."
)
seed_option = click.option(
    "--seed", type=click.IntRange(0, 2**32 - 1), default=0, show_default=True, help="Seed of the random trials."
)
hours_option = click.option(
    "--hours",
    type=click.FloatRange(0, 1e6),
    help="Age of every film, in hours.  [default: the worse of fresh and rested]",
)


def need_option(words: str) -> Callable[[Verb], Verb]:
    """Return the option of the outcome that trains need."""
    kinds = click.Choice(["climbs", "marginal"])
    return click.option("--need", type=kinds, default="climbs", show_default=True, help=words)


def csv_option(rows: str) -> Callable[[Verb], Verb]:
    """Return the options of a table, whose rows are named: in the plan's units, or with ``--si`` in SI units."""
    table = click.option("--csv", "as_csv", is_flag=True, help=f"{rows} as CSV, for a spreadsheet.")
    return lambda verb: table(_si_option(verb))


_si_option = click.option("--si", is_flag=True, help="With --csv: SI units, not the plan's.")


def output_option(words: str, *, required: bool = False) -> Callable[[Verb], Verb]:
    """Return the option of the file to write."""
    return click.option("-o", "--output", type=click.Path(), required=required, help=words)


def trains_option(train: str) -> Callable[[Verb], Verb]:
    """Return the option that names trains, all named ones where it is not given."""
    words = f"{train}; repeat for more.  [default: all named]"
    return click.option("--train", "trains", type=Name("train"), multiple=True, help=words)


def routes_option(route: str) -> Callable[[Verb], Verb]:
    """Return the option that names routes, all where it is left out."""
    words = f"{route}; repeat for more.  [default: all]"
    return click.option("--route", "routes", type=ROUTE, multiple=True, help=words)


def more_option(sections: Sequence[str]) -> Callable[[Verb], Verb]:
    """Return the option that names sections to print below the first screen; the verb gets those that it names."""
    words = f"Print more: {', '.join(sections)} or all; with commas, or repeat for more."

    def chosen(_context: click.Context, _parameter: click.Parameter, values: Sequence[str]) -> tuple[str, ...]:
        return _sections(sections, values)

    return click.option("--more", multiple=True, metavar="SECTION", help=words, callback=chosen)


def _sections(known: Sequence[str], values: Sequence[str]) -> tuple[str, ...]:
    """Return the sections that are named, each once; all where one of the names is ``all``."""
    wanted = dict.fromkeys(part.strip().casefold() for value in values for part in value.split(","))
    for name in wanted:
        if name not in known and name != "all":
            from gradehaul.errors import quoted
            from gradehaul.plan.names import nearest

            write = nearest(name, (*known, "all")) or f"one of {', '.join((*known, 'all'))}"
            raise PlanError("there is no such section", file="--more", found=quoted(name), write=write)
    return tuple(known) if "all" in wanted else tuple(wanted)


def rails_option(default: str, rail: str = "A rail condition") -> Callable[[Verb], Verb]:
    """Return the option that names rail conditions."""
    words = f"{rail}; repeat for more.  [default: {default}]"
    return click.option("--rail", "rails", type=RAIL, multiple=True, help=words)


def film_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add the options that say what a keep-clean plan must meet; the verb gets them and the trains as one.

    Where it has ``--treat``, it gets the trains besides, and nothing of a keep-clean plan without that.
    """

    @wraps(function)
    def verb(**given: Any) -> None:  # noqa: ANN401 - as click has it
        treat, own = given.pop("treat", None), {name: given.pop(name) for name in _FILM}
        trains = given.pop("trains") if treat is None else given["trains"]
        if treat is False:
            refuse_idle(*_FILM, needs="--treat")
            function(film=None, **given)
            return
        from gradehaul.treatment.keep_clean import KeepCleanOptions

        function(film=KeepCleanOptions(trains, **own), **given)

    for option in (
        click.option("--carry", type=LENGTH, help="How far wheels carry the film.  [default: the plan's, or 2 m]"),
        click.option(
            "--step", type=LENGTH, help="Divide tracks into pieces of at most this length.  [default: whole tracks]"
        ),
        click.option(
            "--reserve", type=SHARE, default="0 %", show_default=True, help="Share of the pull to keep in reserve."
        ),
        need_option(
            "Outcome that every train must reach; marginal: only for those that cannot climb even with no more film."
        ),
        click.option("--film", type=Name("film"), help="The film to plan for.  [default: the plan's only one]"),
    ):
        verb = option(verb)
    return verb


def treat_options(function: Callable[..., None]) -> Callable[..., None]:
    """Add ``--treat``, which shows the keep-clean plan, and the options that go with it."""
    words = "Also show where the film may go (see treat); takes the options below."
    return click.option("--treat", is_flag=True, help=words)(film_options(function))
