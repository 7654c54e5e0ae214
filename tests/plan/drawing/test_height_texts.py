"""Heights by texts of a file: single-line and paragraph texts, and attributes of blocks, beside the ends of track."""

import pytest

from command_line import run
from gradehaul.errors import Problems
from gradehaul.plan import load_plan
from gradehaul.plan.drawing.records import terms
from plan.drawing.dxf_files import MM, assembled, new, saved

ON, HEIGHTS = {"layer": "Track"}, {"layer": "Heights"}
CM = 5  # of $INSUNITS


def text(_document, space, words, at):
    space.add_text(words, dxfattribs=HEIGHTS).set_placement(at)


def paragraph(_document, space, words, at):
    space.add_mtext(rf"{{\fArial|b1;{words}}}", dxfattribs=HEIGHTS).set_location(at)


def attribute(document, space, words, at):
    if "Level" not in document.blocks:
        document.blocks.new("Level").add_attdef("HEIGHT", (0, 0), dxfattribs=HEIGHTS)
    insert = space.add_blockref("Level", at, dxfattribs=HEIGHTS)
    insert.add_attrib("HEIGHT", words, at, dxfattribs=HEIGHTS)


@pytest.mark.parametrize("write", [text, paragraph, attribute])
@pytest.mark.parametrize(
    ("words", "height"), [("60", 0.06), ("60 mm", 0.06), ("2 1/2 in", 0.0635), ("-4.5 cm", -0.045)]
)
def test_every_kind_of_text_tells_a_height(tmp_path, write, words, height):
    document, space = new(units=MM)
    space.add_line((0, 0), (1000, 0), ON)
    write(document, space, "0", (0, 10))
    write(document, space, words, (1005, 5))
    document.saveas(tmp_path / "tarn.dxf")
    plan = tmp_path / "tarn.toml"
    drawing = '[drawing]\nfile = "tarn.dxf"\nlayers = ["Track"]\nheight_layers = ["heights"]\n'
    plan.write_text(f'scale = "HO"\nunit = "mm"\n{drawing}', "utf-8")
    assert load_plan(plan).railhead == pytest.approx({"End 1": 0.0, "End 2": height})
    plan.write_text(f'scale = "HO"\nunit = "mm"\n[railhead]\n"End 2" = 99\n{drawing}', "utf-8")
    with pytest.raises(Problems, match=r"heights contradict one another by \S+ mm"):
        load_plan(plan)


@pytest.mark.parametrize(("units", "words", "said"), [(CM, "60", 1), (CM, "60 mm", 0), (CM, "0", 0), (MM, "60", 0)])
def test_a_height_without_a_unit_is_named_where_the_drawing_has_another(tmp_path, units, words, said):
    document, space = new(units=units)
    space.add_line((0, 0), (1000, 0), ON)
    text(document, space, words, (0, 0))
    document.saveas(tmp_path / "tarn.dxf")
    drawn = assembled(tmp_path / "tarn.dxf", terms(0.0165, "mm", ["Track"], height_layers=("heights",)))
    assert [fault.code for fault in drawn.faults].count("no-unit") == said
    assert set(drawn.heights.values()) == {0.06 if "60" in words else 0.0}


def drawing_with(tmp_path, texts, lines=(((0, 0), (2000, 0)),), layer="Heights"):
    document, space = new(units=MM)
    for start, end in lines:
        space.add_line(start, end, ON)
    for words, x, y in texts:
        space.add_text(words, dxfattribs={"layer": layer}).set_placement((x, y))
    document.saveas(tmp_path / "tarn.dxf")
    return str(tmp_path / "tarn.dxf")


def answer(*words):
    result = run(*words)
    assert result.exit_code == 0, result.output
    return result.stdout


