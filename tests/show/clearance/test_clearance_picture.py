"""The picture of clearances: a mark where the figures say, distinct without color, numbered as in the answer."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner
from matplotlib.text import Text

from demos import layout_of
from gradehaul.command import main
from gradehaul.design.clearance.findings import clearances
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import read_plan
from gradehaul.show.base.picture import drawing_rules, picture_bytes
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.clearance.picture import clearance_figure
from show.drawn import check_sheet, drawn_texts, figures, svg_texts

LOW = """
scale = "H0"
unit = "mm"
practice = "NEM"
railhead.A = 0
car.flat.length = 200
[line.Loop]
from = "A"
to = "B"
track = [{ straight = 2000, rise = 0 }, { left = 600, angle = 270, rise = 50 }, { straight = 2000, rise = 0 }]
"""


def drawn(layout: Layout, size: str = "a4"):
    found, view = clearances(layout), plan_view(layout, trains=())
    with drawing_rules():
        figure = clearance_figure(found, view, units_of(layout.plan.unit, None), size=size)
    return found, view, figure


def marks(figure, outcome: str) -> list[Text]:
    return [text for text in figure.findobj(Text) if (text.get_gid() or "").startswith(outcome)]


def texts(figure) -> list[str]:
    return [text for text, _ in drawn_texts(figure)]


def test_marks_stand_where_the_findings_are() -> None:
    found, view, figure = drawn(Layout(read_plan(LOW)))
    (failing,) = [each for each in found.findings if each.outcome == "fail"]
    (mark,) = marks(figure, "fail")
    spot = view.tracks[failing.track].spot(failing.at)
    at = figure.axes[0].transData.transform((spot.x, spot.y))
    assert figure.transFigure.transform(mark.get_position()) == pytest.approx(at, abs=1)
    (row,) = [text for text in texts(figure) if text.startswith("1 FAILS")]
    assert "50" in figures(row)


@pytest.mark.parametrize(
    ("plan", "size"), [("two-levels", "phone"), ("yard", "a4"), ("yard", "phone"), ("n-mountain", "a4")]
)
def test_its_figures_are_those_of_the_document(plan: str, size: str) -> None:
    layout = layout_of(plan)
    found, _, figure = drawn(layout, size)
    read = units_of(layout.plan.unit, None)
    with drawing_rules():
        check_sheet(figure)
        words = " ".join(svg_texts(picture_bytes(figure, "svg")))
    places = [each for each in json.loads(json.dumps(found.to_dict()))["places"] if each["outcome"] != "pass"]
    for place in places[:20]:
        begins = words.index(f"{place['number']} {'FAILS' if place['outcome'] == 'fail' else 'look'} ")
        row = words[begins : begins + 220]
        assert place["track"] in row
        assert read.length(place["value_m"], fine=read.system == "imperial").split(" ")[0] in figures(row)
    numbered = [text for outcome in ("fail", "look") for text in marks(figure, outcome)]
    assert bool(numbered) == bool(places)


def test_a_plan_without_any_trouble_says_so() -> None:
    text = LOW.replace("rise = 50", "rise = 120").replace("car.flat.length = 200\n", "").replace("rise = 0", "rise = 9")
    layout = Layout(read_plan(text + "[vertical_curve]\nlength = 1400\n"))
    found, _, figure = drawn(layout)
    assert found.count("pass") == len(found.findings) > 0
    assert "Nothing fails, and nothing is to be looked at, of what was checked." in texts(figure)
    assert "NOT CHECKED: radius and reverse curves, since the plan has no stock" in " ".join(texts(figure))


def test_the_verb_writes_it(tmp_path: Path) -> None:
    plan = tmp_path / "low.toml"
    plan.write_text(LOW)
    done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / "low.pdf")])
    assert (done.exit_code, done.stdout) == (0, "")
    assert (tmp_path / "low.pdf").read_bytes().startswith(b"%PDF")
    done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / "low.svg"), "--strict"])
    assert done.exit_code == 1
    done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / "low.doc")])
    assert done.exit_code == 2
    assert ".png, .svg or .pdf" in done.output
