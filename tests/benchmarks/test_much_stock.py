"""Much stock on one route: `check` of 100 locomotives by 100 cars, and how often its ranges hold the truth."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from time import perf_counter

from layouts import STOCK, loco, long_hill

COUNT = 100

CHECK = """
import sys
from pathlib import Path
sys.path.insert(0, {here!r})
from test_much_stock import plan_text
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.show.check.text import check_page
from gradehaul.show.base.unit_format import units_of

answer = check_layout(Layout(read_plan(plan_text())))
print(len(check_page(answer, units_of("mm")).text()), file=sys.stderr)
print(next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line))
"""


def plan_text(count: int = COUNT) -> str:
    """A hill of nine tracks with locomotives and cars that all differ."""
    locos = "".join(loco(f"L{k}", pull=60 + 0.9 * k, length=180 + k, mass=300 + 7 * k) for k in range(count))
    cars = "".join(f'[car.C{k}]\nmass = "{60 + 1.3 * k:.1f} g"\nlength = "{100 + k} mm"\n' for k in range(count))
    return long_hill(9, 9).replace(STOCK, "") + locos + cars


def test_check_of_much_stock(figure):
    code = CHECK.format(here=str(Path(__file__).parent))
    start = perf_counter()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    took = perf_counter() - start
    what = f"check of {COUNT} locomotives by {COUNT} cars on one route"
    figure(f"most memory of a {what}", int(done.stdout) / 1024, "MB", most=500)
    figure(what, took, "s")


def test_ranges_of_loads_hold_the_truth(figure):
    sys.path.insert(0, str(Path(__file__).parents[1] / "haulage" / "trust"))
    from load_coverage import covered

    found = covered(2_000, seed=5)
    for name, share in found._asdict().items():
        what = f"{name} loads of two predicted locomotives within their 90 % range, of 2,000 trials"
        figure(what, 100 * share, "%", least=92, most=95)
