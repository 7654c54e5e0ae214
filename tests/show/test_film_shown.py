"""Where the film may go on the plan view, its numbers, the drawing and the page: by pattern as well as by color."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text

from command_line import run
from demos import layout_of
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan.drawing.dxf.file import dxf_library
from gradehaul.show.base.labels import USE_MEANINGS, USE_WORDS
from gradehaul.show.base.page import words_of
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_for
from gradehaul.show.drawing.dxf import USE_BESIDE, USE_LINES
from gradehaul.show.plan_view.picture import plan_figure
from gradehaul.show.plan_view.styles import FORCED_WORDS, USES
from gradehaul.treatment.keep_clean import KeepCleanOptions, keep_clean_plan, used_stretches
from project import PLANS
from show.drawn import check_sheet

TWO_LEVELS = str(PLANS / "two-levels.toml")
HILL = str(PLANS / "first-hill.toml")


@cache
def shown(name: str, step: float | None = None):
    layout = layout_of(name)
    plan = layout.plan
    found = keep_clean_plan(layout, KeepCleanOptions(step=step))
    return plan_view(layout, rails=["clean"]), found, units_for(plan)


def test_uses_are_told_apart_without_color() -> None:
    patterns = {use: [(line["lw"], line.get("ls", "-")) for line in lines] for use, lines in USES.items()}
    for one, other in combinations(patterns, 2):
        assert patterns[one] != patterns[other], (one, other)
    dashes = [(line.dashes, line.weight) for line in USE_LINES.values()]
    assert len(set(dashes)) == len(dashes)
    assert set(USE_LINES) == set(USES)


@pytest.mark.parametrize(("name", "step"), [("two-levels", None), ("first-hill", 0.25)])
@pytest.mark.parametrize("size", ["a4", "phone"])
def test_the_picture_draws_every_use_on_its_stretches_and_says_what_it_means(name, step, size) -> None:
    view, found, units = shown(name, step)
    with drawing_rules():
        figure = plan_figure(view, units, size=size, film=found)
        check_sheet(figure)
    texts = [text for text in figure.findobj(Text) if text.get_text()]
    drawn: dict[tuple[str, str], float] = {}
    for use, styles in USES.items():
        for track in view.tracks:
            lines = [line for line in figure.axes[0].lines if line.get_gid() == f"{use} {track}"]
            rail = lines[:: len(styles)]  # the lines of a use lie on top of one another
            drawn[use, track] = sum(float(np.hypot(*np.diff(line.get_xydata(), axis=0).T).sum()) for line in rail)
    asked: dict[tuple[str, str], float] = {}
    for row in found.rows:
        asked[row.use, row.unit.track] = asked.get((row.use, row.unit.track), 0.0) + row.unit.length
    crossed = {each.under.track for each in view.overpasses}  # broken there
    for key, length in drawn.items():
        if key[1] not in crossed:
            assert length == pytest.approx(asked.get(key, 0.0), rel=0.01, abs=1e-6), key
    words = [text.get_text() for text in texts]
    for forced in found.hardest:
        spot = view.tracks[forced.on.track].spot(forced.on.along)
        turned = (spot.y, -spot.x) if size == "phone" else (spot.x, spot.y)
        at = figure.axes[0].transData.transform([turned, (spot.x, spot.y)])
        marks = [text for text in texts if (text.get_gid() or "").startswith("forced ")]
        places = [figure.transFigure.transform(mark.get_position()) for mark in marks]
        assert min(np.hypot(*(place - each)) for place in places for each in at) < 60  # one that lies near may hold it
    assert (FORCED_WORDS in words) == bool(found.hardest)
    used = {row.use for row in found.rows}
    assert {USE_MEANINGS[use] for use in used} <= set(words)
    assert not {words for use, words in USE_MEANINGS.items() if use not in used} & set(words)
    for train in found.trains:
        said = rf"{train.name}, with this plan: [^;]*; with film everywhere: {train.everywhere.outcome}"
        assert re.search(said, " ".join(words))


def test_the_picture_says_first_what_it_hangs_on_and_what_it_comes_to(tmp_path) -> None:
    for name, words in (
        ("two-levels", "This depends on a guess: wheels spread the film no farther than 2000 mm."),
        ("first-hill", "No track may be treated; 290.8 in stays clean."),
        ("switchback", "All track may be treated; empties then stalls or runs away in 8 % of trials."),
    ):
        target = tmp_path / f"{name}.svg"
        assert run("map", str(PLANS / f"{name}.toml"), "--treat", "-o", str(target)).exit_code == 0
        drawn = target.read_text(encoding="utf-8")
        assert words in drawn
        assert "spare length of track first" in drawn


def test_a_plan_that_cannot_be_is_said(tmp_path) -> None:
    heavy = tmp_path / "heavy.toml"
    text = (PLANS / "first-hill.toml").read_text(encoding="utf-8")
    heavy.write_text(text.replace('"7 boxcar"', '"30 boxcar"'), encoding="utf-8")
    assert "30 boxcar" in heavy.read_text(encoding="utf-8")
    page, picture, drawing = (str(tmp_path / f"x.{ending}") for ending in ("html", "png", "dxf"))
    for verb, target in (("map", picture), ("report", page), ("export", drawing)):
        done = run(verb, str(heavy), "--treat", "-o", target)
        assert done.exit_code == 0, done.output
    assert "No plan can help" in Path(page).read_text(encoding="utf-8")


def test_the_options_are_those_of_treat() -> None:
    options = ["--train", "local", "--need", "marginal", "--reserve", "10 %", "--carry", "0", "--step", "1 ft"]
    drawn = run("export", HILL, "--treat", "-o", "-", *options).output
    uses = {track["use"] for track in json.loads(run("treat", HILL, "--json", *options).output)["tracks"]}
    assert {use for use, line in USE_LINES.items() if f"\n{line.layer}\n" in drawn.replace("\r", "")} == uses
    assert "--treat draws" in run("map", HILL, "--treat").output
    for verb, target in (("map", []), ("export", ["-o", "-"]), ("report", [])):
        done = run(verb, HILL, "--carry", "3 m", *target)
        assert done.exit_code == 2
        assert "--carry needs --treat" in done.output
        done = run(verb, HILL, "--treat", "--carry", "far", *target)
        assert done.exit_code == 2
        assert "--carry" in done.output


def test_trains_by_rail_stand_beside_where_they_are_asked_for(tmp_path) -> None:
    target = tmp_path / "plan.svg"
    assert run("map", HILL, "--treat", "--rail", "treated", "-o", str(target)).exit_code == 0
    assert "local, on treated rail, route Uphill" in target.read_text(encoding="utf-8")


def test_the_drawing_has_a_layer_and_a_line_type_for_each_use(tmp_path) -> None:
    target = tmp_path / "film.dxf"
    assert run("export", TWO_LEVELS, "--treat", "-o", str(target)).exit_code == 0
    document = dxf_library().readfile(target)
    audit = document.audit()
    assert (audit.errors, audit.fixes) == ([], [])
    view, found, _ = shown("two-levels")
    uses = used_stretches(found)
    circles = document.modelspace().query('CIRCLE[layer=="Keep clean"]')
    assert len(circles) == len(found.hardest) > 0
    for use, style in USE_LINES.items():
        lines = list(document.modelspace().query(f'LWPOLYLINE[layer=="{style.layer}"]'))
        texts = [each.dxf.text for each in document.modelspace().query(f'TEXT[layer=="{style.layer}"]')]
        stretches = [(track, each) for track, some in uses.items() for each in some if each.use == use]
        assert len(lines) == len(stretches)
        if not stretches:
            continue
        forced = len(found.hardest) if use == "keep clean" else 0
        assert len(texts) == len(lines) + forced
        assert {line.dxf.linetype for line in lines} == ({style.layer} if style.dashes else {"CONTINUOUS"})
        if style.dashes:
            strokes = document.linetypes.get(style.layer).simplified_line_pattern()
            assert strokes == pytest.approx([1000 * view.plan.scale.gauge * abs(each) for each in style.dashes])
        for (track, stretch), line in zip(stretches, lines, strict=True):
            spot = view.tracks[track].spot(stretch.start)
            x, y = line.get_points("xy")[0]
            off = np.array([x, y]) / 1000 - [spot.x, spot.y]
            right = [np.sin(spot.heading), -np.cos(spot.heading)]
            assert off @ right == pytest.approx(USE_BESIDE * view.plan.scale.gauge, rel=1e-4)
        named = document.modelspace().query(f'TEXT[layer=="{style.layer}"]')
        named = [each for each in named if each.dxf.text == words_of(USE_WORDS[use])]
        for (track, stretch), text in zip(stretches, named, strict=True):
            spot = view.tracks[track].spot(0.5 * (stretch.start + stretch.stop))
            off = np.hypot(*(np.array(text.get_placement()[1].xyz[:2]) / 1000 - [spot.x, spot.y]))
            assert off <= 2.6 * view.plan.scale.gauge + 15 * max(each.dxf.height for each in named) / 1000


# The page

pytest.importorskip("playwright.sync_api")
from show.browser import Opened, opened  # noqa: E402


@pytest.fixture(scope="module")
def film_page(tmp_path_factory) -> Path:
    target = tmp_path_factory.mktemp("film") / "page.html"
    assert run("report", TWO_LEVELS, "--treat", "-o", str(target)).exit_code == 0
    return target


@pytest.fixture
def page(browser, film_page) -> Iterator[Opened]:
    with opened(browser, film_page.as_uri()) as one:
        yield one
        assert one.said == []
        assert one.requested == [film_page.as_uri()]


def test_the_page_draws_uses_and_turns_to_grades_by_keyboard(page) -> None:
    _, found, _ = shown("two-levels")
    stretches = [each for some in used_stretches(found).values() for each in some]
    for use in USES:
        name = use.replace(" ", "-")
        expected = sum(each.use == use for each in stretches)
        assert page.page.locator(f"figure.plan .use.{name}:not(.over)").count() == expected
        assert page.page.locator(f"#plan-view .key .use.{name}.over").count() == bool(expected)
    assert page.page.locator("figure.plan .track[class*=shade]").count() == 0
    assert "film" in (page.page.locator("figure.plan svg").get_attribute("aria-label") or "")
    page.page.locator("input[name=plan-shows][value=film]").focus()
    page.page.keyboard.press("ArrowDown")
    assert page.page.locator("figure.plan .use").count() == 0
    assert page.page.locator("figure.plan .track[class*=shade]").count() > 20
    assert page.page.locator("[data-shows=film]").first.is_hidden()
    assert "Shaded by the effective grade" in page.text("#plan-view")


def test_the_page_tells_track_and_train(page) -> None:
    words = page.text("#film")
    assert "depends on a guess" in words
    assert "stone would not recover from a slip" in words
    assert "If the film spreads everywhere, stone stalls" in words
    lengths = page.page.locator("#film table").nth(2).locator("thead button").nth(1)
    lengths.click()
    first = page.page.locator("#film table").nth(2).locator("tbody tr").first
    assert first.inner_text().startswith("Siding:2")


def test_a_page_without_the_film_says_nothing_of_it(tmp_path) -> None:
    target = tmp_path / "page.html"
    assert run("report", HILL, "-o", str(target)).exit_code == 0
    text = target.read_text(encoding="utf-8")
    assert 'id="film"' not in text
    assert "plan-shows" not in text.split("<body>")[1].split("<script")[0]


FEWER = """() => {
  document.querySelectorAll('tbody').forEach(body => [...body.rows].slice(3).forEach(row => row.remove()));
  document.querySelectorAll('details.route ~ details.route').forEach(each => each.remove());
}"""
"""Keep three rows of each table and one route: the others are made alike and only take time."""


def test_no_accessibility_violations_on_the_page_with_all_that_a_report_has(page, browser, film_page) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page.show_all()
    page.run(FEWER)
    found = Axe().run(page.page)
    assert found.violations_count == 0, found.generate_report()
    with opened(browser, film_page.as_uri(), width=360, color_scheme="dark") as narrow:
        narrow.show_all()
        assert narrow.run("document.documentElement.scrollWidth") <= 360
        narrow.run(FEWER)
        found = Axe().run(narrow.page, options={"runOnly": ["color-contrast"]})
        assert found.violations_count == 0, found.generate_report()


def test_on_a_phone_the_tables_of_the_film_are_read_without_scrolling(browser, tmp_path) -> None:
    """What is told at length stands below its row: no cell is cut, and none overflows into the next."""
    path = tmp_path / "film.html"
    assert run("report", TWO_LEVELS, "--treat", "--step", "300 mm", "-o", str(path)).exit_code == 0
    with opened(browser, path.as_uri(), width=390) as one:
        cells = one.run(
            "[...document.querySelectorAll('#film table.sortable')].flatMap(t =>"
            " [...t.querySelectorAll('th, td')].map(c => [c.innerText, c.getBoundingClientRect().left,"
            " c.getBoundingClientRect().right, c.scrollWidth - c.clientWidth]))"
        )
        assert len(cells) > 100
        assert all(left >= 0 and right <= 390 and over <= 0 for words, left, right, over in cells if words)
        assert any(words == "KEEP CLEAN" for words, *_ in cells)
        scroll = one.run("[...document.querySelectorAll('#film .scroll')].map(s => s.scrollWidth - s.clientWidth)")
        assert scroll
        assert not any(scroll)
        assert one.run("document.documentElement.scrollWidth") <= 390
