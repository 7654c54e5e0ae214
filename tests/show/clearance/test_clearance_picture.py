"""The picture of clearances: a mark where the figures say, told apart without color, numbered as in the answer."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from matplotlib.lines import Line2D

from gradehaul.command import main
from gradehaul.design.clearance.findings import clearances
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.reading_units import reader_of
from gradehaul.show.clearance.picture import clearance_figure
from gradehaul.show.clearance.text import clearance_page
from project import PLANS

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
        figure = clearance_figure(found, view, reader_of(layout.plan.unit, None), size=size)
    return found, view, figure


def marks(figure, outcome: str) -> list[Line2D]:
    return [line for line in figure.axes[0].lines if (line.get_gid() or "").startswith(outcome)]


def texts(figure) -> list[str]:
    return [text.get_text() for text in figure.findobj() if hasattr(text, "get_text")]


def test_marks_stand_where_the_findings_are() -> None:
    found, view, figure = drawn(Layout(read_plan(LOW)))
    (failing,) = [each for each in found.findings if each.outcome == "fail"]
    (mark,) = marks(figure, "fail")
    spot = view.tracks[failing.track].spot(failing.at)
    assert mark.get_xydata().tolist() == [[spot.x, spot.y]]
    assert mark.get_marker() == "X"
    assert {line.get_marker() for line in marks(figure, "look")} == {"^"}
    numbered = [text for text in texts(figure) if text.startswith("1 FAILS")]
    assert len(numbered) == 1
    assert "50 mm" in numbered[0]


@pytest.mark.parametrize("size", ["a4", "phone"])
@pytest.mark.parametrize("plan", ["first-hill", "two-levels", "yard", "n-mountain"])
def test_every_number_of_the_picture_is_that_of_the_answer(plan: str, size: str) -> None:
    layout = Layout(load_plan(PLANS / f"{plan}.toml"))
    found, view, figure = drawn(layout, size)
    told = clearance_page(found, reader_of(layout.plan.unit, None), ["places"]).text()
    for number, finding in enumerate(found.ranked(), 1):
        rows = [text for text in texts(figure) if text.startswith(f"{number} look ")]
        if finding.outcome == "look" and rows:
            name = view.plan.tracks[finding.track].name
            assert name in rows[0] or rows[0].endswith("…")
            assert any(line.split()[:2] == [str(number), "look"] and name in line for line in told.splitlines())
    assert any(text.startswith("1 ") for text in texts(figure)) == bool(found.count("look") + found.count("fail"))


def test_a_plan_without_any_trouble_says_so() -> None:
    text = LOW.replace("rise = 50", "rise = 120").replace("car.flat.length = 200\n", "").replace("rise = 0", "rise = 9")
    layout = Layout(read_plan(text + "[vertical_curve]\nlength = 1400\n"))
    found, _, figure = drawn(layout)
    assert found.count("pass") == len(found.findings) > 0
    assert "Nothing fails, and nothing is to be looked at, of what was checked." in texts(figure)
    assert "NOT CHECKED  radius and reverse curves, since the plan has no stock" in texts(figure)


def test_the_verb_writes_it(tmp_path: Path) -> None:
    plan = tmp_path / "low.toml"
    plan.write_text(LOW)
    for name, sign in (("low.png", b"\x89PNG"), ("low.svg", b"<?xml"), ("low.pdf", b"%PDF")):
        done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / name)])
        assert (done.exit_code, done.stdout) == (0, "")
        assert (tmp_path / name).read_bytes().startswith(sign)
    done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / "low.svg"), "--strict"])
    assert done.exit_code == 1
    done = CliRunner().invoke(main, ["clearance", str(plan), "-o", str(tmp_path / "low.doc")])
    assert done.exit_code == 2
    assert ".png, .svg or .pdf" in done.output