def test_heights_that_are_not_used_stand_above_the_verdict(tmp_path):
    drawing_with(tmp_path, [("0", 0, 5), ("99", 1000, 900), ("20", 1500, 5), ("98", 400, 500), ("50", 2000, 5)])
    plan = tmp_path / "tarn.toml"
    drawing = '[drawing]\nfile = "tarn.dxf"\nlayers = ["Track"]\nheight_layers = ["heights"]\n'
    plan.write_text(f'scale = "HO"\nunit = "mm"\n{drawing}', "utf-8")
    lines = " ".join(answer("check", plan).split())
    doubt = (
        "tarn.dxf: 2 heights of the drawing are not used: a hill may be steeper "
        '("99" is beside no track (66 mm is the limit), at (1000.0, 900.0) mm on layer "Heights")'
    )
    assert lines.index(doubt) < lines.index("the plan names no train")
    (line,) = load_plan(plan).lines.values()
    assert line.railhead_at == ((pytest.approx(1.5), pytest.approx(0.02)),)
    plan.write_text(f'{plan.read_text("utf-8")}[line."Track 1"]\nrailhead_at = [["1510 mm", "30 mm"]]\n', "utf-8")
    (line,) = load_plan(plan).lines.values()
    assert line.railhead_at == ((pytest.approx(1.51), pytest.approx(0.03)),)  # the plan's own comes first


HILL = [((0, 0), (600, 0)), ((600, 0), (1400, 0)), ((1400, 0), (3000, 0))]
CLIMB = [("0", -20, 10), ("5", 590, 8), ("40", 1405, 10), ("60", 2300, 10), ("60", 2990, 10)]


def test_heights_where_entities_meet_are_heights_along_the_line(tmp_path):
    plan = tmp_path / "hill.toml"
    texts = [*CLIMB, ("77", 900, 800)]
    shown = answer("import", drawing_with(tmp_path, texts, HILL), "-o", plan, "--scale", "HO")
    assert shown.splitlines()[0] == "1 height of the drawing is not used: a hill may be steeper"
    text = plan.read_text("utf-8")
    assert '# "77" is beside no track (66 mm is the limit), at (900.0, 800.0) mm on layer "Heights"\n' in text
    (line,) = load_plan(plan).lines.values()
    assert [track.railhead for track in line.tracks] == [pytest.approx(0.005), pytest.approx(0.04), None]
    ((at, height),) = line.railhead_at
    assert (at, height) == (pytest.approx(line.length - 0.7, abs=1e-6), 0.06)
    assert load_plan(plan).railhead == {"End 1": 0.0, "End 2": 0.06}


@pytest.mark.parametrize(("x", "near"), [(47, "the meeting"), (20, "the joint")])
def test_a_height_between_a_joint_and_where_entities_meet_is_of_the_nearer(tmp_path, x, near):
    plan = tmp_path / "hill.toml"
    lines = [((0, 0), (50, 0)), ((50, 0), (2000, 0))]
    answer("import", drawing_with(tmp_path, [("3", x, 3), ("40", 2000, 5)], lines), "-o", plan, "--scale", "HO")
    (line,) = load_plan(plan).lines.values()
    at_meeting = [track.railhead for track in line.tracks] == [pytest.approx(0.003), None]
    assert (at_meeting, load_plan(plan).railhead.get("End 1")) == (
        (True, None) if near == "the meeting" else (False, 0.003)
    )


@pytest.mark.parametrize(("x", "heights"), [(1013.5, [0.03, None, None]), (1025, [None, 0.03, None])])
def test_a_height_between_two_places_where_entities_meet_is_of_the_nearer(tmp_path, x, heights):
    plan = tmp_path / "hill.toml"
    lines = [((0, 0), (1000, 0)), ((1000, 0), (1030, 0)), ((1030, 0), (2000, 0))]
    answer("import", drawing_with(tmp_path, [("30", x, 3)], lines), "-o", plan, "--scale", "HO")
    (line,) = load_plan(plan).lines.values()
    assert [track.railhead for track in line.tracks] == heights


def test_heights_of_the_person_stay_beside_those_of_texts(tmp_path):
    plan = tmp_path / "hill.toml"
    again = ("import", drawing_with(tmp_path, CLIMB, HILL), "-o", plan, "--scale", "HO")
    answer(*again)
    text = plan.read_text("utf-8")
    answer(*again)
    assert plan.read_text("utf-8") == text
    mine = text.replace("railhead_at = [", "railhead_at = [[300, 1], ").replace("1600 }", "1600, railhead = 60 }")
    plan.write_text(mine, "utf-8")
    drawing_with(tmp_path, [*CLIMB[:2], ("45", 1405, 10), *CLIMB[3:]], HILL)
    answer(*again)
    (line,) = load_plan(plan).lines.values()
    assert [track.railhead for track in line.tracks] == [0.005, 0.045, 0.06]
    assert line.railhead_at[0] == (0.3, 0.001)
    assert len(line.railhead_at) == 2


