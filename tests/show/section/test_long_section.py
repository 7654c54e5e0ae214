"""The picture of a long section: its figures are those of the document, its words keep apart, its bytes are alike."""

from __future__ import annotations

import re
from functools import cache

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from demos import layout_of
from gradehaul.errors import PlanError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.verdict import rank
from gradehaul.haulage.views.section import LongSection, long_section
from gradehaul.plan import read_plan
from gradehaul.quantities import convert
from gradehaul.show.base.paper import SizeName
from gradehaul.show.base.picture import drawing_rules, picture_bytes, picture_format, plain
from gradehaul.show.base.unit_format import UnitFormat, units_for
from gradehaul.show.section.picture import long_section_figure, long_section_picture
from project import ROOT
from show.drawn import check_sheet, drawn_texts, figures, svg_texts

ODD = r"""
title = "$x^2$ [red] & <b> 🚂 TITLE"
scale = "HO"
unit = "in"
railhead."$\\alpha$" = 0
[line."=1+1 \u001b[2J$line$"]
from = "$\\alpha$"
to = "מחצבה"
track = [
  { straight = 60, grade = "2 %", name = "🚂 :smile:" },
  { left = 24, angle = 90, grade = "3 %", name = "قطار" },
  { straight = 40, grade = "-2 %", name = "VERY_LONG" },
]
[loco."@mogul"]
mass = "300 g"
length = "8 in"
[car."-ore"]
length = "5.5 in"
[rail."פילם $f$"]
metal = { fresh = 0.5, settled = 0.6 }
tyred = { fresh = 0.5, settled = 0.6 }
[train."[/] night_{ $n$"]
route = "+up $_{"
consist = ["@mogul", "6 -ore"]
[route."+up $_{"]
from = "$\\alpha$"
to = "מחצבה"
"""

TREATED = ("clean", "treated", "treated fresh")

SECTIONS = (
    ("first-hill", None, TREATED),
    ("landing", "Down to the pond", ("treated fresh",)),
    ("n-mountain", "Southbound", None),
    ("two-levels", "Up by the siding", None),
    ("two-levels", "Quarry down", None),
    ("switchback", "Up to the quarry, leg 2", None),
    ("yard", "West 1 to West 2", None),
    ("yard", "House 1 to House 2, lowest ruling", None),
)
"""A stall, a runaway, a hill and its descent, planned film, a leg, a route without a train, and a level one."""


def units(section: LongSection, **rest) -> UnitFormat:
    return units_for(section.plan, **rest)


@cache
def section_of(name: str, route: str | None = None, rails: tuple[str, ...] | None = None) -> LongSection:
    return long_section(layout_of(name), route, rails=rails)


@cache
def figure_of(section: LongSection, size: SizeName = "a4") -> Figure:
    with drawing_rules():
        return long_section_figure(section, units(section), size=size)


@cache
def odd_section() -> LongSection:
    text = ODD.replace("TITLE", "on and on " * 30).replace("VERY_LONG", "a track without end " * 10)
    layout = Layout(read_plan(text))
    return long_section(layout, rails=layout.rails)


