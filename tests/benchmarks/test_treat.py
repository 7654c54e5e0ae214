"""How long a keep-clean plan takes: beside the main job, and on a large layout with many trains."""

from __future__ import annotations

from statistics import median
from time import perf_counter

from checked import check
from gradehaul.haulage.answers.layout import Layout
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


HILLS = ((14, 0.0), (9, 1.7), (12, -0.2), (7, 2.0), (16, -1.4), (11, 1.5), (13, 0.1), (8, -1.0))
"""How many tracks each stretch of a line has, and their grade in %; it comes again, longer and milder by turns."""


def long_line(tracks: int, consists: list[str]) -> str:
    """Return a plan with a line of many tracks over hills and levels, and trains over it, no two alike."""
    shapes = ["straight = 400", "left = 700, length = 400", "right = 700, length = 400"]
    grades: list[float] = []
    stretch = 0
    while len(grades) < tracks:
        count, grade = HILLS[stretch % len(HILLS)]
        grades += [grade * (1 - 0.06 * (stretch * 7 % 5))] * (count + stretch * 5 % 4)
        stretch += 1
    laid = ",\n".join(f'{{ {shapes[k % 3]}, grade = "{grades[k]:.3f} %" }}' for k in range(tracks))
    running = "\n".join(
        f'train."t{k}" = {{ route = "Up", consist = [{consist}] }}' for k, consist in enumerate(consists)
    )
    return f"""
scale = "HO"
unit = "mm"
railhead.A = 0
line.Main = {{ from = "A", to = "B", track = [{laid}] }}
loco.mule = {{ mass = "300 g", length = 200, pull.clean = "75 gf" }}
car.ore = {{ mass = "100 g", length = 140 }}
car.box = {{ mass = "80 g", length = 160 }}
route.Up = {{ from = "A", to = "B" }}
{running}
"""


SINGLE = [
    f'"mule", "{ahead} ore", "{between} box", "{behind} ore"'
    for ahead in range(1, 6)
    for between in range(1, 6)
    for behind in range(1, 6)
    if ahead + between + behind <= 8
][:40]
DOUBLE = [f'"mule", "{13 - k % 8 - k // 16} ore", "mule", "{1 + k // 8} box"' for k in range(50)]


def test_a_large_layout(figure) -> None:
    """Targets: 500 tracks and 40 single-headed trains within 5 s; 1,000 and 50 with two locomotives within 60 s.

    Between a third and two thirds must come out treated, for else there is little to find.
    """
    for tracks, consists, count, target in ((500, SINGLE, 40, 5), (1000, DOUBLE, 50, 60)):
        assert len(set(consists)) == len(consists) == count
        layout = Layout(read_plan(long_line(tracks, consists)))
        start = perf_counter()
        found = keep_clean_plan(layout)
        took = perf_counter() - start
        lengths = [found.length(use) for use in ("film", "keep clean", "buffer")]
        assert sum(lengths) / 3 <= lengths[0] <= 2 * sum(lengths) / 3
        note = "film {:.0f} m, clean {:.0f} m, buffers {:.0f} m".format(*lengths)
        what = f"a keep-clean plan of {tracks} tracks and {count} trains"
        figure(what, took, "s", most=target, note=f"{note}, gap {100 * found.gap:.2g} %")
