"""An import over the plan that it wrote: with the drawing as it was nothing changes, and what is the person's stays."""

import math
import random
from pathlib import Path

import pytest

from gradehaul.command.output import laid_out
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.edit.trial import TrialHeights, fixed_railheads, tried_text
from gradehaul.quantities import convert
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import plan_dxf
from gradehaul.show.drawing.import_text import import_page
from plan.drawing.double_oval import double_oval
from plan.drawing.dxf_files import MM, new
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


DRAWN = (None, leaders, notes, bare_numbers)
GIVEN = ((), (("0", 600, 98), ("27 mm", 1792, 400), ("35", 1860, 800)))


@pytest.mark.parametrize(  # any two of the three meet in each of their ways
    ("draw", "heights", "kink"),
    [(draw, heights, (None, "10")[(k + n) % 2]) for k, draw in enumerate(DRAWN) for n, heights in enumerate(GIVEN)],
)
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


# Heights along drawn lines that a person changed

HEIGHTS = (("0", 600, 98), ("18", 1300, 142), ("24", 1592, 142), ("35", 1875, 800))


def heights_of():
    return {key: value for key, value in fixed_railheads(load_plan(PLAN)).items() if not key.startswith("joint")}


def changed_by(how, station, height):
    """Change a height of the plan by hand, or as the live page and `level -o` do."""
    text = PLAN.read_text("utf-8")
    if how == "hand":
        was = convert(heights_of()[station], "mm")
        text = text.replace(f"railhead = {was:g} }}", f"railhead = {height} }}").replace(f", {was:g}]", f", {height}]")
    else:
        text = tried_text(load_plan(PLAN), text, TrialHeights({station: height / 1000}))
    PLAN.write_text(text, "utf-8")


@pytest.mark.parametrize("how", ["hand", "live"])
def test_a_changed_height_along_a_drawn_line_stays_and_the_drawings_is_said_first(how):
    double_oval("oval.dxf", heights=HEIGHTS)
    imported(scale="N", kink="10")
    before = heights_of()
    assert {round(1000 * height) for height in before.values()} == {18, 24, 35}
    for station, height in before.items():
        changed_by(how, station, 1000 * height + 5)
    mine = heights_of()
    assert mine == {station: pytest.approx(height + 0.005) for station, height in before.items()}
    text = PLAN.read_text("utf-8")
    for done in (imported(), imported()):
        assert done.text == text
        assert heights_of() == mine
        assert len(done.changes.contrary) == 3
        assert any("stays at 40 mm, and the drawing has 35 mm: take it out" in said for said in done.changes.contrary)
        rows = laid_out(import_page(done, str(PLAN)), to_file=True).splitlines()
        assert rows[0].startswith('line "TRACK ')
        assert "stays at" in rows[0]


def test_a_height_of_a_joint_that_is_drawn_no_more_stays_and_is_said_first():
    double_oval("oval.dxf", heights=HEIGHTS)
    first = imported(scale="N", kink="10")
    joint = next(iter(first.drawn.heights))
    double_oval("oval.dxf", heights=HEIGHTS[1:])
    for done in (imported(), imported()):
        assert done.text == first.text
        assert done.changes.contrary == [
            f'"{joint}" stays at 0 mm, which is no longer drawn: take it out of [railhead] to follow the drawing'
        ]


def test_heights_along_a_line_that_nobody_changed_follow_the_drawing():
    double_oval("oval.dxf", heights=HEIGHTS)
    imported(scale="N", kink="10")
    (mine,) = (station for station, height in heights_of().items() if height == 0.024)
    changed_by("live", mine, 25)
    double_oval("oval.dxf", heights=(HEIGHTS[0], ("17", 1300, 142), ("23", 1592, 142)))
    done = imported()
    assert sorted(heights_of().values()) == [0.017, 0.025]
    assert [said.partition(" mm: ")[2] for said in done.changes.heights] == ["35 mm is no longer drawn"]