@pytest.mark.parametrize(
    ("name", "route", "rails", "size"),
    [*((*each, "a4") for each in SECTIONS), *((*SECTIONS[k], "phone") for k in (0, 2, 5))],
)
def test_its_figures_are_those_of_the_document_and_its_words_keep_apart(name, route, rails, size):
    section = section_of(name, route, rails)
    found, read = section.to_dict(), units(section)
    figure = figure_of(section, size)
    with drawing_rules():
        texts = check_sheet(figure)

    def number(value: float) -> str:
        return read.length(value).split(" ")[0]

    # joint, distance and railhead stand one below another
    rows = [tuple(texts[k : k + 3]) for k in range(len(texts) - 2)]
    heights = {0.0: found["railhead_at_start_m"], **{each["to_m"]: each["railhead_m"] for each in found["elements"]}}
    missing = [
        joint["name"]
        for joint in found["joints"]
        if not any(
            row[0].startswith(joint["name"][:6])
            and row[1:] == (number(joint["at_m"]), read.railhead(heights[joint["at_m"]]))
            for row in rows
        )
    ]
    assert not missing or (size == "phone" and len(found["joints"]) - len(missing) > 12)
    assert not {found["joints"][end]["name"] for end in (0, -1)} & set(missing)
    grades = {read.grade(each["grade_pct"][0] / 100) for each in found["grades"] if not each["vertical_curve"]}
    shown = [text for text in texts if re.fullmatch(r"-?[\d.]+ %", text)]
    assert set(shown) <= grades
    radii = {number(each["radius_m"]) for each in found["curves"]}
    turns = [text.split(" ") for text in texts if re.fullmatch(r"(left|right|L|R) [\d.]+", text)]
    assert {radius for _, radius in turns} <= radii
    assert ("with curves" in texts) == ("radius" in texts) == bool(radii)
    if size == "a4":
        assert shown or grades == {"0.00 %"}
        assert turns or not radii
    (ruling,) = [text for text in texts if text.startswith("ruling ")] or [""]
    steepest = max(value for each in found["elements"] for value in each["effective_pct"])
    assert figures(ruling)[:1] == ([read.grade(steepest / 100).split(" ")[0]] if steepest > 1e-6 else [])
    words = " ".join(texts)
    assert f"route {found['route']}, {read.length(found['length_m'])} long" in words
    assert f"climbs {read.length(found['climb_m'])}, falls {read.length(found['fall_m'])}" in words
    _check_train(found, words, read)


def test_figures_of_an_axis_below_0_have_a_minus_sign():
    section = section_of(*SECTIONS[1])
    with drawing_rules():
        texts = svg_texts(picture_bytes(figure_of(section), "svg"))
    assert [text for text in texts if re.fullmatch(r"\N{MINUS SIGN}[\d.]+", text)]
    assert not [text for text in texts if re.fullmatch(r"-[\d.]+", text)]  # a hyphen may be a dash


def _check_train(found: dict, words: str, read: UnitFormat) -> None:
    """Check the words on every rail: the outcome, where, and by how much; the worst of the judged stands first."""
    if found["train"] is None:
        assert "demand" not in words
        return
    for given in found["train"]["rails"]:
        where, short = words, f"{read.force(-given['spare_n'])} short"
        place = f"at {read.length(given['spare_at_m'])} on {given['spare_track']}"
        if given["verdict"] == "stalls" or given["outcome"] == "stalls":
            assert f"stalls first at {read.length(given['stalling_m'][0][0])} on {given['track']}" in where
            assert f"; at worst {short}, at {read.length(given['spare_at_m'])}" in where
        elif given["outcome"] == "runs away":
            first, last = given["running_away_m"][0]
            assert f"runs away first from {read.length(first)} to {read.length(last)}" in where
        elif given["outcome"] == "marginal":
            when = "it must start again" if given["spare_by"] == "restart" else "the wheels slip"
            assert f"marginal, {short} if {when}, {place}" in where
        else:
            assert f"climbs, {read.force(given['spare_n'])} to spare {place}" in where
    assert words.startswith(found["train"]["name"])


def test_the_worst_judged_rail_is_the_headline_and_film_everywhere_is_beside():
    for name, route, rails, headline, beside in (
        ("first-hill", None, TREATED, "local stalls first at 107.1 in on Lower bend", "Clean: climbs"),
        (
            "two-levels",
            "Up by the siding",
            None,
            "stone climbs, 4.0 gf to spare at 21917 mm on Terminus line:3",
            "With film everywhere: stalls",
        ),
        ("landing", "Down to the pond", ("treated fresh",), "loads runs away first from 1994 mm", ""),
    ):
        section = section_of(name, route, rails)
        with drawing_rules():
            texts = [text for text, _ in drawn_texts(figure_of(section))]
        assert texts[0].startswith(headline)
        assert beside in " ".join(texts)
        pulls = [text for text in texts if text.startswith("pull, ")]
        assert any("treated fresh" in text for text in pulls) == (rails is not None)
        assert any("film everywhere" in text for text in pulls) == (rails is None)


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_odd_words_keep_to_the_sheet_and_never_overlap(size):
    with drawing_rules():
        check_sheet(figure_of(odd_section(), size))


