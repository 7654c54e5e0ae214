"""The picture of a plan view: its figures are those of the document, its marks and words keep apart."""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ET
from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.lines import Line2D
from matplotlib.text import Text

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import PlanView, plan_view
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import UnitFormat, units_for
from gradehaul.show.plan_view.labels import label_places, stacks
from gradehaul.show.plan_view.picture import plan_figure, plan_picture
from gradehaul.show.plan_view.styles import SHADES, runs, shade_words, shades_of
from project import PLANS
from show.drawn import check_sheet, drawn_texts, figures, svg_texts

ODD = r"""
title = "</script><img src=x onerror=alert(1)> $x^2$ \"quoted\" 'too' & 🚂"
scale = "HO"
unit = "in"
railhead."$\\alpha_{$" = 0
[line."=1+1"]
from = "$\\alpha_{$"
to = "מחצבה"
track = [
  { straight = 60, grade = "2 %", name = "</svg><script>alert(1)</script>" },
  { left = 24, angle = 90, grade = "6 %", name = "@قطار" },
  { straight = 40, grade = "-2 %", name = "-$x^2$", rail = "wiped \" & <b>" },
]
[loco."@mogul"]
mass = "300 g"
length = "8 in"
[car.ore]
length = "5.5 in"
[rail."wiped \" & <b>"]
metal = { fresh = 0.5, settled = 0.6 }
tyred = { fresh = 0.5, settled = 0.6 }
[train."[/] night $_{ 🚂"]
route = "+up"
consist = ["@mogul", "9 ore"]
[route."+up"]
from = "$\\alpha_{$"
to = "מחצבה"
"""

LOOP = """
scale = "HO"
unit = "m"
railhead.Foot = 0
[line.Loop]
from = "Foot"
to = "Top"
track = [
  { straight = 2, grade = "2 %" },
  { left = 0.6, angle = 270, grade = "2 %" },
  { straight = 2, grade = "2 %" },
]
"""


LOST = """
scale = "HO"
unit = "m"
railhead = { A = 0, C = 0 }
[line.Main]
from = "A"
to = "B"
track = [{ straight = 2, rise = 0 }, { left = 0.6, angle = 90, rise = 0.02 }]
[line.Loop]
from = "C"
to = "C"
track = [{ straight = 2, rise = 0.01 }, { left = 0.6, angle = 200, rise = 0 }, { straight = 1 }]
"""
"""A loop that does not close."""

MANY = (PLANS / "first-hill.toml").read_text(encoding="utf-8") + "".join(
    f'[train.t{k}]\nroute = "Uphill"\nconsist = ["switcher", "{8 + k % 3} boxcar"]\n' for k in range(9)
)
"""Ten trains that stall at nearly the same place."""


TREATED = dict.fromkeys(("first-hill", "landing", "n-mountain", "hollow", "cove"), ("treated", "treated fresh"))
"""Plans whose trains do not climb with film on all rails."""


@cache
def view_of(name: str) -> PlanView:
    texts = {"odd": ODD, "loop": LOOP, "lost": LOST, "many": MANY}
    if name in texts:
        return plan_view(Layout(read_plan(texts[name])), rails=("treated",) if name == "many" else None)
    return plan_view(Layout(load_plan(PLANS / f"{name}.toml")), rails=TREATED.get(name))


def units(view: PlanView) -> UnitFormat:
    return units_for(view.plan)


@cache
def figure_of(name: str, size="a4"):
    with drawing_rules():
        return plan_figure(view_of(name), units(view_of(name)), size=size)


