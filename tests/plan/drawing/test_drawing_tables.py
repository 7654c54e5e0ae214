"""A plan with a drawing beside it: what the drawing shows joins what is written, and what is wrong is named whole."""

import pytest

from checked import check
from gradehaul.errors import DrawingError, Problems
from gradehaul.plan import load_plan, read_plan
from plan.drawing.dxf_files import MM, new

HEAD = 'scale = "HO"\nunit = "mm"\n'
DRAWING = '[drawing]\nfile = "tarn.dxf"\nlayers = ["Track"]\nheight_layers = ["Heights"]\n'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plans").mkdir()
    document, space = new(units=MM)
    space.add_line((0, 0, 0), (1000, 0, 20), {"layer": "Track"})
    space.add_arc((1000, 600), 600, 270, 360, dxfattribs={"layer": "Track"})
    space.add_line((1600, 600), (1600, 1500), {"layer": "Track"})
    space.add_arc((400, 700), 700, 270, 290, dxfattribs={"layer": "Track"})
    space.add_text("Main", dxfattribs={"layer": "Track"}).set_placement((200, -20))
    space.add_text("55", dxfattribs={"layer": "Heights"}).set_placement((1610, 1490))
    document.saveas(tmp_path / "plans" / "tarn.dxf")
    return tmp_path / "plans"


def load(folder, text, head=HEAD):
    (folder / "tarn.toml").write_text(head + text, "utf-8")
    return load_plan("plans/tarn.toml")


def said(folder, text, head=HEAD):
    with pytest.raises(Problems) as caught:
        load(folder, text, head)
    return str(caught.value).split("\n")


# What it becomes


def test_lines_joints_and_heights(folder):
    plan = load(folder, DRAWING)
    assert list(plan.lines) == ["Main", "Track 2", "Track 3"]
    assert plan.joints["Turnout 1"].kind == "turnout"
    branch = next(line for line in plan.lines.values() if line.finish == "End 3")
    assert [(track.kind, round(track.length, 6)) for track in branch.tracks] == [
        ("straight", 0.6),
        ("curve", 0.942478),
        ("straight", 0.9),
    ]
    assert branch.tracks[1].curvature == pytest.approx(1 / 0.6)
    assert branch.tracks[0].railhead == pytest.approx(0.02)
    assert branch.railhead_at == ()
    assert plan.railhead == {
        "End 1": pytest.approx(0.0),
        "Turnout 1": pytest.approx(0.008),
        "End 3": pytest.approx(0.055),
    }


def test_the_map_is_the_drawing(folder):
    positions = check(load(folder, DRAWING)).alignment.positions
    assert {joint.frame for joint in positions.joints.values()} == {0}
    places = {name: (joint.pose.x, joint.pose.y) for name, joint in positions.joints.items()}
    assert places["End 1"] == pytest.approx((0, 0), abs=1e-9)
    assert places["Turnout 1"] == pytest.approx((0.4, 0), abs=1e-9)
    assert places["End 3"] == pytest.approx((1.6, 1.5), abs=1e-9)


def test_what_is_written_joins_at_joints_of_the_same_name(folder):
    plan = load(
        folder,
        DRAWING
        + "[joint.Summit]\nat = [1600, 1500]\n"
        + '[line.On]\nfrom = "Summit"\nto = "Mine"\ntrack = [{ straight = 300 }]\n'
        + "[railhead]\nMine = 60\n",
    )
    assert plan.joints["Summit"].kind == "plain"
    assert plan.railhead["Summit"] == pytest.approx(0.055)
    positions = check(plan).alignment.positions
    assert (positions.joints["Mine"].pose.x, positions.joints["Mine"].pose.y) == pytest.approx((1.6, 1.8), abs=1e-9)


def test_a_bare_point_reads_in_the_plans_unit(folder):
    plan = load(folder, DRAWING + "[joint.Summit]\nat = [63, 59]\nwithin = 0.1\n", 'scale = "HO"\nunit = "in"\n')
    assert "Summit" in plan.joints


def test_a_line_that_is_written_adds_to_the_drawn_one(folder):
    plan = load(folder, DRAWING + '[line.Main]\nberth = "Platform"\nclear = 300\nruns = "forward"\nrail = "treated"\n')
    assert plan.berths["Platform"].tracks == ("Main:1",)
    assert plan.berths["Platform"].clear == pytest.approx(0.3)
    assert plan.lines["Main"].runs == "forward"
    assert plan.tracks["Main:1"].rail == "treated"
    assert plan.tracks["Main:1"].length == pytest.approx(0.4)


def test_what_is_written_of_a_joint_goes_before_what_is_drawn(folder):
    plan = load(folder, DRAWING + '[turnout."Turnout 1"]\ntoe = "Track 3"\nlegs = ["Track 2", "Main"]\n')
    assert plan.joints["Turnout 1"].through[0][0].line == "Track 3"


def test_the_railhead_of_the_plan_goes_before_the_drawings(folder):
    plan = load(folder, DRAWING + '[railhead]\n"End 3" = 56\n')
    assert plan.railhead["End 3"] == pytest.approx(0.056)
    assert [str(note) for note in plan.notes if "Heights" in note.text] == [
        (
            'plans/tarn.dxf: Heights that differ (1): joint "End 3": 56 mm ([railhead]), 55 mm (the text "55") '
            "differ by 1 mm, at (1600.0, 1500.0) mm"
        )
    ]


