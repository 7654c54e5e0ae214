"""The sheets of a helix and an incline: spokes by angle, heights and clear heights by hand, and what is on paper."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdf
import pytest
from matplotlib.patches import Polygon

from command_line import run
from gradehaul.design.climb.designs import HelixBench, helix_bench, incline_bench
from gradehaul.design.climb.helix import GUARD, Helix, usual_helix_build
from gradehaul.design.climb.hill import stock_of
from gradehaul.design.climb.incline import CARE, Incline
from gradehaul.errors import DesignError
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.climb.bench_sheet import helix_figures, helix_sheet
from gradehaul.show.sheets import CAUTIONS
from show.drawn import drawn_texts

READER = units_of("mm")
STOCK = stock_of(None, scale="H0", unit="mm", practice="NEM")


def bench(spokes: int = 8, ease: float = 0.0, turns: float = 3.0) -> HelixBench:
    helix = Helix(0.6, turns, 0.1 * turns, replace(usual_helix_build(STOCK), ease=ease, vertical=0.2))
    return helix_bench(helix, STOCK, helix.hill(STOCK), "metric", 1.0, spokes)


@pytest.mark.parametrize("ease", [0.0, 0.15])
@pytest.mark.parametrize("spokes", [3, 8, 12])
def test_spokes_stand_by_angle_around_the_center(spokes: int, ease: float) -> None:
    found = bench(spokes, ease)
    walk = found.found.walk
    (spot,), (heading,), (curvature,) = walk.places(walk.length / 2)
    center = spot + 1j * np.exp(1j * heading) / curvature
    for spoke in found.spokes:
        assert spoke.angle == pytest.approx(2 * math.pi * (spoke.number - 1) / spokes)
        for turn, riser in enumerate(spoke.risers):
            ends = turn in (0, 3) and spoke.number == 1
            if ease and ends:
                continue  # on an easement, which lies outside the circle
            out = walk.places(riser.at)[0][0] - center
            assert abs(out) == pytest.approx(0.6, abs=1e-6)
            turned = math.remainder(np.angle(out) + math.pi / 2 - spoke.angle, math.tau)
            assert abs(turned) < (1e-6 if not ease else 1e-2)


def test_heights_rise_evenly_by_angle_away_from_the_ends() -> None:
    found = bench()
    for spoke in found.spokes:
        for turn, riser in enumerate(spoke.risers):
            turned = turn + (spoke.number - 1) / 8
            if 0.1 < turned < 2.9:
                assert riser.railhead == pytest.approx(0.1 * turned, abs=1e-6)
                assert abs(riser.cut - (1.0 + 0.1 * turned - found.found.build.structure)) <= 0.00025 + 1e-6
    assert [riser.on_deck for riser in found.spokes[3].risers] == [None, *[pytest.approx(0.1 - 0.0127, abs=2e-6)] * 2]


def test_the_sheets_of_a_helix_show_every_height_and_the_cautions() -> None:
    found = bench()
    pages = pypdf.PdfReader(io.BytesIO(helix_sheet(found, READER, "a4"))).pages
    words = " ".join("\n".join(page.extract_text() for page in pages).split())
    for number, page in enumerate(pages, 1):
        assert f"page {number} of {len(pages)}" in page.extract_text()
        assert page.extract_text().count("page ") == 1
    for spoke in found.spokes:
        for riser in spoke.risers:
            assert f"{round(1000 * riser.cut, 1):g} mm" in words
    for caution in (GUARD, *CAUTIONS):
        assert caution in words
    least = max(riser.below.clear for riser in found.found.risers if riser.below is not None)
    assert least > found.helix.build.edge  # on a curve stock overhangs
    assert f"On turn 2: at 8 risers two blocks of {math.floor(2000 * (0.1 - 0.0127)) / 2:g} mm" in words
    assert (
        f"their faces at least {math.ceil(1000 * least):.1f} mm from the center of every track, or trains hit them"
        in words
    )
    clear = 1000 * (0.1 - found.found.build.structure)
    assert words.count(f"clear {clear:.1f} mm") == 3  # at riser 5 twice, at riser 1 away from its curved ends once
    assert "R 600.0 mm" in words
    assert re.search(r"Opening inside the deck: [0-9.]+ mm by", words)


def test_in_the_section_each_deck_lies_on_its_risers_and_under_its_track() -> None:
    found = bench()
    with drawing_rules():
        axes = [axes for page in helix_figures(found, READER, "a4") for axes in page.axes]
    (section,) = [each for each in axes if any("clear" in text.get_text() for text in each.texts)]
    sides = [np.unique(patch.get_xy()[:, 1]) for patch in section.patches if isinstance(patch, Polygon)]
    tops = [riser.top for spoke in (found.spokes[0], found.spokes[4]) for riser in spoke.risers]
    heads = [line.get_ydata()[0] for line in section.lines if line.get_marker() == "_"]
    decks = sorted(side.tolist() for side in sides)
    assert decks == [pytest.approx((top, top + found.helix.build.deck)) for top in sorted(tops)]
    assert all(over < head for (_, over), head in zip(decks, sorted(heads)[:: len(heads) // len(decks)], strict=True))


def test_in_plan_the_second_track_lies_inside_and_the_deck_reaches_over_both() -> None:
    build = replace(usual_helix_build(STOCK), vertical=0.2, two=True)
    helix = Helix(0.6, 2.0, 0.2, build)
    found = helix_bench(helix, STOCK, helix.hill(STOCK), "metric", 1.0, 8)
    with drawing_rules():
        axes = helix_figures(found, READER, "a4")[0].axes[0]
    drawn = {kind: [line.get_xydata() for line in axes.lines if line.get_gid() == kind] for kind in ("track", "edge")}
    (center,) = {tuple(np.round(line[:-1].mean(axis=0), 3)) for line in drawn["edge"][:1]}
    radii = {
        kind: sorted(float(np.hypot(*(line - center).T).mean()) for line in lines) for kind, lines in drawn.items()
    }
    assert radii["track"] == pytest.approx([helix.radius, helix.outer_radius], abs=2e-3)
    assert radii["edge"] == pytest.approx([helix.radius - build.edge, helix.outer_radius + build.edge], abs=2e-3)


def test_the_foot_of_a_page_stands_below_all_else() -> None:
    with drawing_rules():
        pages = [(page.dpi, dict(drawn_texts(page))) for page in helix_figures(bench(), READER, "a4")]
    feet = [(dpi, page) for dpi, page in pages if "Angles are measured from where the curve begins." in page]
    assert len(feet) == 2
    for dpi, page in feet:
        foot = page.pop("Angles are measured from where the curve begins.")
        assert 0.3 * dpi < foot.y0 < foot.y1 <= min(box.y0 for box in page.values())


def test_the_verbs_write_their_sheets(tmp_path: Path) -> None:
    helix = ["helix", "--scale", "HO", "--radius", "24 in", "--rise-per-turn", "4.6 in", "--turns", "2"]
    file = tmp_path / "helix.pdf"
    done = run(*helix, "--tracks", "2", "--risers", "6", "--datum", "40 in", "--paper", "a4", "-o", str(file))
    assert done.exit_code == 0, done.output
    assert float(pypdf.PdfReader(file).pages[0].mediabox.width) == pytest.approx(595.3, abs=0.1)
    incline = ["incline", "--scale", "HO", "--rise", "4 in", "--length", "16 ft", "--curve", "24", "90", "--ease", "6"]
    file = tmp_path / "incline.pdf"
    assert run(*incline, "--every", "12 in", "-o", str(file)).exit_code == 0
    words = " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(file).pages).split())
    for part in ("R 24.00 in", "easement from here", *CAUTIONS, CARE):
        assert part in words
    assert run(*incline, "--every", "0", "-o", str(file)).exit_code == 2


def test_an_incline_has_the_railheads_of_its_plan() -> None:
    hill = Incline(0.1, 5.0, (), 0.008, 0.3).hill(STOCK)
    found = incline_bench(hill, 0.5, "metric", None)
    begin = found.walk.length / 2
    for riser in found.risers:
        even = 0.05 + (riser.at - begin) * 0.1 / 4.7
        if abs(riser.at - begin) < 2.2:
            assert riser.railhead == pytest.approx(even, abs=1e-9)


def test_risers_of_an_incline_stand_as_joists_do() -> None:
    hill = Incline(0.1, 5.0, (), 0.008, 0.3).hill(STOCK)
    for system, every in (("metric", 0.4), ("imperial", 0.4064)):
        places = [riser.at for riser in incline_bench(hill, None, system, None).risers]
        assert max(np.diff(places)) == pytest.approx(every)


@pytest.mark.parametrize("count", [0, 2, 37])
def test_too_few_or_too_many_spokes_are_refused(count: int) -> None:
    with pytest.raises(DesignError, match="a turn has 3 to 36 risers"):
        bench(count)


def test_options_of_the_sheets_need_one() -> None:
    done = run(
        "helix", "--scale", "HO", "--radius", "24 in", "--rise-per-turn", "5 in", "--turns", "2", "--risers", "6"
    )
    assert done.exit_code == 2
    assert "--risers needs -o FILE.pdf" in done.output
