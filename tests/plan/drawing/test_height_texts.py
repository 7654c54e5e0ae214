"""Heights by texts of a file: single-line and paragraph texts, and attributes of blocks, beside the ends of track."""

import pytest
from click.testing import CliRunner

from gradehaul.command import main
from gradehaul.errors import Problems
from gradehaul.plan import load_plan
from plan.drawing.dxf_files import MM, new

ON, HEIGHTS = {"layer": "Track"}, {"layer": "Heights"}


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


def test_heights_that_are_not_used_stand_above_the_verdict_with_the_cure(tmp_path):
    document, space = new(units=MM)
    space.add_line((0, 0), (2000, 0), ON)
    for words, x, y in (("0", 0, 5), ("99", 1000, 900), ("20", 1500, 5), ("50", 2000, 5)):
        text(document, space, words, (x, y))
    document.saveas(tmp_path / "tarn.dxf")
    drawing = '[drawing]\nfile = "tarn.dxf"\nlayers = ["Track"]\nheight_layers = ["heights"]\n'
    plan = tmp_path / "tarn.toml"
    plan.write_text(f'scale = "HO"\nunit = "mm"\n{drawing}', "utf-8")
    lines = " ".join(CliRunner().invoke(main, ["check", str(plan)]).stdout.split())
    cure = 'railhead_at = [["1500 mm", "20 mm"]] in [line."Track 1"]'
    place = "at (1500.0, 5.0) mm"
    doubt = f'tarn.dxf: 2 heights on layer "Heights" are not used: "20" stands at no joint, {place}; write {cure}'
    assert doubt in lines
    assert lines.index(doubt) < lines.index("The plan names no train")
    key, header = cure.split(" in ")
    plan.write_text(f"{plan.read_text('utf-8')}{header}\n{key}\n", "utf-8")
    (note,) = load_plan(plan).doubts
    assert note.text == 'a height is not used: "99" stands at no joint, at (1000.0, 900.0) mm on layer "Heights"'
