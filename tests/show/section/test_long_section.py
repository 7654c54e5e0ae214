"""The picture of a long section: what is on it, that nothing overlaps, and that its bytes are always the same."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from gradehaul.errors import PlanError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.section import LongSection, long_section
from gradehaul.plan import load_plan, read_plan
from gradehaul.quantities import convert
from gradehaul.show.base.picture import drawing_rules, picture_bytes, picture_format, plain
from gradehaul.show.base.reading_units import Reader, balance_unit, reader_of
from gradehaul.show.base.sheet import SizeName
from gradehaul.show.section.picture import long_section_figure, long_section_picture
from project import ROOT

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


def reader(section: LongSection, **rest) -> Reader:
    return reader_of(section.plan.unit, force_unit=balance_unit(section.plan), **rest)


FILMED = ("clean", "treated", "treated fresh")


@cache
def section_of(name: str, route: str | None = None) -> LongSection:
    rails = FILMED if name == "first-hill" else None
    return long_section(Layout(load_plan(ROOT / "plans" / f"{name}.toml")), route, rails=rails)


@cache
def odd_section() -> LongSection:
    text = ODD.replace("TITLE", "on and on " * 30).replace("VERY_LONG", "a track without end " * 10)
    layout = Layout(read_plan(text))
    return long_section(layout, rails=layout.rails)


def texts(figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text() and text.get_visible()]


def words(figure) -> list[str]:
    return [text.get_text() for text in texts(figure)]


@cache
def figure_of(name: str, route: str | None, size: SizeName):
    section = odd_section() if name == "odd" else section_of(name, route)
    with drawing_rules():
        return long_section_figure(section, reader(section), size=size)


def drawn(figure, gid: str):
    (line,) = [line for axes in figure.axes for line in axes.lines if line.get_gid() == gid]
    return line


# What is on it


@pytest.mark.parametrize(
    ("name", "route", "size"),
    [
        ("first-hill", None, "a4"),
        ("first-hill", None, "phone"),
        ("n-mountain", "Southbound", "phone"),
        ("two-levels", "Up by the siding", "phone"),
        ("yard", "West 1 to West 2", "a4"),
        ("odd", None, "a4"),
        ("odd", None, "phone"),
    ],
)
def test_labels_lie_on_the_sheet_and_never_overlap(name, route, size):
    figure = figure_of(name, route, size)
    with drawing_rules():
        renderer = FigureCanvasAgg(figure).get_renderer()
        boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts(figure)]
    assert len(boxes) > 15
    for text, box in boxes:
        assert box.x0 >= 0, text
        assert box.y0 >= 0, text
        assert box.x1 <= figure.bbox.width, text
        assert box.y1 <= figure.bbox.height, text
    for (text, box), (other_text, other) in combinations(boxes, 2):
        apart = min(box.x1, other.x1) <= max(box.x0, other.x0) or min(box.y1, other.y1) <= max(box.y0, other.y0)
        assert apart, (text, other_text)


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_what_matters_is_told(size):
    told = words(figure_of("first-hill", None, size))
    for label in (
        "First hill",
        "Uphill",
        "local",
        "Harbor",
        "Ridge",
        "Harbor yard",
        "Lower bend",
        "Upper bend",
        "2.72 %",
        "left 24.0 in",
        "right 24.0 in",
        "ruling 4.04 %: grade 2.72 %, curve 1.32 %",
        "80.7 gf on clean",
        "51.0 gf on treated",
        "42.5 gf on treated fresh",
        "asked to run",
        "asked to start",
        "stalls",
        "Distance from where the route begins, in",
    ):
        assert label in told
    assert any(text.startswith("climbs, 22.8 gf to spare") for text in told)
    assert any(text.startswith("stalls") and "on Lower bend, lacks up to 6.9 gf" in text for text in told)
    assert told.count("level") == 2


def test_lines_are_the_functions_in_the_units_of_the_plan():
    section, figure = section_of("first-hill"), figure_of("first-hill", None, "a4")
    haul = section.haul
    for gid, function, unit in (
        ("railhead", section.profile.railhead, "in"),
        ("effective grade", section.effective, "%"),
        ("asked running", haul.running, "gf"),
        ("asked starting", haul.starting, "gf"),
        *((f"standing {given.rail}", given.standing, "gf") for given in haul.given),
        *((f"slipping {given.rail}", given.slipping, "gf") for given in haul.given),
    ):
        x, y = drawn(figure, gid).get_data()
        assert (x[0], x[-1]) == pytest.approx((convert(function.start, "in"), convert(function.stop, "in")))
        assert max(y) == pytest.approx(convert(function.greatest().value, unit))
        assert min(y) == pytest.approx(convert(function.least().value, unit), abs=1e-9)


def test_every_line_lies_within_its_panel():
    for figure in (figure_of("first-hill", None, "a4"), figure_of("n-mountain", "Southbound", "phone")):
        for axes in figure.axes:
            low, high = axes.get_ylim()
            for line in axes.lines:
                if line.get_gid():
                    y = np.asarray(line.get_ydata(), dtype=float)
                    assert low <= y.min()
                    assert y.max() <= high


def test_trouble_is_marked_where_the_verdict_has_it():
    section, figure = section_of("first-hill"), figure_of("first-hill", None, "phone")
    for kind, stretches in (
        ("stalls", [given.verdict.stalling for given in section.haul.given]),
        ("no stopping", [given.verdict.no_stopping for given in section.haul.given]),
        ("no recovery", [given.verdict.no_recovery for given in section.haul.given]),
    ):
        marks = [patch for axes in figure.axes for patch in axes.patches if patch.get_gid() == kind]
        told = [(convert(each.start, "in"), convert(each.stop, "in")) for some in stretches for each in some]
        assert told
        assert [(mark.get_x(), mark.get_x() + mark.get_width()) for mark in marks] == [pytest.approx(t) for t in told]


def test_rails_are_told_apart_without_color():
    figure = figure_of("first-hill", None, "a4")
    dashes = {
        rail: repr(drawn(figure, f"standing {rail}")._dash_pattern) for rail in ("clean", "treated", "treated fresh")
    }
    assert len(set(dashes.values())) == 3
    marks = {patch.get_gid(): patch.get_hatch() for axes in figure.axes for patch in axes.patches if patch.get_gid()}
    assert len({marks["stalls"], marks["no stopping"], marks["no recovery"]}) == 3


def test_without_a_train_only_the_track():
    figure = figure_of("yard", "West 1 to West 2", "a4")
    gids = {line.get_gid() for axes in figure.axes for line in axes.lines}
    assert {"railhead", "effective grade"} <= gids
    assert not any(gid and gid.startswith(("asked", "standing")) for gid in gids)


def test_nothing_rules_a_level_route():
    section = section_of("yard", "House 1 to House 2, lowest ruling")
    with drawing_rules():
        told = words(long_section_figure(section, reader(section)))
    assert "level" in told
    assert "Curves: none" in told
    assert not any("ruling" in label for label in told if label != section.route.name)


def test_sizes():
    assert figure_of("first-hill", None, "a4").get_size_inches().tolist() == [11.69, 8.27]
    assert figure_of("first-hill", None, "phone").get_size_inches()[0] * 96 == 360
    # the smallest text on a phone, in px of 1/96 in
    assert min(text.get_fontsize() for text in texts(figure_of("first-hill", None, "phone"))) * 96 / 72 > 9


def test_grades_in_the_reader_s_form():
    section = section_of("first-hill")
    with drawing_rules():
        told = words(long_section_figure(section, reader(section, system="metric", grades="one-in"), size="phone"))
    assert "1 in 36.7" in told
    assert "1 in 50" in told
    assert "left 610 mm" in told


# Bytes


def test_svg_is_the_same_whatever_the_settings_and_from_run_to_run():
    section = section_of("first-hill")
    first = long_section_picture(section, reader(section), "svg")
    with mpl.rc_context({"font.size": 40, "axes.facecolor": "red", "svg.hashsalt": "other", "lines.linewidth": 9}):
        mine = dict(mpl.rcParams)
        assert long_section_picture(section, reader(section), "svg") == first
        assert dict(mpl.rcParams) == mine
    done = subprocess.run(
        [sys.executable, "-c", CHILD],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"},
        capture_output=True,
        check=True,
    )
    assert done.stdout == first
    assert b"date" not in first
    assert mpl.__version__.encode() not in first


CHILD = f"""
import sys
FILMED = {FILMED}
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.section import long_section
from gradehaul.plan import load_plan
from gradehaul.show.section.picture import long_section_picture
from gradehaul.show.base.reading_units import balance_unit, reader_of
plan = load_plan("plans/first-hill.toml")
reader = reader_of(plan.unit, force_unit=balance_unit(plan))
sys.stdout.buffer.write(long_section_picture(long_section(Layout(plan), rails=FILMED), reader, "svg"))
"""


def test_names_are_plain_text_in_svg():
    section = odd_section()
    root = ET.fromstring(long_section_picture(section, reader(section), "svg", size="phone"))
    told = ["".join(text.itertext()) for text in root.iter("{http://www.w3.org/2000/svg}text")]
    for name in ("+up $_{", "[/] night_{ $n$", "$\\alpha$", "מחצבה", "🚂 :smile:", "قطار", "פילם $f$"):
        assert name in told
    assert any(text.startswith("$x^2$ [red] & <b> 🚂") and text.endswith("…") for text in told)


@pytest.mark.parametrize(("form", "mark"), [("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_other_formats(form, mark):
    figure = figure_of("odd", None, "phone")
    with drawing_rules():
        once, again = (picture_bytes(figure, form, dots_per_inch=192) for _ in range(2))
    assert once.startswith(mark)
    assert once == again
    if form == "png":
        width = int.from_bytes(once[16:20], "big")
        assert width == 2 * 360


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
