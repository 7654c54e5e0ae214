"""The sheets for saw and bench, read back from their files: the strip measures true, the list has every riser."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import pypdf
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from command_line import run
from gradehaul.design.risers.risers import Risers, risers_along, usual_riser_build
from gradehaul.design.risers.walk import walk_along
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.risers.sheet import JOIN, RISER, cut_list_figures, risers_sheet, strip_figures
from gradehaul.show.risers.text import riser_columns
from gradehaul.show.sheets import CAUTIONS, PaperName
from project import PLANS

POINT = 0.0254 / 72
READER = units_of("mm")
TRACK = "{ straight = 600 }, { left = 500, angle = 150, ease = 100 }, { right = 400, angle = 60 }, { straight = 900 }"


@cache
def bent() -> Risers:
    head = 'scale = "HO"\nunit = "mm"\nrailhead = { A = 0, B = 60 }\n'
    text = f'{head}line.Hill = {{ from = "A", to = "B", track = [{TRACK}] }}\n'
    layout = Layout(read_plan(text))
    return risers_along(walk_along(layout), usual_riser_build(layout.plan, "metric", datum=0.9), every=0.047)


@dataclass(frozen=True)
class Read:
    """What a page shows: its size, points, its words, and the lines of two points that it draws, by their widths."""

    size: tuple[float, ...]
    words: str
    lines: dict[float, list[tuple[complex, complex]]]


@cache
def pages_of(paper: PaperName) -> list[Read]:
    """Read the sheets of the bent line, with strips over 2.8 m of it, from their file."""
    file = io.BytesIO(risers_sheet(bent(), READER, paper, strip=2.8))
    return [
        Read(
            tuple(map(float, page.mediabox[2:])),
            page.extract_text(),
            {width: lines_of(page, width) for width in (RISER, JOIN, 1.0)},
        )
        for page in pypdf.PdfReader(file).pages
    ]


def strips_of(paper: PaperName) -> list[Read]:
    return [page for page in pages_of(paper) if "joins strip" in page.words]


def places_of(found: Risers) -> dict[int, complex]:
    at = found.walk.places([riser.at for riser in found.risers])[0]
    return dict(zip((riser.number for riser in found.risers), at, strict=True))


def numbers_on(page: Read) -> list[int]:
    return [int(number) for number in re.findall(r"^(\d+)$", page.words, re.MULTILINE)]


def lines_of(page: pypdf.PageObject, width: float) -> list[tuple[complex, complex]]:
    """Return the lines of two points that a page draws in a width, points, as places in m."""
    found: list[tuple[complex, complex]] = []
    own, points = 0.0, []
    contents = page.get_contents()
    assert contents is not None
    for operands, operator in pypdf.generic.ContentStream(contents, page.pdf).operations:
        if operator == b"w":
            own = float(operands[0])
        elif operator == b"m":
            points = [complex(float(operands[0]), float(operands[1]))]
        elif operator == b"l":
            points.append(complex(float(operands[0]), float(operands[1])))
        elif operator == b"S":
            if len(points) == 2 and own == pytest.approx(width):
                found.append((points[0] * POINT, points[1] * POINT))
            points = []
    return found


def test_the_strip_measures_true_over_all_its_pages() -> None:
    found, pages = bent(), strips_of("letter")
    assert len(pages) >= 10
    places = places_of(found)
    seen: set[int] = set()
    for page in pages:
        assert [1000 * POINT * each for each in page.size] == pytest.approx((279.4, 215.9), abs=0.1)
        drawn, numbers = page.lines[RISER], numbers_on(page)
        seen.update(numbers)
        middles = {n: (one + other) / 2 for n, (one, other) in zip(numbers, drawn, strict=True)}
        for one, other in combinations(numbers, 2):
            true = abs(places[one] - places[other])
            assert abs(middles[one] - middles[other]) == pytest.approx(true, abs=1e-4), (one, other)
        # both bars to measure before use
        bars = [abs(one - other) for one, other in page.lines[1.0]]
        assert sorted(bars)[-2:] == pytest.approx([0.1, 0.1016], abs=1e-5)
    assert seen == {riser.number for riser in found.risers if riser.at <= 2.8}
    begin = re.findall(r"^(.+) from here", "\n".join(page.words for page in pages), re.MULTILINE)
    assert list(dict.fromkeys(begin)) == ["easement", "radius 500 mm", "radius 400 mm", "straight"]


def test_pages_meet_where_the_track_does() -> None:
    """Laid together by their joins, place and heading, the pages lie as the track does, to 0.1 mm over ten of them."""
    found, pages = bent(), strips_of("a4")
    with drawing_rules():
        count = len(strip_figures(found, 2.8, READER, "a4"))
    assert len(pages) == count >= 10
    assert [1000 * POINT * each for each in pages[0].size] == pytest.approx((297, 210), abs=0.1)
    origin, turn = 0j, 1 + 0j
    laid: dict[int, complex] = {}
    before: tuple[complex, complex] | None = None
    for number, page in enumerate(pages):
        joins = [pair for pair in page.lines[JOIN] if 0.03 < abs(pair[0] - pair[1]) < 0.06]
        if before is not None:
            place, across = before
            first = joins[0]
            turn = across / (first[0] - first[1]) * abs(first[0] - first[1]) / abs(across)
            origin = place - turn * (first[0] + first[1]) / 2
        drawn = zip(numbers_on(page), page.lines[RISER], strict=True)
        laid |= {n: origin + turn * (a + b) / 2 for n, (a, b) in drawn}
        last = joins[-1] if number + 1 < len(pages) else None
        before = None if last is None else (origin + turn * (last[0] + last[1]) / 2, turn * (last[0] - last[1]))
    places = places_of(found)
    for one, other in combinations(laid, 2):
        assert abs(laid[one] - laid[other]) == pytest.approx(abs(places[one] - places[other]), abs=1e-4)


def test_the_cut_list_has_every_riser_and_the_cautions() -> None:
    pages = [page for page in pages_of("letter") if "joins strip" not in page.words]
    assert {tuple(sorted(page.size)) for page in pages} == {(612, 792)}
    text = "\n".join(page.words for page in pages)
    for riser in bent().risers:
        assert re.search(rf"^(\w+ )?{riser.number}(\s|$)", text, re.MULTILINE)
        assert f"{round(1000 * riser.cut, 1):g} mm" in text
    for caution in CAUTIONS:
        assert caution in text
    (side,) = [page.words for page in pages if "Railhead and what to cut each riser to" in page.words]
    for caution in CAUTIONS:
        assert caution in " ".join(side.split())


def test_heights_that_are_not_lengths_to_cut_are_said_to_be_so() -> None:
    few = replace(bent(), risers=bent().risers[:3], build=replace(bent().build, datum=None))
    bare = pypdf.PdfReader(io.BytesIO(risers_sheet(few, READER, "a4"))).pages
    bare_words = [page.extract_text() for page in bare]
    for texts, said in (
        ([page.words for page in pages_of("a4")], "what to cut each riser to, in mm above what they stand on"),
        (bare_words, "top of each riser, in mm above the plan's 0: not lengths to cut"),
    ):
        assert f"Railhead and {said}" in " ".join("\n".join(texts).split())
    assert "joins strip" not in "".join(bare_words)


def test_over_track_the_sheets_have_the_block_on_its_deck_and_the_columns_keep_to_the_page() -> None:
    over = 'line.Over = { from = "C", to = "D", at = [0, 0], track = [{ straight = 900, rise = 0 }] }'
    under = over.replace("Over", "Under").replace('"C", to = "D"', '"A", to = "B"')
    plan = read_plan(f'scale = "HO"\nunit = "mm"\nrailhead = {{ A = 0, C = 100 }}\n{under}\n{over}\n')
    build = usual_riser_build(plan, "metric", datum=0.9, deck=0.0125)
    found = risers_along(walk_along(Layout(plan), line="Over"), build, every=0.3)
    pages = pypdf.PdfReader(io.BytesIO(risers_sheet(found, READER, "a4", strip=0.5))).pages
    assert pages[0].extract_text().count(" 975.5 87.5 +0.23 ") == len(found.risers)
    side = pages[1].extract_text().replace("\n", " ")
    assert side.count("87.5 mm") == len(found.risers)
    assert "They are dotted here: see the cut list." in side
    strip = "".join(page.extract_text() for page in pages[2:])
    assert "on deck 87.5 mm" in strip
    assert "Under:1 below, blocks beside it" in strip
    assert "cut to" not in strip  # or a post goes through the track below
    assert sum(column.width for column in riser_columns(found, READER)) <= 8.27 - 2 * 0.52


def test_where_no_block_fits_no_sheet_has_a_length_to_cut(tmp_path: Path) -> None:
    over = 'line.Over = { from = "C", to = "D", at = [0, 0], heading = 30, track = [{ straight = 300, rise = 0 }] }'
    under = over.replace("Over", "Under").replace('"C", to = "D"', '"A", to = "B"').replace("= 30,", "= 0,")
    file = tmp_path / "plan.toml"
    file.write_text(f'scale = "HO"\nunit = "mm"\nrailhead = {{ A = 0, C = 100 }}\n{under}\n{over}\n')
    arguments = ("risers", str(file), "--line", "Over", "--every", "50", "--datum", "900", "--deck", "12.5")
    text = " ".join(run(*arguments).stdout.split())
    assert "Riser 2: Under:1 passes 25.0 mm from its center: no block fits; move the riser." in text
    assert "A block counts as a 1x2 laid flat, 38.1 mm wide" in text
    row = next(csv.DictReader(io.StringIO(run(*arguments, "--csv").stdout)))
    assert (row["below_track"], row["block_fits"]) == ("Under:1", "no")
    risers = json.loads(run(*arguments, "--json").stdout)["risers"]
    assert [riser["block_fits"] for riser in risers] == [False] * 2 + [None] * 5
    plan = read_plan(file.read_text())
    build = usual_riser_build(plan, "metric", datum=0.9, deck=0.0125)
    found = risers_along(walk_along(Layout(plan), line="Over"), build, every=0.05)
    pages = pypdf.PdfReader(io.BytesIO(risers_sheet(found, READER, "a4", strip=0.06))).pages
    words = [page.extract_text() for page in pages]
    assert words[0].count(" – move ") == 2
    assert "Under:1 passes 25.0 mm from its center" in " ".join(words[0].split())
    assert words[1].replace("\n", " ").count("move") == 2
    strip = "".join(words[2:])
    assert strip.count("no block fits: move the riser") == 2
    assert "Under:1 below, 25.0 mm away" in strip
    assert "87.5" not in "".join(words)  # what a block would be cut to


def test_the_verb_as_text_json_csv_and_pictures(tmp_path: Path) -> None:
    plan = str(PLANS / "first-hill.toml")
    arguments = ["risers", plan, "--every", "16 in", "--from", "4 in", "--datum", "40 in"]
    text = run(*arguments).output
    assert "21 risers along Hill, every 16.0 in from 4.0 in; railhead 0 in to 4 in" in text
    assert "cut to" in text
    assert f"\n\nTake care\n  {CAUTIONS[0][:60]}" in text
    bare = " ".join(run(*arguments[:-2]).stdout.split())
    assert "which may be below 0, not a length to cut" in bare
    assert "cut to" not in bare  # or somebody saws them, from the floor
    document = json.loads(run(*arguments, "--json").stdout)
    assert [riser["number"] for riser in document["risers"]] == list(range(1, 22))
    table = list(csv.DictReader(io.StringIO(run(*arguments, "--csv").stdout)))
    for row, riser in zip(table, document["risers"], strict=True):
        assert float(row["cut_in"]) * 0.0254 == pytest.approx(riser["cut_m"], rel=1e-5)
        assert float(row["cut_in"]) * 32 == pytest.approx(round(float(row["cut_in"]) * 32), abs=3e-3)
    rises = [riser["railhead_m"] for riser in document["risers"]]
    assert all(one <= other for one, other in pairwise(rises))
    for ending, sign in (("pdf", b"%PDF"), ("svg", b"<?xml"), ("csv", b"riser,")):
        file = tmp_path / f"risers.{ending}"
        assert run(*arguments, "-o", str(file)).exit_code == 0
        assert file.read_bytes().startswith(sign)


@pytest.mark.parametrize("width", [80, 100])
def test_the_table_in_inches_has_one_row_for_each_riser(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    plan = str(PLANS / "first-hill.toml")
    for more in ([], ["--datum", "40 in"]):
        lines = run("risers", plan, "--every", "16 in", *more).stdout.splitlines()
        count = int(lines[0].split()[0])
        rows = [line for line in lines if re.match(r" *(?:(?:end|joint|grade) )?\d+  +\d+\.\d\d  ", line)]
        assert [int(re.findall(r"\d+", row)[0]) for row in rows] == list(range(1, count + 1))
        assert max(map(len, lines)) <= 80


IDLE = {
    "strip": (["--strip", "2 ft"], "--strip needs -o FILE.pdf"),
    "paper": (["--paper", "a4"], "--paper needs -o FILE.pdf"),
    "both": (["--line", "Hill", "--route", "Uphill"], "--line and --route exclude each other"),
}


@pytest.mark.parametrize("name", IDLE)
def test_options_that_would_do_nothing_are_refused(name: str) -> None:
    more, words = IDLE[name]
    result = run("risers", str(PLANS / "first-hill.toml"), "--every", "16", *more)
    assert result.exit_code == 2
    assert words in result.output


def test_a_gauge_too_wide_for_the_paper_is_refused(tmp_path: Path) -> None:
    plan = str(PLANS / "full-size-example.toml")
    result = run("risers", plan, "--every", "100", "--strip", "100", "-o", str(tmp_path / "x.pdf"))
    assert result.exit_code == 2
    assert "the page is too small for one riser" in result.output
    assert not (tmp_path / "x.pdf").exists()


def test_long_and_odd_names_stay_on_the_page() -> None:
    name = "$x^2$ a line of a very long name " * 4
    plan = load_plan(PLANS / "two-levels.toml")
    plan = replace(plan, title=name * 2)
    found = risers_along(walk_along(Layout(plan), line="Siding"), usual_riser_build(plan, "metric"), every=0.4)
    with drawing_rules():
        for figure in [*cut_list_figures(found, READER, "letter"), *strip_figures(found, 0.6, READER, "letter")]:
            canvas = FigureCanvasAgg(figure)
            canvas.draw()
            for text in figure.texts:
                box = text.get_window_extent(canvas.get_renderer())
                assert box.x0 >= 0.2 * figure.dpi, text
                assert box.x1 <= figure.bbox.x1 - 0.2 * figure.dpi, text
                assert box.y0 >= 0.2 * figure.dpi, text
                assert box.y1 <= figure.bbox.y1 - 0.2 * figure.dpi, text


@pytest.mark.parametrize("height", [99.74, 100.0, 100.26, 100.49])
def test_a_block_is_never_shown_longer_than_the_room_on_the_deck_below(height: float) -> None:
    over = 'line.Over = { from = "C", to = "D", at = [0, 0], track = [{ straight = 900, rise = 0 }] }'
    under = over.replace("Over", "Under").replace('"C", to = "D"', '"A", to = "B"')
    plan = read_plan(f'scale = "HO"\nunit = "mm"\nrailhead = {{ A = 0, C = {height} }}\n{under}\n{over}\n')
    build = usual_riser_build(plan, "metric", datum=0.9, deck=0.0125)
    found = risers_along(walk_along(Layout(plan), line="Over"), build, every=0.3)
    (column,) = (each for each in riser_columns(found, READER) if each.head == "on deck>")
    assert {height - 12.5 - 0.5 < float(cell) <= height - 12.5 for cell in column.cells} == {True}
