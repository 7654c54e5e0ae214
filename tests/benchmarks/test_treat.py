"""How long a keep-clean plan takes: beside the main job, and on a large layout with many trains."""

from __future__ import annotations

from statistics import median
from time import perf_counter

from gradehaul.haulage.check import check
from gradehaul.haulage.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.treatment.keep_clean import keep_clean_plan


def test_treat_beside_check(figure) -> None:
    """Target: within 3 times `check` on the two-level demo."""
    plan = load_plan("plans/two-levels.toml")
    times: dict[str, list[float]] = {"check": [], "treat": []}
    for _ in range(7):
        start = perf_counter()
        check(plan)
        middle = perf_counter()
        keep_clean_plan(Layout(plan))
        times["check"].append(middle - start)
        times["treat"].append(perf_counter() - middle)
    figure("a keep-clean plan over the main job, two levels", median(times["treat"]) / median(times["check"]), most=3)


def long_line(tracks: int, trains: int, consist: str, most: int) -> str:
    """Return a plan with a line of many tracks and trains of growing length over it."""
    shapes = ["straight = 400", "left = 700, length = 400", "right = 700, length = 400"]
    laid = ",\n".join(f'{{ {shapes[k % 3]}, grade = "{(k * 7) % 5 - 1.5} %" }}' for k in range(tracks))
    running = "\n".join(
        f'train."t{k}" = {{ route = "Up", consist = [{consist.format(most - k % 5)}] }}' for k in range(trains)
    )
    return f"""
scale = "HO"
unit = "mm"
railhead.A = 0
line.Main = {{ from = "A", to = "B", track = [{laid}] }}
loco.mule = {{ mass = "300 g", length = 200, pull.clean = "75 gf" }}
car.ore = {{ mass = "100 g", length = 140 }}
route.Up = {{ from = "A", to = "B" }}
{running}
"""


def test_a_large_layout(figure) -> None:
    """Targets: 500 tracks and 40 single-headed trains within 5 s; 1,000 and 50 with two locomotives within 30 s."""
    for tracks, trains, consist, most, target in (
        (500, 40, '"mule", "{} ore"', 7, 5),
        (1000, 50, '"mule", "{} ore", "3 ore", "mule"', 14, 30),
    ):
        layout = Layout(read_plan(long_line(tracks, trains, consist, most)))
        start = perf_counter()
        found = keep_clean_plan(layout)
        took = perf_counter() - start
        film, kept = found.length("film"), found.length("keep clean")
        told = f"film {film:.0f} m, clean {kept:.0f} m, gap {100 * found.gap:.2g} %, {len(found.beyond)} beyond"
        figure(f"a keep-clean plan of {tracks} tracks and {trains} trains", took, "s", most=target, note=told)