def test_a_drawing_of_an_included_file_stands_beside_that_file(folder):
    (folder / "below").mkdir()
    (folder / "tarn.dxf").rename(folder / "below" / "tarn.dxf")
    (folder / "below" / "track.toml").write_text(DRAWING, "utf-8")
    assert "Main" in load(folder, "", HEAD + 'include = ["below/track.toml"]\n').lines


# What is wrong


def test_a_drawing_that_is_not_there_is_the_only_thing_told(folder):
    (folder / "tarn.dxf").unlink()
    rest = (
        '[railhead]\n"End 1" = 0\n[line.Main]\nberth = "Platform"\n'
        '[route.Up]\nfrom = "End 1"\nto = "End 3"\n[route.Round]\nlap = ["Main"]\n'
    )
    assert said(folder, DRAWING + rest) == [
        'plans/tarn.toml:3: [drawing], file: there is no file "tarn.dxf" beside this one'
    ]


@pytest.mark.parametrize(
    "name", ["../tarn.dxf", "/elsewhere/tarn.dxf", "a\\\\tarn.dxf", "C:tarn.dxf", "x/../../tarn.dxf"]
)
def test_a_drawing_in_another_folder(folder, name):
    (line,) = said(folder, DRAWING.replace("tarn.dxf", name))
    shown = name.replace("\\\\", "\\")
    assert line == (
        "plans/tarn.toml:3: [drawing], file: a drawing must be in its plan's folder or below it, "
        f'got "{shown}"; write "tarn.dxf"'
    )


def test_an_unknown_unit(folder):
    assert said(folder, DRAWING + 'unit = "furlong"\n')[0].startswith(
        "plans/tarn.toml:3: [drawing], unit: no unit of length is called that (known are in, ft, yd, mile, mm, cm"
    )


def test_nothing_on_the_layers(folder):
    assert said(folder, DRAWING.replace('"Track"', '"Rails*"').replace("Heights", "Text")) == [
        'plans/tarn.dxf: nothing is on the layers "Rails*"; write one of "Track" (5), "Heights" (1)'
    ]


def test_a_dwg_file(folder):
    (folder / "tarn.dxf").write_bytes(b"AC1027\x00\x00\x00\x00\x00\x00" + b"\x00" * 100)
    (line,) = said(folder, DRAWING)
    assert line == (
        "plans/tarn.dxf: only DXF is an open format, got a DWG file; write it again, saved as DXF (2018 or older)"
    )


def test_the_errors_of_a_drawing_are_told_with_those_of_the_plan(folder):
    text = DRAWING + '[railhead]\n"End 3" = 60\n[car.ore]\nmass = "3"\nlength = 100\n'
    with pytest.raises(Problems) as caught:
        load(folder, text)
    lines = str(caught.value).split("\n")
    assert lines[0] == (
        'plans/tarn.dxf: joint "End 3" at (1600.0, 1500.0) mm: heights contradict one another by 5 mm, got 60 mm '
        '([railhead]), 55 mm (the text "55"); write the right one, or none of the others'
    )
    assert lines[1].startswith('plans/tarn.toml:9: car "ore", mass: a mass needs its unit')
    assert isinstance(caught.value.errors[0], DrawingError)


def test_points_that_name_nothing(folder):
    assert said(folder, DRAWING + "[joint.Summit]\nat = [1600, 1400]\nwithin = 20\n") == [
        (
            'plans/tarn.toml:7: joint "Summit", at: no joint of the drawing lies within 20 mm of here, '
            "got (1600.0, 1400.0) mm; the nearest is 100 mm away, at (1600.0, 1500.0) mm; "
            "write its coordinates, or within = ... for a wider look"
        )
    ]


def test_a_line_that_adds_to_none(folder):
    assert said(folder, DRAWING + '[line.Mian]\nberth = "Platform"\n') == [
        'plans/tarn.toml:7: line "Mian": there is no line of the drawing "Mian"; write "Main"'
    ]


def test_a_joint_of_three_that_nothing_tells_how_to_pass(folder):
    text = DRAWING + '[line.On]\nfrom = "Turnout 1"\nto = "Mine"\ntrack = [{ straight = 300 }]\n'
    assert said(folder, text) == [
        'plans/tarn.dxf: turnout "Turnout 1": "On.from" ends here too and is neither toe nor leg; write it in legs too'
    ]


def test_a_plan_that_is_no_file_has_no_drawing_beside_it():
    with pytest.raises(Problems, match="a plan that is not a file has no drawing beside it"):
        read_plan(HEAD + DRAWING)


def test_what_was_mended_becomes_a_note(folder):
    document, space = new(units=MM)
    space.add_line((0, 0), (1000, 0), {"layer": "Track"})
    space.add_line((0, 0), (1000, 0), {"layer": "Track"})
    space.add_line((1001, 0), (2000, 0), {"layer": "Track"})
    document.saveas(folder / "tarn.dxf")
    notes = [str(note) for note in load(folder, DRAWING).notes if note.place]
    assert len(notes) == 2
    assert notes[0].startswith("plans/tarn.dxf: Drawn twice (1): 1000.0 mm of track drawn again")
    assert notes[1] == (
        'plans/tarn.dxf: Gaps closed (1): ends drawn 1.00 mm apart are one joint, at (1000.0, 0.0) mm on layer "Track"'
    )