@pytest.mark.parametrize(("name", "route", "rails"), SECTIONS[:3])
def test_lines_and_red_gaps_are_the_functions_and_stretches_of_the_answer(name, route, rails):
    section = section_of(name, route, rails)
    haul, unit = section.haul, section.plan.unit
    figure = figure_of(section)
    lines = {line.get_gid(): line for axes in figure.axes for line in axes.lines if line.get_gid()}
    for gid, function, up in (
        ("railhead", section.profile.railhead, unit),
        ("effective grade", section.effective, "%"),
        ("demand running", haul.running, "gf"),
        *((f"standing {given.rail}", given.standing, "gf") for given in haul.given if given.judged),
        *((f"slipping {given.rail}", given.slipping, "gf") for given in haul.given if given.judged),
    ):
        x, y = lines[gid].get_data()
        assert (x[0], x[-1]) == pytest.approx((convert(function.start, unit), convert(function.stop, unit)))
        assert max(y) == pytest.approx(convert(function.greatest().value, up), abs=2e-3)
        assert min(y) == pytest.approx(convert(function.least().value, up), abs=2e-3)  # along parabolas
        low, high = lines[gid].axes.get_ylim()
        assert low <= min(y)
        assert max(y) <= high
    assert set(lines) >= {f"holding back {g.rail}" for g in haul.given if g.judged and haul.least.least().value < 0}
    red = {each.get_gid(): each for axes in figure.axes for each in axes.collections if each.get_gid()}
    judged = [given for given in haul.given if given.judged]
    worst = min(judged, key=lambda each: rank(each.verdict))
    short = {"stand": worst.verdict.stalling, "restart": worst.verdict.no_stopping}
    for gid, stretches in (
        ("gap short", short.get(worst.verdict.spare_by, worst.verdict.no_recovery)),
        (f"holding back {worst.rail} short", worst.verdict.running_away),
    ):
        drawn = [part.vertices[:, 0] for part in red[gid].get_paths()] if gid in red else []
        ends = sorted((x.min(), x.max()) for x in drawn)
        assert np.array(ends).reshape(-1, 2) == pytest.approx(
            np.array([[convert(s.start, unit), convert(s.stop, unit)] for s in stretches]).reshape(-1, 2), abs=0.02
        )
    for kind, name in (("stalls", "stalling"), ("no stopping", "no_stopping"), ("runs away", "running_away")):
        bars = [each for axes in figure.axes for each in axes.collections if each.get_gid() == kind]
        starts = [path.vertices[:, 0].min() for bar in bars for path in bar.get_paths()]
        assert starts == pytest.approx([convert(s.start, unit) for g in judged for s in getattr(g.verdict, name)])


def test_the_pull_has_two_fifths_of_the_sheet_and_heights_are_drawn_as_often_as_said():
    section = section_of("two-levels", "Up by the siding")
    figure = figure_of(section)
    with drawing_rules():
        texts = [text for text, _ in drawn_texts(figure)]
    *upper, railhead, _, _ = figure.axes
    assert len(upper) == 1  # a bar of what a train must not do stands below only where there is such a place
    tall = upper[0].get_tightbbox().y1 - upper[0].get_tightbbox().y0
    assert tall / figure.bbox.height == pytest.approx(0.4, abs=0.03)
    box = railhead.get_window_extent()
    times = (box.height / np.ptp(railhead.get_ylim())) / (box.width / np.ptp(railhead.get_xlim()))
    (said,) = [text for text in texts if "heights exaggerated" in text]
    assert float(figures(said)[0]) == pytest.approx(times, rel=0.01)


