"""How long clearances take on a large plan, and how the time grows."""

from __future__ import annotations

from time import perf_counter

from gradehaul.design.clearance.findings import clearances
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan


def winding(tracks: int) -> Layout:
    """A line of curves of both hands that crosses over itself again and again as it wanders and climbs."""
    rows = []
    for k in range(tracks):
        hand = "right" if (k // 7) % 2 else "left"
        shape = "straight = 500" if k % 4 == 3 else f"{hand} = {600 + 50 * (k % 5)}, angle = {55 + 7 * (k % 3)}"
        rows.append(f"{{ {shape}, grade = '{1 + 0.5 * (k % 3)} %' }}")
    text = (
        'scale = "HO"\nunit = "mm"\nrailhead.A = 0\ncar.coach = { length = 200, mass = "120 g" }\n'
        f'[line.Main]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]\n[route.Up]\nfrom = "A"\nto = "B"\n'
    )
    return Layout(read_plan(text))


def test_twenty_thousand_tracks(ratio, figure):
    small, large = winding(2_000), winding(20_000)
    clearances(small)  # loads scipy
    ratio(
        "clearances of 20,000 tracks over 2,000",
        lambda: clearances(large),
        lambda: clearances(small),
        rounds=3,
        most=12,
    )
    start = perf_counter()
    clearances(large)
    figure("clearances of 20,000 tracks", perf_counter() - start, "s", most=8)
