"""From a drawing to a plan file: what it is read by, and that it answers as the drawing does."""

from pathlib import Path

import pytest

from checked import check
from gradehaul.errors import DrawingError, GradehaulError, PlanError
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from plan.drawing.dxf_files import MM, new
from project import PLANS


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def draw(folder, units=MM, length=1000, name="tarn.dxf"):
    document, space = new(units=units)
    space.add_line((0, 0), (length, 0), {"layer": "Track"})
    document.saveas(folder / name)


@pytest.mark.parametrize(
    ("name", "scale", "heights"), [("cove", "H0", ()), ("hollow", "HO", ("HEIGHTS",))], ids=["cove", "hollow"]
)
def test_the_imported_plan_answers_as_the_plan_with_the_drawing(name, scale, heights):
    drawn = load_plan(PLANS / f"{name}.toml")
    (joint,) = (each for each in drawn.joints.values() if each.kind == "turnout")
    done = import_drawing(
        str(PLANS / f"{name}.dxf"), None, ImportOptions(layers=("TRACK",), height_layers=heights, scale=scale)
    )
    assert done.problems == ()
    # the plan's own stock and routes, with the drawing's track as it was imported
    text = (PLANS / f"{name}.toml").read_text("utf-8")
    stock = text[text.index("[loco.") :]
    track = done.text.replace("Turnout 1", joint.name).replace('to = "Quay end"', 'to = "Quay end"\nberth = "Quay"')
    practice = 'practice = "NEM"\n' if scale == "H0" else ""
    imported = check(read_plan(practice + track + stock))
    before = check(drawn)
    assert list(imported.plan.lines) == list(drawn.lines)
    for one, other in zip(before.routes, imported.routes, strict=True):
        assert other.route.name == one.route.name
        assert other.ruling.effective == pytest.approx(one.ruling.effective, rel=2e-4)
        assert other.profile.length == pytest.approx(one.profile.length, rel=2e-6)
        loads = [
            [(load.power, load.car, load.rail, load.rated, load.limit) for load in each.loads] for each in (one, other)
        ]
        assert loads[0] == loads[1]
    for one, other in zip(before.trains, imported.trains, strict=True):
        assert other.verdict.outcome == one.verdict.outcome
    for one, other in zip(before.berths, imported.berths, strict=True):
        assert other.clear_length == pytest.approx(one.clear_length, abs=1e-4)
    for joint_name, place in before.alignment.positions.joints.items():
        there = imported.alignment.positions.joints[joint_name]
        assert (there.pose.x, there.pose.y) == pytest.approx((place.pose.x, place.pose.y), abs=1e-5)


@pytest.mark.parametrize(("units", "unit"), [(MM, "mm"), (5, "cm"), (6, "mm"), (1, "in"), (2, "in")])
def test_a_new_plan_reads_in_the_drawings_system(folder, units, unit):
    draw(folder, units, 1000)
    done = import_drawing("tarn.dxf", "new.toml", ImportOptions(scale="N"))
    assert (done.unit, done.new, done.problems) == (unit, True, ())
    plan = read_plan(done.text)
    assert (plan.unit, plan.scale.name, plan.title) == (unit, "N", "tarn")


def test_a_plan_that_is_there_gives_scale_and_unit(folder):
    draw(folder)
    (folder / "mine.toml").write_text('scale = { ratio = 87, gauge = "9 mm" }\nunit = "cm"\n# mine\n')
    done = import_drawing("tarn.dxf", "mine.toml", ImportOptions())
    assert (done.unit, done.new) == ("cm", False)
    assert "{ straight = 100 }" in done.text
    assert "# mine" in done.text
    assert done.changes.added == ['line "Track 1"']


def test_what_is_asked_reads_in_the_plans_unit(folder):
    document, space = new(units=1)
    space.add_line((0, 0), (10, 0), {"layer": "Track"})
    space.add_line((10.3, 0), (20, 0), {"layer": "Track"})
    document.saveas(folder / "tarn.dxf")
    far = import_drawing("tarn.dxf", None, ImportOptions(scale="HO"))
    assert len(far.drawn.lines) == 2
    near = import_drawing("tarn.dxf", None, ImportOptions(scale="HO", snap="0.5", fit="1 mm", kink="3"))
    assert len(near.drawn.lines) == 1


def test_a_route_over_a_line_that_is_gone_is_told(folder):
    draw(folder)
    first = import_drawing("tarn.dxf", "mine.toml", ImportOptions(scale="HO")).text
    (folder / "mine.toml").write_text(first + '[route.Up]\nfrom = "End 1"\nto = "Summit"\n')
    done = import_drawing("tarn.dxf", "mine.toml", ImportOptions())
    assert [str(problem) for problem in done.problems] == [
        'mine.toml:19: route "Up", to: there is no joint, berth or line\'s end "Summit"; write one of "End 1", "End 2"'
    ]


