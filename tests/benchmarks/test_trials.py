"""10,000 trials at once against the exact engine trial by trial, over a 350 m route with 500 tracks."""

from __future__ import annotations

import gc
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from statistics import median
from time import perf_counter

from layouts import loco, long_hill

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import route_profile
from gradehaul.haulage.train import Block, Train, build_train
from gradehaul.haulage.trust.random_trials import TRIALS, RandomTrials
from gradehaul.haulage.trust.train import trust_in_train
from gradehaul.haulage.verdict import judge
from gradehaul.plan import read_plan

TRAIN = '\n[train.drag]\nroute = "Up"\nconsist = ["mallet", "20 hopper", "tank", "9 hopper", "caboose"]\n'
STOCK = loco("mallet", pull=150) + '[loco.tank]\nmass = "260 g"\nlength = 120\n[car.caboose]\nlength = 110\n'
TOLD = long_hill(500, 350) + STOCK + TRAIN

MEMORY = """
import sys
from pathlib import Path
sys.path.insert(0, {here!r})
from test_trials import all_at_once

def most():
    # of this process alone: what the system counts for its children begins with what their parent had
    return next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line)

before = most()
all_at_once()
print(before, most())
"""


def setting():
    plan = read_plan(TOLD)
    return plan, Layout(plan)


def all_at_once():
    plan, layout = setting()
    profile, train = layout.profile("Up"), build_train(plan, plan.trains["drag"])
    return trust_in_train(profile, train, "treated", RandomTrials(plan, layout.coefficient))


def test_ten_thousand_draws(figure):
    plan, layout = setting()
    profile, train = layout.profile("Up"), build_train(plan, plan.trains["drag"])
    times = []
    for _ in range(5):
        gc.collect()
        start = perf_counter()
        trust = trust_in_train(profile, train, "treated", RandomTrials(plan, layout.coefficient))
        times.append(perf_counter() - start)
    at_once = median(times)

    trials = RandomTrials(plan, layout.coefficient)
    curve, pulls = trials.curve, Pulls(plan)
    single = []
    blocks = tuple(Block(block.vehicle, block.count) for block in train.blocks)
    for number in range(60):  # of the 10,000: each costs the same
        start = perf_counter()
        own = route_profile(layout._ways, layout.route("Up"), replace(layout.curves, coefficient=float(curve[number])))
        judge(own, Train(blocks, 0.9, "stated"), "treated", pulls)
        single.append(perf_counter() - start)
    one_by_one = TRIALS * median(single)
    figure("10,000 runs of the engine over 10,000 trials at once", one_by_one / at_once, least=200)
    figure("10,000 trials at once", at_once, "s", most=0.5)
    assert 0 < trust.stall_probability < 1


def test_memory(figure):
    code = MEMORY.format(here=str(Path(__file__).parent))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    before, peak = (int(figure) / 1024 for figure in done.stdout.split())
    figure("most memory with 10,000 trials", peak, "MB", most=300, note=f"{before:.0f} MB of it for libraries")