def test_a_changed_height_whose_drawing_changes_is_said_first_and_apart_and_its_mark_moves():
    double_oval("oval.dxf", heights=HEIGHTS)
    joint = next(iter(imported(scale="N", kink="10").drawn.heights))
    for station in heights_of():
        changed_by("hand", station, 60)
    text = PLAN.read_text("utf-8")
    PLAN.write_text(text.replace(f'{joint}" = 0 ', f'{joint}" = 60 '), "utf-8")
    assert imported().changes.redrawn == []
    double_oval("oval.dxf", heights=(("4", *HEIGHTS[0][1:]), ("21", *HEIGHTS[1][1:]), *HEIGHTS[2:]))
    done = imported()
    at_joint, along = sorted(done.changes.redrawn)
    assert at_joint.startswith(f'"{joint}": the drawing went from 0 mm to 4 mm, and yours stays at 60 mm: take it out')
    assert "mm: the drawing went from 18 mm to 21 mm, and yours stays at 60 mm: take it out of the line" in along
    page = " ".join(laid_out(import_page(done, str(PLAN)), to_file=True).split())
    line, mark = done.changes.marks
    assert f"your heights kept, marks moved 2 {line}; {mark}" in page
    assert (line[:6], mark) == ('line "', f'"{joint}"')
    assert page.startswith(f"2 heights that you changed have changed in the drawing, too: {along} {at_joint} line ")
    assert page.count(" stays at 60 mm, and the drawing has ") == 2
    assert f'{joint}" = 60  # drawn 4\n' in done.text
    assert "# drawn 21" in done.text
    again = imported()
    assert (again.text, again.changes.redrawn, len(again.changes.contrary)) == (done.text, [], 4)
    assert again.changes.marks == []


@pytest.mark.parametrize("seed", range(8))
def test_each_changed_height_stays_and_all_others_are_drawn_whatever_changes_when(seed):
    shuffle = random.Random(seed)
    places = shuffle.sample(range(1000, 1560, 40), 5)
    drawn, own = {x: 2 * shuffle.randint(1, 30) for x in places}, {}
    for step in range(8):
        x, was = shuffle.choice([*drawn]), dict(drawn)
        if step and shuffle.random() < 0.5:
            own[x] = 2 * shuffle.randint(1, 30) + 1
            hill = hill_heights()
            station = next(
                key for key, (at, _) in hill.items() if at == min(each for each, _ in hill.values() if each >= x - 1)
            )
            changed_by(shuffle.choice(["hand", "live"]), station, own[x])
        elif step and len(drawn) > 2 and shuffle.random() < 0.3:
            del drawn[x]
        elif step:
            drawn[x] = 2 * shuffle.randint(1, 30)
        double_oval("oval.dxf", heights=[("0", 600, 98), *((str(h), x, 142) for x, h in drawn.items())])
        redrawn = imported(scale="N", kink="10").changes.redrawn
        moved = x in own and x in drawn and drawn[x] != was[x] and abs(drawn[x] - own[x]) > 2
        said = f": the drawing went from {was[x]} mm to {drawn.get(x)} mm, and yours stays at {own.get(x)} mm: "
        assert [said in each for each in redrawn] == [True] * moved
        expected = drawn | own
        assert list(hill_heights().values()) == [(pytest.approx(x, abs=2), expected[x]) for x in sorted(expected)]


def hill_heights():
    """Return the heights along the straight of the hill, mm, by station: where each is, as the x of the drawing."""
    line = next(each for each in load_plan(PLAN).lines.values() if len(each.tracks) > 6)
    start = 1600 - 1000 * sum(track.length for track in line.tracks[:5])
    found = {f"at {line.name} {n}": (start + 1000 * at, 1000 * h) for n, (at, h) in enumerate(line.railhead_at)}
    return dict(sorted(found.items(), key=lambda each: each[1]))


def test_lines_between_the_same_two_joints_keep_their_names_when_both_become_shorter():
    """The siding's far end is moved by 50 mm: by length alone its new shape is nearer to the old main line."""

    def draw(end):
        document, space = new(units=MM)
        space.add_line((0, 0), (3000, 0), {"layer": "Main"})
        angle = math.atan2(32, 200)  # of the straight leg; a curve leads on to parallel
        over, bulge = 200 + 16 / math.tan(angle / 2), -math.tan(angle / 4)
        there = [(500, 0, 0), (700, 32, bulge), (500 + over, 48, 0)]
        back = [(end - over, 48, bulge), (end - 200, 32, 0), (end, 0, 0)]
        space.add_lwpolyline(there + back, format="xyb", dxfattribs={"layer": "Passing"})
        document.saveas("siding.dxf")

    draw(2300)
    before = imported("siding.dxf", scale="HO", kink="10")
    named = {name: line.layer for name, line in before.drawn.lines.items()}
    assert sorted(named.values()) == ["Main", "Main", "Main", "Passing"]
    draw(2250)
    again = imported("siding.dxf")
    assert {name: line.layer for name, line in again.drawn.lines.items()} == named
