"""Verbs as a user calls them: in this process, or in one of their own to see what they load; and a plan for them."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from click.testing import CliRunner, Result

from gradehaul.command import main

SOURCE = Path(__file__).parents[1] / "src"

HILL = """
scale = "HO"
unit = "in"
railhead.Wharf = 0
[line.Main]
from = "Wharf"
to = "Summit"
track = [{ straight = 60, grade = "2 %" }, { left = 24, angle = 90, grade = "2 %" }]
[loco.mogul]
mass = "300 g"
length = "8 in"
[car.ore]
length = "5.5 in"
[train.morning]
route = "Up ore"
consist = ["mogul", "3 ore"]
[route."Up ore"]
from = "Wharf"
to = "Summit"
"""
"""One hill, one locomotive, one kind of car, and one train that climbs."""

DOWN = """
[route.Down]
from = "Summit"
to = "Wharf"
"""
"""The way back."""


def run(*args: object) -> Result:
    """Run a verb in this process."""
    return CliRunner().invoke(main, [*map(str, args)])


def loaded(plan: Path, *verbs: str) -> set[str]:
    """Return the modules that a process of its own has loaded when it has run some verbs on a plan."""
    script = (
        "import sys\n"
        "from command_line import run\n"
        "for verb in sys.argv[2:]:\n"
        "    assert run(verb, sys.argv[1]).exit_code == 0\n"
        "print(*sys.modules)\n"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(SOURCE), str(Path(__file__).parent)])}
    command = [sys.executable, "-c", script, str(plan), *verbs]
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=True)
    return set(done.stdout.split())