def along_of(tmp_path, lines, words, at, turn=0.0):
    """Return the heights along each line that a text in N shows, and what is said of texts that are not used."""
    document, space = new(units=MM)
    for start, end in lines:
        space.add_line(start, end, {"layer": "Track"})
    space.add_text(words, height=12, dxfattribs={"layer": "Heights", "insert": at, "rotation": turn})
    on = terms(0.009, "mm", ["Track"], height_layers=("Heights",))
    drawn = assembled(saved(document, tmp_path), on)
    unused = [fault.text for fault in drawn.faults if fault.code == "height-unused"]
    return [pair for line in drawn.lines.values() for pair in line.railhead_at], unused


UPRIGHT = [((0, 0), (0, 2000))]


def test_a_text_that_ends_at_the_track_stands_beside_it_and_one_beyond_the_limit_is_measured(tmp_path):
    assert along_of(tmp_path, UPRIGHT, "H=27 mm", (-80, 400)) == ([(pytest.approx(0.4, abs=0.013), 0.027)], [])
    found, (said,) = along_of(tmp_path, UPRIGHT, "H=27 mm", (40, 400))
    assert (found, said) == ([], '"H=27 mm" is beside no track (the nearest is 40 mm away, 36 mm is the limit)')


@pytest.mark.parametrize("y", [8, -20])
@pytest.mark.parametrize("turn", [0.0, 10.0, -10.0])
def test_a_text_that_grows_longer_stays_where_it_was_put(tmp_path, y, turn):
    places = [
        along_of(tmp_path, [((0, 0), (2000, 0))], words, (700, y), turn)[0][0][0]
        for words in ("+42", "+41.5", "+41.50 mm")
    ]
    assert places == [pytest.approx(0.7)] * 3


def test_a_text_at_one_track_is_not_taken_for_the_other_that_its_middle_is_nearer_to(tmp_path):
    lines = [
        ((0, 0), (0, 2000)),
        ((-72, 0), (-72, 2000)),
    ]  # the text ends at the first, and begins 20 mm from the other
    found, (said,) = along_of(tmp_path, lines, "+27.5", (-52, 400))
    assert found == []
    assert "is beside several tracks" in said


@pytest.mark.parametrize(
    "words", ["h=25", "h 25", "H: 25", "h=25mm", "z=25", "EL 25.0", "el. 25", "elev=25 mm", "(25)", "h = 2.5 cm", "H25"]
)
def test_a_text_that_calls_itself_a_height_is_one(tmp_path, words):
    plan = tmp_path / "tarn.toml"
    answer("import", drawing_with(tmp_path, [("0", 0, 5), (words, 2000, 5)]), "-o", plan, "--scale", "HO")
    assert load_plan(plan).railhead == pytest.approx({"End 1": 0.0, "End 2": 0.025})


@pytest.mark.parametrize(("words", "height"), [("h=25", 0.025), ("el. 25", 0.025), ("H 25", None), ("Elm 2", None)])
def test_on_a_layer_of_names_only_what_says_so_is_a_height(tmp_path, words, height):
    plan = tmp_path / "tarn.toml"
    answer("import", drawing_with(tmp_path, [(words, 2000, 5)], layer="Names"), "-o", plan, "--scale", "HO")
    heights = load_plan(plan).railhead
    assert heights == ({} if height is None else {"End 2": pytest.approx(height)})


def test_what_is_no_height_on_a_layer_of_heights_is_no_name_either(tmp_path):
    plan = tmp_path / "tarn.toml"
    texts = [("25 (rail)", 2000, 5), ("in mm", 0, 5)]
    shown = answer("import", drawing_with(tmp_path, texts), "-o", plan, "--scale", "HO", "--more", "all")
    assert shown.startswith("1 height of the drawing is not used")  # what has a figure may be one
    assert '"25 (rail)" is no height (' in shown
    assert '"in mm" is no height (this is not a length)' in shown
    (line,) = load_plan(plan).lines.values()
    assert (line.start, line.finish) == ("End 1", "End 2")
