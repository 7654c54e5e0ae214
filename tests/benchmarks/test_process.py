"""The command as a whole process against one that imports the same libraries and does nothing."""

from __future__ import annotations

from statistics import median
from time import perf_counter

import pytest
from processes import processor_time, run

BARE = "import numpy, networkx, pint, pydantic, click, tomli"

FIRST_HILL, TWO_LEVELS = (
    ("-m", "gradehaul", "check", "plans/first-hill.toml"),
    (
        "-m",
        "gradehaul",
        "check",
        "plans/two-levels.toml",
    ),
)


@pytest.fixture(scope="module", autouse=True)
def compiled():
    """Compiled modules are there, as after an installation."""
    run(*TWO_LEVELS)


def test_check_on_demo_plans(ratio):
    def against(what: str, slow: tuple[str, ...], fast: tuple[str, ...], most: float, limit: str = "") -> None:
        ratio(what, lambda: run(*slow), lambda: run(*fast), rounds=15, clock=processor_time, most=most, limit=limit)

    against("check of the first demo plan over importing its libraries", FIRST_HILL, ("-c", BARE), 1.4)
    against("check of two levels over check of the first demo plan", TWO_LEVELS, FIRST_HILL, 2)
    every = "the document ranges every load on every rail, the first screen only what it shows"
    against("check --json of two levels over its first screen", (*TWO_LEVELS, "--json"), TWO_LEVELS, 2, every)


TRIED = ("plans/two-levels.toml", "Up by the siding", "consolidation", "7 hopper", "caboose")
NEEDED = """
import gradehaul.command, gradehaul.haulage.answers.trial_train, gradehaul.show.check.trial_text
import gradehaul.plan.reader, gradehaul.plan.resolve.plan, gradehaul.haulage.bench.benched
import pint  # for ounces and gram-force
"""


def test_try_on_two_levels(ratio):
    ratio(
        "try on two levels over importing what it needs",
        lambda: run("-m", "gradehaul", "try", *TRIED),
        lambda: run("-c", NEEDED),
        rounds=15,
        clock=processor_time,
        most=1.2,
    )


def test_help(figure):
    times = []
    for _ in range(7):
        start = perf_counter()
        run("-m", "gradehaul", "--help")
        times.append(perf_counter() - start)
    figure("help", median(times), "s", most=0.3)
