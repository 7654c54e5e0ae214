"""The chart of a sweep of helices."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from gradehaul.command import main
from gradehaul.design.climb.helix import usual_helix_build
from gradehaul.design.climb.helix_sweep import Sweep, sweep
from gradehaul.design.climb.hill import stock_of
from gradehaul.errors import DesignError
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.climb.sweep_picture import sweep_figure
from show.drawn import check_sheet, drawn_texts, figures

READER = UnitFormat("in", "imperial")


@pytest.fixture(scope="module")
def found() -> Sweep:
    stock = stock_of("plans/first-hill.toml", scale=None, unit=None)
    radii, rises = np.linspace(0.45, 1.27, 40), np.linspace(0.075, 0.15, 40)
    return sweep(radii, rises, usual_helix_build(stock), stock, turns=3, train="local")


def test_lines_of_cars_run_where_the_counts_change(found: Sweep) -> None:
    with drawing_rules():
        figure = sweep_figure(found, READER)
        for panel, axes in enumerate(figure.axes):
            shown = sorted(int(text.get_text()) for text in axes.texts)
            cars = found.cars[panel].cars
            assert shown
            assert set(shown) <= set(range(cars.min(), cars.max() + 1))
            hatches = {hatch for each in axes.collections for hatch in getattr(each, "hatches", []) if hatch}
            assert hatches == {"///", "\\\\\\", ".."}  # distinct without color
            drawn = np.concatenate([path.vertices for each in axes.collections for path in each.get_paths()]) * 0.0254
            assert np.ptp(drawn, axis=0) == pytest.approx([np.ptp(found.radii), np.ptp(found.rises)], rel=1e-6)
    words = " ".join(text.get_text() for text in figure.legends[0].get_texts())
    for reason in ("headroom", "grade: over 4.00 %", "train: local does not climb on treated or treated fresh rail"):
        assert reason in words


@cache
def fine() -> Sweep:
    stock = stock_of("plans/two-levels.toml", scale=None, unit=None)
    build = usual_helix_build(stock)
    return sweep(np.geomspace(0.2, 2, 80), np.geomspace(0.05, 0.3, 80), build, stock, turns=3, train="stone")


@pytest.mark.parametrize(
    ("radii", "rises"), [((0.2, 0.5), (0.075, 0.15)), ((0.45, 1.27), (0.05, 0.08)), ((0.45, 0.7), (0.25, 0.35))]
)
def test_a_chart_without_a_design_says_so_and_shows_the_nearest_that_works(radii, rises) -> None:
    stock = stock_of("plans/two-levels.toml", scale=None, unit=None)
    build = usual_helix_build(stock)
    none = sweep(np.linspace(*radii, 20), np.linspace(*rises, 20), build, stock, turns=3, train="stone")
    assert not none.possible.any()
    radius, rise = none.nearest
    assert sweep([radius], [rise], build, stock, turns=3, train="stone").possible.all()

    def off(value: float, ends: tuple[float, float]) -> float:
        return abs(np.log(value / np.clip(value, *ends)))

    every = [
        np.hypot(off(fine().radii[j], radii), off(fine().rises[i], rises))
        for i, j in np.argwhere(fine().possible).tolist()
    ]
    assert np.hypot(off(radius, radii), off(rise, rises)) <= min(every) + 0.1  # to within a step of its grid
    with drawing_rules():
        figure = sweep_figure(none, READER)
        check_sheet(figure)
    headline = " ".join(text for text, _ in drawn_texts(figure)[:2])
    assert headline.startswith("No design on this chart works; the nearest that does: ")
    assert figures(headline)[:2] == [READER.length(each).split(" ")[0] for each in (radius, rise)]
    star = next(line for line in figure.axes[0].lines if line.get_gid() == "nearest")
    assert star.get_xydata()[0] == pytest.approx([radius / 0.0254, rise / 0.0254])
    for value, ends in zip(star.get_xydata()[0], (star.axes.get_xlim(), star.axes.get_ylim()), strict=True):
        margin = 0.03 * (ends[1] - ends[0])  # half of the star
        assert ends[0] + margin < value < ends[1] - margin


def test_a_reason_that_stands_nowhere_hatches_nothing() -> None:
    stock = stock_of("plans/first-hill.toml", scale=None, unit=None)
    free = sweep([1.0, 1.2], [0.12, 0.13], usual_helix_build(stock), stock, turns=3)
    with drawing_rules():
        figure = sweep_figure(free, READER)
        assert not {h for axes in figure.axes for c in axes.collections for h in getattr(c, "hatches", []) if h}
    with pytest.raises(DesignError, match="two radii"), drawing_rules():
        sweep_figure(sweep([1.0], [0.12], usual_helix_build(stock), stock, turns=3), READER)


def run(*words: str) -> Result:
    return CliRunner().invoke(main, ["helix", "--plan", "plans/first-hill.toml", *words])


def test_the_verb_sweeps(tmp_path: Path) -> None:
    chart = tmp_path / "chart.svg"
    done = run("--sweep", "18", "40", "3", "6", "--turns", "3", "-o", str(chart))
    assert done.exit_code == 0
    assert "raised edge" in done.stderr
    assert "Rise per turn, in" in chart.read_text()
    for words, message in (
        (["--sweep", "18", "40", "3", "6", "--turns", "3"], "--sweep draws a chart: put -o"),
        (["--sweep", "40", "18", "3", "6", "--turns", "3", "--json"], "from the smaller figure to the larger"),
        (["--sweep", "18", "40", "3", "6", "--json"], "turns are missing"),
        (["--sweep", "18", "40", "3", "6", "--turns", "3", "--find", "radius"], "--find"),
        (["--sweep", "18", "40", "3", "6", "--turns", "3", "--power", "x"], "no power of this name"),
    ):
        shown = run(*words)
        assert shown.exit_code == 2
        assert message in shown.stderr
