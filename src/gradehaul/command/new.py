"""The verb that begins a plan: new."""

from __future__ import annotations

from pathlib import Path

import click

from gradehaul.command.output import deliver
from gradehaul.errors import PlanError


@click.command()
@click.argument("name")
@click.option(
    "--layout", default="hill", show_default=True, help="What to start from: hill, helix, branch, siding, wye, loop."
)
@click.option("--scale", default="HO", show_default=True, help="The scale.")
@click.option("--unit", default="in", show_default=True, help="The unit of bare lengths: in or ft, or mm, cm or m.")
def new(*, name: str, layout: str, scale: str, unit: str) -> None:
    """Write a small plan to start from, with a word on every line that you will change; - prints it."""
    from gradehaul.design.starter import starter

    if not name.lower().removesuffix(".toml").strip():
        raise PlanError("the name is empty", place="NAME", write="gradehaul new my-layout")
    path = Path(name if name.lower().endswith(".toml") or name == "-" else f"{name}.toml")
    if name != "-" and path.exists():
        raise PlanError("there is such a file already", file=str(path), write="another name")
    title = "My layout" if name == "-" else path.stem.replace("-", " ").replace("_", " ").strip().capitalize()
    deliver(starter(layout, scale=scale, unit=unit, title=title), str(path))
    if name != "-":
        deliver(f"{path} is written. Change it to your layout, and run: gradehaul check {_quoted(str(path))}\n", None)


def _quoted(path: str) -> str:
    return f'"{path}"' if " " in path else path
