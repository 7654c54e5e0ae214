"""How long leveling hill by hill takes on a long line of many hills."""

from __future__ import annotations

from time import perf_counter

import numpy as np

from gradehaul.design.level.railheads import leveled
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan


def hills(tracks: int, every: int) -> str:
    """A line of straights and curves of random lengths, with a given height at every so many tracks, up and down.

    Curves turn back by turns, so that it never lies over itself.
    """
    draws = np.random.default_rng(1)
    rows, height, run, heading = [], 0.0, 0.0, 0.0
    for number in range(1, tracks + 1):
        length, radius = draws.uniform(0.2, 1.0), draws.choice([0, 0.5, 0.7, 1.0])
        run += length
        row = f"straight = {length:.3f}"
        if radius:
            hand = "left" if heading < 0 else "right"
            heading += length / radius * (1 if hand == "left" else -1)
            row = f"{hand} = {radius}, length = {length:.3f}"
        if number % every == 0:
            height += run * draws.uniform(0.0, 0.03) * (1 if draws.random() < 0.75 else -1)
            row, run = f"{row}, railhead = {height:.4f}", 0.0
        rows.append(f"{{ {row} }}")
    return (
        'scale = "HO"\nunit = "m"\nrailhead = { A = 0 }\n'
        f'[line.Hill]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]\n'
        '[loco.mule]\nmass = "400 g"\nlength = 0.25\npull.clean = "100 gf"\n'
        '[car.ore]\nmass = "100 g"\nlength = 0.14\n[route.Up]\nfrom = "A"\nto = "B"\n'
        '[train.up]\nroute = "Up"\nconsist = ["mule", "12 ore"]\n'
    )


def test_500_tracks_are_leveled_hill_by_hill(figure):
    """Target: 5 s for 25 hills of 20 tracks each, a train of 12 cars."""
    layout = Layout(read_plan(hills(500, 20)))
    leveled(Layout(read_plan(hills(20, 10))))  # scipy is loaded
    begin = perf_counter()
    found = leveled(layout)
    taken = perf_counter() - begin
    (up,) = found.hardest
    assert up.leveled < up.even - 0.005
    figure("500 tracks in 25 hills leveled hill by hill", taken, "s", most=5)