def test_a_level_route_is_drawn_as_level():
    section = section_of("yard", "House 1 to House 2, lowest ruling")
    figure = figure_of(section)
    railhead, grade = figure.axes[:2]
    assert np.ptp(railhead.get_ylim()) >= 0.002 * convert(section.profile.length, "in")
    assert grade.get_ylim()[1] >= 2
    assert drawn_texts(figure)[0][0] == "House 1 to House 2, lowest ruling: nothing to climb"


@pytest.mark.parametrize(("rise", "share"), [(0.1, 0.0015), (72, 0.806)])
def test_a_low_hill_on_a_long_route_is_seen_and_a_ripple_is_not(rise, share):
    track = f"[{{straight = 13000}}, {{straight = 1000, rise = {rise}}}, {{straight = 13000}}]"
    plan = read_plan(
        f'scale = "N"\nunit = "mm"\nrailhead.West = 0\nline.Main = {{from = "West", to = "East", track = {track}}}\n'
    )
    railhead = figure_of(long_section(Layout(plan), "West to East")).axes[0]
    (line,) = [line for line in railhead.lines if line.get_gid() == "railhead"]
    assert np.ptp(line.get_ydata()) == pytest.approx(rise)
    assert np.ptp(line.get_ydata()) / np.ptp(railhead.get_ylim()) == pytest.approx(share, rel=0.02)


def test_rails_are_shown_apart_without_color():
    section = section_of("first-hill", None, TREATED)
    figure = figure_of(section)
    lines = {line.get_gid(): line for axes in figure.axes for line in axes.lines if line.get_gid()}
    assert len({repr(lines[f"standing {rail}"]._dash_pattern) for rail in TREATED}) == 3


def test_grades_in_the_reader_s_form():
    section = section_of("first-hill")
    one_in = units(section, system="metric", grades="one-in")
    texts = svg_texts(long_section_picture("svg", section, one_in))
    assert {"1 in 36.7", "left 610"} <= set(texts)


# Bytes


def test_svg_is_the_same_whatever_the_settings():
    section = section_of("first-hill", None, TREATED)
    first = long_section_picture("svg", section, units(section))
    with mpl.rc_context({"font.size": 40, "axes.facecolor": "red", "svg.hashsalt": "other", "lines.linewidth": 9}):
        mine = dict(mpl.rcParams)
        assert long_section_picture("svg", section, units(section)) == first
        assert dict(mpl.rcParams) == mine
    assert b"date" not in first
    assert mpl.__version__.encode() not in first


def test_names_are_plain_text_in_svg():
    section = odd_section()
    with drawing_rules():
        found = svg_texts(picture_bytes(figure_of(section, "phone"), "svg"))
    for name in ("$\\alpha$", "מחצבה", "🚂 :smile:", "قطار"):
        assert name in found
    words = " ".join(found)
    for name in ("$x^2$ [red] & <b> 🚂", "+up $_{", "[/] night_{ $n$", "פילם $f$"):
        assert name in words


@pytest.mark.parametrize(("form", "mark"), [("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_other_formats(form, mark):
    with drawing_rules():
        once, again = (picture_bytes(figure_of(odd_section(), "phone"), form) for _ in range(2))
    assert once.startswith(mark)
    assert once == again
    if form == "png":
        assert int.from_bytes(once[16:20], "big") == 3.75 * 200  # 200 dots to an inch


def test_no_pyplot():
    for path in (ROOT / "src" / "gradehaul").rglob("*.py"):
        assert not re.search(r"^\s*(from|import) .*\bpyplot\b", path.read_text(encoding="utf-8"), re.MULTILINE), path


# Formats


@pytest.mark.parametrize("path", ["hill.txt", "hill", "hill.svgz", "svg", ".png/hill"])
def test_unknown_endings(path):
    with pytest.raises(PlanError, match=r"\.png, \.svg or \.pdf"):
        picture_format(path)


def test_plain_text_holds_nothing_that_xml_refuses():
    assert plain("a\x00b\ufffe\ud800\u202ec\td") == "ab\ufffdc d"
