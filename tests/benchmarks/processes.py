"""Commands as whole processes, and the time they take of a processor, whatever else the machine does."""

from __future__ import annotations

import os
import resource
import subprocess
import sys

from project import ROOT

COMPILED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""The environment, in which compiled modules are kept: without them each run compiles the package once more, as after
no installation."""


def run(*arguments: str) -> None:
    """Run Python in the project's folder and wait for it; it must succeed."""
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, stdout=subprocess.DEVNULL, env=COMPILED)


def processor_time() -> float:
    """Return what the processes that have ended took of a processor, s."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
