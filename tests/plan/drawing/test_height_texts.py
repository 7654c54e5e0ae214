"""Heights by texts of a file: single-line and paragraph texts, and attributes of blocks, beside the ends of track."""

import pytest

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
