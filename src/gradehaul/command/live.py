"""The verb that answers while the plan is edited: live; and the same for a double click."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import click

from gradehaul.command.output import complain
from gradehaul.errors import PlanError

_LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})


@click.command()
@click.argument("plan", type=click.Path(), required=False)
@click.option("--host", default="127.0.0.1", show_default=True, help="Address to listen on; 0.0.0.0 for a phone.")
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port to listen on.  [default: a free one]")
@click.option("--no-open", is_flag=True, help="Print the link and open no browser.")
@click.option("--stay", is_flag=True, help="Keep running after the last page is closed.")
def live(*, plan: str | None, host: str, port: int, no_open: bool, stay: bool) -> None:
    """Open a local page that answers while you edit a plan.

    Without PLAN it lists the plans of this folder, starts new ones, and reads drawings.
    """
    from gradehaul.live.app import Shown
    from gradehaul.live.serving import Service, as_picture, open_in_browser

    path = Path(plan or ".").absolute()
    if not path.exists():
        cure = "gradehaul live, for the plans of this folder"
        raise PlanError("there is no such file", file=plan or "", write=cure) from FileNotFoundError(plan)
    shown = Shown(path) if path.is_dir() else Shown(path.parent, path.name)
    try:
        service = Service(shown, host=host, port=port, stay=stay)
    except OSError as error:
        raise OSError(error.errno, f"cannot listen: {error.strerror or error}", f"{host}:{port}") from error

    def started() -> None:
        click.echo(f"{plan or 'The plans of this folder'} live at {service.url} (Ctrl-C ends it)")
        if host not in _LOOPBACK:
            click.echo("Whoever is on this network and has this link can see the plan and change it.")
            click.echo(as_picture(service.url))
        if not no_open and not open_in_browser(service.url):
            complain("no browser could be started: open the link yourself")

    service.run(started)
    complain("stopped")
    sys.stdout.flush()
    sys.stderr.flush()
    # an answer may still be worked out, in compiled code that aborts where the interpreter ends around it
    os._exit(0)


def run() -> None:
    """Start with the plans in the reader's own folder, without a terminal."""
    if sys.stdout is None or sys.stderr is None:  # started by a double click, where nobody reads
        quiet = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - for as long as the program runs
        sys.stdout, sys.stderr = sys.stdout or quiet, sys.stderr or quiet
    folder = Path.home() / "Documents"
    os.chdir(folder if folder.is_dir() else Path.home())
    live(args=sys.argv[1:], prog_name="gradehaul-live")