@pytest.mark.parametrize(
    ("plan", "options", "message"),
    [
        (None, ImportOptions(), "mine.toml: --scale: the scale is not known; write --scale HO, or another scale"),
        (None, ImportOptions(scale="HP"), '--scale: no such scale, got "HP"; write --scale HO, one of'),
        (None, ImportOptions(scale="HO", unit="furlong"), "--unit: no unit of length is called that"),
        (None, ImportOptions(scale="HO", snap="x"), '--snap: this is not a length, got "x"'),
        (None, ImportOptions(scale="HO", kink="0"), "--kink: must be more than 0, got 0"),
        ('scale = "HO"\n', ImportOptions(scale="N"), 'mine.toml: --scale: the plan has another scale, got "N"'),
        ('scale = "HP"\n', ImportOptions(), 'mine.toml: scale: no such scale, got "HP"'),
        ("scale = 3\n", ImportOptions(), "mine.toml: scale: must be a name in quotes or a table, got 3; write "),
        (
            'scale = "HO"\n[drawing]\n',
            ImportOptions(),
            "mine.toml: [drawing]: this plan reads a drawing by itself, and import",
        ),
        ("[line.\n", ImportOptions(), "mine.toml:1: this line cannot be read"),
        ("", ImportOptions(), "mine.toml: the file is empty"),
    ],
)
def test_what_makes_no_sense(folder, plan, options, message):
    draw(folder)
    if plan is not None:
        (folder / "mine.toml").write_text(plan)
    with pytest.raises(GradehaulError) as caught:
        import_drawing("tarn.dxf", "mine.toml", options)
    assert str(caught.value).startswith(message)


def test_a_drawing_is_not_written_over(folder):
    draw(folder)
    with pytest.raises(GradehaulError, match=r"tarn\.dxf: a plan may not replace its drawing"):
        import_drawing("tarn.dxf", "tarn.dxf", ImportOptions(scale="HO"))


@pytest.mark.usefixtures("folder")
def test_a_plan_is_no_drawing():
    with pytest.raises(PlanError, match=r"tarn\.toml: this is a plan, not a drawing; write the name of a DXF file"):
        import_drawing("tarn.toml", None, ImportOptions(scale="HO"))


@pytest.mark.usefixtures("folder")
def test_a_drawing_that_is_not_there():
    with pytest.raises(DrawingError, match=r"tarn\.dxf: there is no such file"):
        import_drawing("tarn.dxf", None, ImportOptions(scale="HO"))


@pytest.mark.usefixtures("folder")
def test_a_yard_at_zero_keeps_the_height_that_the_plan_gives_it():
    document, space = new(units=MM)
    space.add_line((0, 0, 0), (1000, 0, 0), {"layer": "Track"})
    space.add_line((0, 900, 30), (1000, 900, 50), {"layer": "Track"})
    document.saveas("tarn.dxf")
    options = ImportOptions(layers=("Track",), scale="HO")
    first = import_drawing("tarn.dxf", None, options)
    assert read_plan(first.text).railhead == pytest.approx({"End 1": 0.0, "End 3": 0.0, "End 2": 0.03, "End 4": 0.05})
    mine = first.text.replace('"End 1" = 0\n', '"End 1" = 70  # the yard lies higher\n').replace('"End 3" = 0\n', "")
    Path("tarn.toml").write_text(mine, "utf-8")
    again = import_drawing("tarn.dxf", "tarn.toml", ImportOptions(layers=("Track",)))
    assert again.text == mine
    assert again.problems == ()


@pytest.mark.usefixtures("folder")
def test_an_import_again_reads_as_the_one_before():
    document, space = new(units=0)
    for x in (0, 1001.9):
        space.add_line((x, 0), (x + 1000, 0), {"layer": "Track"})
    space.add_line((0, 500), (1000, 500), {"layer": "Edge"})
    document.saveas("tarn.dxf")
    options = ImportOptions(layers=("Track",), unit="mm", snap="2", fit="0.5 mm", kink="7", scale="HO")
    first = import_drawing("tarn.dxf", "tarn.toml", options)
    assert len(first.drawn.lines) == 1
    Path("tarn.toml").write_text(first.text, "utf-8")
    again = import_drawing("tarn.dxf", "tarn.toml", ImportOptions())
    assert (again.text, again.problems) == (first.text, ())
    other = import_drawing("tarn.dxf", "tarn.toml", ImportOptions(layers=("Track", "Edge")))
    assert other.text.replace('layers = ["Track", "Edge"]', 'layers = ["Track"]').startswith(first.text[:300])
    assert other.changes.added == ['line "Edge 1"']
    Path("tarn.toml").write_text(first.text.replace('unit = "mm"\nsnap', 'unit = "stone"\nsnap'), "utf-8")
    with pytest.raises(GradehaulError, match="no unit of length is called that"):
        import_drawing("tarn.dxf", "tarn.toml", ImportOptions())
    Path("tarn.toml").write_text(first.text.replace("[import]", "[import]\nlayer = 3"), "utf-8")
    with pytest.raises(GradehaulError, match=r"\[import\]: .*layer"):
        import_drawing("tarn.dxf", "tarn.toml", ImportOptions())