def words(figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def marks(figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if (text.get_gid() or "").startswith(("stall", "runaway", "forced"))]


def lines(figure, gid: str) -> list[Line2D]:
    return [line for line in figure.axes[0].lines if (line.get_gid() or "").startswith(gid)]


@pytest.mark.parametrize("size", ["a4", "phone"])
@pytest.mark.parametrize("name", ["switchback", "yard", "odd", "lost"])
def test_words_keep_to_the_sheet_and_never_overlap(name, size):
    with drawing_rules():
        check_sheet(figure_of(name, size))


@pytest.mark.parametrize("size", ["a4", "phone"])
@pytest.mark.parametrize("name", ["first-hill", "landing", "n-mountain", "two-levels", "hollow"])
def test_its_figures_are_those_of_the_document_and_its_words_keep_apart(name, size):
    view, read = view_of(name), units(view_of(name))
    found = json.loads(json.dumps(view.to_dict()))
    with drawing_rules():
        texts = check_sheet(figure_of(name, size))
    labels = {each["name"]: read.railhead(each["railhead_m"]) for each in found["joints"]}
    for text in texts:
        joint = max((each for each in labels if text.startswith(f"{each} ")), key=len, default=None)
        if joint is not None and figures(text) and "," not in text:
            assert text.replace("\N{MINUS SIGN}", "-") == f"{joint} {labels[joint]}"
    assert sum(f"{name} {height}" in texts for name, height in labels.items()) >= 0.6 * len(labels)
    steep = {
        read.grade(value / 100)
        for each in found["tracks"]
        for value in (each["effective_pct"], each["effective_back_pct"])
    }
    grades = [match[0] for text in texts if (match := re.search(r"[\d.]+ %(?=$|, )", text)) and " to " not in text]
    assert grades
    assert set(grades) - {"1 %", "4 %"} <= steep
    words = " ".join(texts)
    for train in view.worse:
        (own,) = [each for each in found["trains"] if (each["name"], each["rail"]) == (train.name, train.rail)]
        begins = re.escape(f"{train.name}, ") + "[^:]*" + re.escape(f"route {own['route']}: ")
        (said,) = [words[match.end() :] for match in re.finditer(begins, words)]
        if own["outcome"] == "stalls":
            at, lacks = read.length(own["stalling_m"][0][0]), read.force(-own["spare_n"])
            worst = f"; at worst {lacks} short, at {read.length(own['spare_at_m'])}"
            assert said.startswith(f"stalls first at {at} on {own['track']}{worst}")
        elif own["outcome"] == "runs away":
            first, last = own["running_away_m"][0]
            assert said.startswith(f"runs away first from {read.length(first)} to {read.length(last)}")
        else:
            force, at = read.force(abs(own["spare_n"])), read.length(own["spare_at_m"])
            if own["outcome"] == "climbs":
                spare = f"climbs, {force} to spare"
            else:
                when = "it must start again" if own["spare_by"] == "restart" else "the wheels slip"
                spare = f"marginal, {force} short if {when},"
            assert said.startswith(f"{spare} at {at} on {own['spare_track']}")


@pytest.mark.parametrize("size", ["a4", "phone"])
@pytest.mark.parametrize("name", ["n-mountain", "hollow", "landing"])
def test_labels_keep_clear_of_bands_and_arrows(name, size):
    """Where there is room, as on these plans: nothing drawn beside the track lies behind the words."""
    figure = figure_of(name, size)
    axes, point = figure.axes[0], figure.dpi / 72
    with drawing_rules():
        numbered = {text.get_text() for text in marks(figure)}
        boxes = [(text, box) for text, box in drawn_texts(figure) if text not in numbered]
    drawn = [axes.transData.transform(patch.get_xy()) for patch in axes.patches if "uphill" in (patch.get_gid() or "")]
    for kind in ("stalls", "runs away", "no stopping", "no recovery"):
        for line in lines(figure, kind):
            ends = axes.transData.transform(line.get_xydata())
            chords = ends[np.append(True, np.hypot(*np.diff(ends, axis=0).T) > 1e-6)]
            place = np.linspace(0, len(chords) - 1, 400)
            course = np.column_stack([np.interp(place, np.arange(len(chords)), chords[:, k]) for k in (0, 1)])
            along = np.gradient(course, axis=0)
            aside = np.column_stack([-along[:, 1], along[:, 0]]) / np.hypot(*along.T)[:, None]
            drawn += [course + side * 0.4 * line.get_linewidth() * point * aside for side in (1, -1)]
    assert len(drawn) > 4
    for x, y in (points.T for points in drawn):
        for text, box in boxes:
            assert not ((x > box.x0) & (x < box.x1) & (y > box.y0) & (y < box.y1)).any(), text


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_a_label_lies_nearest_to_its_own_joint_or_a_line_leads_to_it(size):
    view, figure = view_of("yard"), figure_of("yard", size)
    spots = {
        joint.name: figure.axes[0].transData.transform(lines(figure, f"joint {joint.name}")[0].get_xydata()[0])
        for joint in view.joints
        if lines(figure, f"joint {joint.name}")
    }
    with drawing_rules():
        boxes = dict(drawn_texts(figure))
    leaders = {
        line.get_gid().removeprefix("leads to "): line.get_transform().transform(line.get_xydata())
        for line in figure.findobj(Line2D)
        if (line.get_gid() or "").startswith("leads to ")
    }
    labeled = [name for name in spots if f"{name} 0.00" in boxes]
    assert len(labeled) > 15
    for name in labeled:
        box = boxes[f"{name} 0.00"]
        if name in leaders:
            assert np.allclose(leaders[name][0], spots[name])
            continue
        away = {
            other: np.hypot(*(np.clip(spot, [box.x0, box.y0], [box.x1, box.y1]) - spot))
            for other, spot in spots.items()
        }
        assert min(away, key=away.__getitem__) == name
    for line in leaders.values():
        across, up = np.linspace(line[0], line[-1], 200)[1:-1].T
        for text, box in boxes.items():
            inside = (across > box.x0 + 2) & (across < box.x1 - 2) & (up > box.y0 + 2) & (up < box.y1 - 2)
            assert not inside.any(), text


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_the_worst_train_is_the_headline_and_a_stack_says_how_many_turns(size):
    found = words(figure_of("first-hill", size))
    assert " ".join(found).find("On treated rail local stalls on Lower bend") >= 0
    assert {"Harbor 0.00", "Ridge 4.00", "Lower bend 4.04 %", "over 4 %", "2 to 3 %"} <= set(found)
    assert any("Three turns" in text and text.endswith("3 turns") for text in words(figure_of("two-levels", size)))
    assert stacks(view_of("first-hill")) == stacks(view_of("loop")) == {}  # a crossing over itself is no stack
    turns = 'track = [{ left = 0.6, angle = 720 }, { name = "More", left = 0.6, angle = 540 }]'
    plan = f'scale = "H0"\nunit = "m"\nrailhead = {{ A = 0, B = 0.35 }}\nline.Up = {{ from = "A", to = "B", {turns} }}'
    assert list(stacks(plan_view(Layout(read_plan(plan)))).values()) == ["3.5 turns"]


@pytest.mark.parametrize(("climb", "fail", "counted"), [(12, 0, False), (13, 0, True), (1, 12, False), (2, 12, True)])
def test_trains_that_climb_are_counted_where_there_are_many_and_those_that_fail_never(climb, fail, counted):
    cars = [3] * (climb - 1) + [14] * fail  # beside the demo's own train, which climbs
    rows = (f'[train.t{k}]\nroute = "Uphill"\nconsist = ["switcher", "{n} boxcar"]\n' for k, n in enumerate(cars))
    plan = read_plan((PLANS / "first-hill.toml").read_text("utf-8") + "".join(rows))
    view = plan_view(Layout(plan), rails=("clean",))
    with drawing_rules():
        shown = " ".join(" ".join(words(plan_figure(view, units(view)))).split())
    assert (f"{climb} more rows: trains that climb" in shown) == counted
    assert len(re.findall(r"\w+, on clean rail, route Uphill: climbs", shown)) == (0 if counted else climb)
    assert len(re.findall(r"\d+: t\d+, on clean rail, route Uphill: stalls", shown)) == fail


def test_a_common_design_grade_lies_in_the_milder_class():
    plan = LOOP.replace("left = 0.6, angle = 270", "straight = 1").replace(
        '"2 %" },\n  { straight = 2', '"2 %" },\n  { straight = 2'
    )
    view = plan_view(Layout(read_plan(plan)))
    assert {shade for track in view.tracks.values() for shade in shades_of(track)} == {2}
    assert shade_words(2, units(view)) == "1 to 2 %"


@pytest.mark.parametrize("name", ["landing", "n-mountain", "two-levels", "first-hill"])
def test_a_label_stands_on_the_color_of_the_grade_that_it_shows(name):
    for track in view_of(name).tracks.values():
        shown = max(*track.steepest, 0.0)
        of_label = max((k for k, shade in enumerate(SHADES) if shown > shade.least + 1e-7), default=0)
        shades = shades_of(track)
        assert max(shades) == of_label
        for at in label_places(track):
            assert shades[int(np.searchsorted(track.distance[1:-1], at, side="right"))] == of_label


def test_track_without_a_place_is_shown_apart():
    figure = figure_of("lost")
    assert lines(figure, "unplaced Loop:1")
    assert any(line.get_gid() == "not placed" for line in figure.findobj(Line2D))
    assert any(text.startswith("NOT PLACED: ") and "misses closing by" in text for text in words(figure))
    placed = np.concatenate([line.get_xydata() for line in lines(figure, "track ")])
    apart = np.concatenate([line.get_xydata() for line in lines(figure, "unplaced ")])
    assert apart[:, 0].min() > placed[:, 0].max()


@pytest.mark.parametrize("name", ["first-hill", "two-levels", "n-mountain"])
def test_every_track_is_drawn_where_it_lies_in_true_proportion(name):
    view, figure = view_of(name), figure_of(name)
    axes = figure.axes[0]
    box = axes.get_window_extent()
    across, up = (np.diff(limits)[0] for limits in (axes.get_xlim(), axes.get_ylim()))
    assert box.width / across == pytest.approx(box.height / up)
    for track in view.tracks.values():
        drawn = np.concatenate([np.column_stack(line.get_data()) for line in lines(figure, f"track {track.id} ")])
        off = np.hypot(*(drawn[:, None, :] - track.xy[None, :, :]).transpose(2, 0, 1)).min(axis=1)
        assert off.max() < 1e-9
        assert {tuple(track.xy[0]), tuple(track.xy[-1])} <= {tuple(point) for point in drawn}


def test_shades_grow_darker_and_wider_with_the_grade():
    light = [0.2126 * r**2.2 + 0.7152 * g**2.2 + 0.0722 * b**2.2 for r, g, b in (to_rgb(s.color) for s in SHADES)]
    assert all(one > other * 1.3 for one, other in pairwise(light))
    assert [shade.width for shade in SHADES] == sorted(shade.width for shade in SHADES)
    track = view_of("first-hill").tracks["Hill:3"]
    assert {run.shade for run in runs(track)} <= {3, 5}
    figure = figure_of("first-hill")
    for line in lines(figure, "track Hill:3 5"):
        assert line.get_color() == SHADES[5].color


def test_the_turn_on_a_phone_keeps_lengths():
    figure = figure_of("first-hill", "phone")
    view = view_of("first-hill")
    track = view.tracks["Hill:4"]  # runs upward
    (line,) = lines(figure, "track Hill:4 ")
    x, y = line.get_data()
    assert x[-1] - x[0] == pytest.approx(track.length)  # to the right, where upward is now
    assert y[-1] - y[0] == pytest.approx(0, abs=1e-9)


def test_arrows_point_uphill():
    view, figure = view_of("first-hill"), figure_of("first-hill")
    arrows = [patch for patch in figure.axes[0].patches if (patch.get_gid() or "").startswith("uphill")]
    assert len(arrows) >= 4
    for arrow in arrows:
        track = view.tracks[arrow.get_gid().removeprefix("uphill ")]
        tip, _, tail, _ = arrow.get_xy()[:4]
        ahead = tip - tail
        nearest = int(np.argmin(np.hypot(*(track.xy - tail).T)))
        nearest = min(nearest, track.climbs.size - 1)
        up = track.climbs[nearest] * np.array([math.cos(track.heading[nearest]), math.sin(track.heading[nearest])])
        assert ahead @ up > 0.9 * np.hypot(*ahead)


def test_arrows_do_not_cover_one_another():
    for name in ("switchback", "two-levels"):
        figure = figure_of(name)
        axes = figure.axes[0]
        arrows = [patch for patch in axes.patches if (patch.get_gid() or "").startswith("uphill")]
        middles = [axes.transData.transform(arrow.get_xy()).mean(axis=0) for arrow in arrows]
        # 2.4 times the half width of an arrow, 3.4 points, at 200 dots per inch
        assert min(np.hypot(*(one - other)) for one, other in combinations(middles, 2)) > 2.4 * 3.4 * 200 / 72


def test_a_track_that_passes_under_has_a_gap_there_and_the_other_none():
    view, figure = view_of("loop"), figure_of("loop")
    (over,) = view.overpasses

    def covered(gid: str, x: float, y: float) -> bool:
        for line in lines(figure, gid):
            points = np.column_stack(line.get_data())
            for a, b in pairwise(points):
                t = np.clip((np.array([x, y]) - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
                if np.hypot(*(a + t * (b - a) - [x, y])) < 1e-6:
                    return True
        return False

    assert not covered(f"track {over.under.track} ", over.under.x, over.under.y)
    assert covered(f"track {over.over.track} ", over.over.x, over.over.y)
    spot = view.tracks["Loop:1"].spot(0.5)
    assert covered("track Loop:1 ", spot.x, spot.y)


def test_film_is_shown_by_dashes_and_in_the_key():
    figure = figure_of("two-levels")
    treated = lines(figure, "film ")
    assert {line.get_gid().removeprefix("film ") for line in treated} == {
        track.id for track in view_of("two-levels").tracks.values() if track.rail == "treated"
    }
    assert all(line.get_linestyle() == "--" for line in treated)
    assert "treated rail" in words(figure)
    assert not lines(figure_of("first-hill"), "film ")


def test_marks_stand_where_trains_get_stuck_and_never_over_one_another():
    for name in ("first-hill", "landing", "many"):
        view, figure = view_of(name), figure_of(name)
        shown = marks(figure)
        with drawing_rules():
            renderer = FigureCanvasAgg(figure).get_renderer()
            figure.draw(renderer)
            boxes = [text.get_bbox_patch().get_window_extent(renderer) for text in shown]
        for one, other in combinations(boxes, 2):
            assert min(one.x1, other.x1) <= max(one.x0, other.x0) or min(one.y1, other.y1) <= max(one.y0, other.y0)
        numbers = {int(number) for text in shown for number in figures(text.get_text().replace("-", ", "))}
        failing = [train for train in view.worse if train.stall is not None or train.runaways]
        assert max(numbers) == len(failing)
        for number, train in enumerate(failing, 1):
            assert any(
                text.startswith(f"{number}: {train.name}, ") for text in (" ".join(t.split()) for t in words(figure))
            )
    view, figure = view_of("first-hill"), figure_of("first-hill")
    (mark,) = marks(figure)
    (stall,) = [train.stall for train in view.worse]
    spot = figure.axes[0].transData.transform((stall.x, stall.y))
    assert figure.transFigure.transform(mark.get_position()) == pytest.approx(spot, abs=1)


def test_bands_are_the_stretches_of_the_verdicts_and_the_worse_hides_the_milder():
    view, figure = view_of("first-hill"), figure_of("first-hill")

    def length(kind: str) -> float:
        return sum(np.hypot(*np.diff(line.get_xydata(), axis=0).T).sum() for line in lines(figure, kind))

    parts = {kind: {part for train in view.trains for mark in train.marks if mark.kind == kind for part in mark.on}
             for kind in ("stalls", "no stopping")}  # fmt: skip
    stalls = max(sum(part.stop - part.start for mark in train.marks if mark.kind == "stalls" for part in mark.on)
                 for train in view.trains)  # fmt: skip
    assert parts["stalls"]
    assert length("stalls") >= stalls - 1e-6
    whole = sum(part.stop - part.start for part in parts["no stopping"])
    assert 0 < length("no stopping") < whole
    assert not lines(figure_of("two-levels"), "stalls")


@pytest.mark.parametrize("size", ["a4", "phone"])
def test_runaways_are_marked_where_they_begin_and_where_they_end(size):
    view, figure = view_of("landing"), figure_of("landing", size)
    (train,) = [each for each in view.worse if each.outcome == "runs away"]
    assert train.rail == "treated fresh"  # the age that is worse for it
    kinds = [text.get_gid().rsplit(" ", 1)[0] for text in marks(figure)]
    assert kinds.count("runaway") >= 1
    assert kinds.count("runaway ends") >= 1
    spots = [spot for each in train.runaways for spot in (each.begins, each.ends) if spot is not None]
    canvas = [figure.axes[0].transData.transform((s.y, -s.x) if size == "phone" else (s.x, s.y)) for s in spots]
    for text in marks(figure):
        at = figure.transFigure.transform(text.get_position())
        assert min(np.hypot(*(np.array(at) - spot)) for spot in canvas) < 1
    assert lines(figure, "runs away")


def test_the_scale_bar_is_as_long_as_it_says():
    view, figure = view_of("first-hill"), figure_of("first-hill")
    (bar,) = [line for line in figure.findobj(Line2D) if line.get_gid() == "scale bar"]
    x = np.array(bar.get_xdata()) * figure.bbox.width
    axes = figure.axes[0]
    dots = axes.transData.transform([[0, 0], [1, 0]])
    assert (x.max() - x.min()) / (dots[1, 0] - dots[0, 0]) == pytest.approx(50 * 0.0254)
    assert "50 in" in words(figure)
    assert view.plan.unit == "in"


def test_odd_names_are_shown_as_text():
    data = plan_picture("svg", view_of("odd"), units(view_of("odd"))).decode()
    root = ET.fromstring(data)
    found = svg_texts(data.encode())
    assert any(text.startswith("</script><img src=x onerror=alert(1)> $x^2$ \"quoted\" 'too' & 🚂") for text in found)
    assert any("$\\alpha_{$" in text for text in found)
    assert any("מחצבה" in text for text in found)
    assert any(text.startswith("</svg><script>") for text in found)
    assert 'wiped " & <b> rail' in found
    assert "[/] night $_{ 🚂" in " ".join(found)
    assert not list(root.iter("{http://www.w3.org/2000/svg}script"))
    assert not list(root.iter("{http://www.w3.org/2000/svg}image"))
