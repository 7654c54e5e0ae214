"""An import over the plan that it wrote: with the drawing as it was nothing changes, and what is the person's stays."""

from pathlib import Path

import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import plan_dxf
from plan.drawing.double_oval import double_oval
from project import PLANS

PLAN = Path("oval.toml")


@pytest.fixture(autouse=True)
def _folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def imported(drawing="oval.dxf", **options):
    """Import a drawing into the plan, over what is there."""
    done = import_drawing(drawing, str(PLAN), ImportOptions(**options))
    PLAN.write_text(done.text, "utf-8")
    return done


def along(done):
    return {name: line.railhead_at for name, line in done.drawn.lines.items()}


def leaders(space):
    space.add_line((850, 52), (850, 20), {"layer": "NAMES"})
    space.add_line((1000, 400), (1200, 400), {"layer": "NAMES"})


def notes(space):
    space.add_line((600, 740), (620, 800), {"layer": "Notes"})
    space.add_text("h=5", height=10, dxfattribs={"layer": "Notes", "insert": (1400, 52)})
    space.add_text("see photo", height=10, dxfattribs={"layer": "Notes", "insert": (600, 800)})


def bare_numbers(space):
    for words, x in (("0", 500), ("3", 700), ("9", 1300)):
        space.add_text(words, height=10, dxfattribs={"layer": "Figures", "insert": (x, 715)})


@pytest.mark.parametrize("kink", [None, "10"])
@pytest.mark.parametrize("draw", [None, leaders, notes, bare_numbers])
@pytest.mark.parametrize("heights", [(), (("0", 600, 98), ("27 mm", 1792, 400), ("35", 1860, 800))])
def test_a_drawing_imported_again_gives_the_same_plan(kink, draw, heights):
    double_oval("oval.dxf", draw, heights=heights)
    first = imported(scale="N", kink=kink)
    assert {"Siding west", "Siding east", "Platform"} <= {*first.drawn.joints}
    for again in (imported(), imported()):
        assert again.text == first.text
        assert (again.drawn.heights, along(again)) == (first.drawn.heights, along(first))
        assert not any((again.changes.added, again.changes.removed, again.changes.changed, again.changes.contrary))


@pytest.mark.parametrize("name", ["cove", "hollow"])
def test_a_demo_drawing_imported_again_gives_the_same_plan(name):
    first = imported(str(PLANS / f"{name}.dxf"), scale="HO")
    assert [imported(str(PLANS / f"{name}.dxf")).text for _ in range(2)] == [first.text] * 2


@pytest.mark.parametrize("name", ["landing", "n-mountain", "switchback", "two-levels", "yard"])
def test_an_exported_plan_imported_again_gives_the_same_plan(name):
    plan = load_plan(PLANS / f"{name}.toml")
    Path("out.dxf").write_bytes(plan_dxf(plan_view(Layout(plan)), units_of(plan.unit)))
    first = imported("out.dxf", scale=plan.scale.name)
    assert [imported("out.dxf").text for _ in range(2)] == [first.text] * 2


def test_a_text_that_was_changed_beside_a_joint_that_keeps_its_name_is_said():
    double_oval("oval.dxf", texts=[("Lower station", 1050, 35)])
    imported(scale="N", kink="10")

    def said(done):
        return [fault.text for fault in done.drawn.faults if fault.code == "other-name"]

    assert said(imported()) == []
    double_oval(
        "oval.dxf", texts=[("Low station", 1050, 35)], places=(("Siding west", 600), ("Sdg E", 1420), ("Platform", 850))
    )
    done = imported()
    assert {"Siding east", "Siding west"} <= {*done.drawn.joints}
    assert said(done) == [
        '"Sdg E" stands beside "Siding east": the plan keeps this name, unless you change it there',
        '"Low station" stands beside "Lower station": the plan keeps this name, unless you change it there',
    ]


def test_a_text_names_what_it_is_nearest_to_or_nothing():
    texts = [("Main", 830, 45), ("Second", 826, 39)]  # both nearer to the outer oval than to the crossover
    double_oval("oval.dxf", texts=texts, places=())
    done = imported(scale="N")
    assert "Main" in done.drawn.lines
    assert "Second" not in done.drawn.lines
    names = [fault.text for fault in done.drawn.faults if fault.code == "text-unused"]
    assert names == ['"Second" names nothing: what it stands beside has another name']
