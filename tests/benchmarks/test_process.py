"""The command as a whole process against one that imports the same libraries and does nothing."""

from __future__ import annotations

import subprocess
import sys
from statistics import median
from time import perf_counter

from project import ROOT

BARE = "import numpy, networkx, pint, pydantic, click, tomli"


def run(*arguments: str) -> None:
    subprocess.run([sys.executable, *arguments], cwd=ROOT, check=True, stdout=subprocess.DEVNULL)


def test_check_on_the_first_demo_plan(ratio):
    def check() -> None:
        run("-m", "gradehaul", "check", "plans/first-hill.toml")

    check()  # so that compiled files are there, as after an installation
    ratio(
        "check of the first demo plan over importing its libraries",
        check,
        lambda: run("-c", BARE),
        rounds=15,
        most=1.5,
    )


TRIED = ("plans/two-levels.toml", "Up by the siding", "consolidation", "7 hopper", "caboose")
NEEDED = """
import gradehaul.command, gradehaul.haulage.answers.trial_train, gradehaul.show.check.trial_text
import gradehaul.plan.reader, gradehaul.plan.resolve.plan, gradehaul.haulage.bench.benched
import pint  # for ounces and gram-force
"""


def test_try_on_two_levels(ratio):
    def trial() -> None:
        run("-m", "gradehaul", "try", *TRIED)

    trial()
    ratio("try on two levels over importing what it needs", trial, lambda: run("-c", NEEDED), rounds=15, most=1.2)
    ratio("try on two levels over importing its libraries", trial, lambda: run("-c", BARE), rounds=9)


def test_help(ratio, figure):
    ratio(
        "help over a bare interpreter",
        lambda: run("-m", "gradehaul", "--help"),
        lambda: run("-c", "pass"),
        rounds=15,
    )
    times = []
    for _ in range(7):
        start = perf_counter()
        run("-m", "gradehaul", "--help")
        times.append(perf_counter() - start)
    figure("help", median(times), "s", most=0.3)
