"""How the work grows: networks of 1,000 and 10,000 tracks, and many routes, locomotives and conditions."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from layouts import grid, loco

from gradehaul.haulage.answers.layout import Layout
from gradehaul.network.graph import MovementGraph
from gradehaul.plan import read_plan
from gradehaul.track.alignment import align


def linked(text: str) -> int:
    plan = read_plan(text)
    align(plan)
    return len(MovementGraph(plan).successors)


def test_ten_thousand_tracks(ratio):
    small, large = grid(33, 10), grid(333, 10)
    assert 9.5 < linked(large) / linked(small) < 10.5
    ratio(
        "10,000 tracks loaded, leveled and linked over 1,000",
        lambda: linked(large),
        lambda: linked(small),
        rounds=5,
        most=12,
    )


def routes(count: int) -> str:
    """Routes of about 500 tracks that differ in the passing tracks they take."""
    parts = []
    for number in range(count):
        via = ", ".join(f'"{"AB"[(number >> (stage % 8)) & 1]}{stage}"' for stage in range(25))
        parts.append(f'[route.R{number}]\nfrom = "West"\nto = "J25"\nvia = [{via}]\n')
    return "\n".join(parts)


def locos(count: int) -> str:
    return "\n".join(loco(f"L{k}", pull=60 + 10 * k, length=200 + 5 * k) for k in range(count))


PEAK = """
import sys
from pathlib import Path
sys.path.insert(0, {here!r})
from test_scale import grid, locos, many, routes

many(grid(25, 10) + routes(200) + locos(20))
print(next(line.split()[1] for line in Path("/proc/self/status").read_text().splitlines() if "VmHWM" in line))
"""
"""What this process had in memory for other tests does not count; getrusage of a child would count that, too."""


def one(text: str) -> None:
    layout = Layout(read_plan(text))
    assert layout.longest_train("R0", "L0", "hopper").limit > 0


def many(text: str) -> None:
    layout = Layout(read_plan(text))
    answered = 0
    for route in layout.routes:
        profile = layout.profile(route)
        answered += sum(len(layout.loads(profile, power, "hopper", layout.rails)) for power in layout.plan.powers)
    assert answered == 200 * 20 * 3


def test_many_routes_locomotives_and_conditions(ratio, figure):
    """From plan text to answers, both times: 12,000 loads against one."""
    base = grid(25, 10)
    single, all_of_them = base + routes(1) + locos(1), base + routes(200) + locos(20)
    one(single)
    ratio(
        "200 routes x 20 locomotives x 3 conditions over one of each",
        lambda: many(all_of_them),
        lambda: one(single),
        rounds=1,
        most=100,
        limit="every load is judged on the way down too, some eight looks at trains each; loading is little of it",
    )
    code = PEAK.format(here=str(Path(__file__).parent))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    what = "most memory of 200 routes x 20 locomotives x 3 conditions, in a process of its own"
    figure(what, int(done.stdout) / 1000, "MB", most=500)
