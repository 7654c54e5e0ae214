"""A drawing whose heights count from another 0 than the plan's: raised by z, by texts, on lines and over an import."""

import itertools
import re
from pathlib import Path

import pytest

from gradehaul.errors import PlanError, Problems, QuantityError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import plan_dxf
from plan.drawing.dxf_files import MM, new

TRACK, HEIGHTS = {"layer": "Track"}, {"layer": "Heights"}
HILL = 'scale = "N"\nunit = "mm"\n[line.Hill]\nfrom = "Yard"\nto = "Landing"\ntrack = [{ straight = 5000 }]\n'
AT = "[joint.Landing]\nat = [0, 0]\n[railhead]\nYard = 0\n"


@pytest.fixture(autouse=True)
def _folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def draw(how: str, low: float = 0.0) -> None:
    """Draw an upper level from its own 0: 1 m level, then 1 m that climbs 20 mm, a step of 12 mm at its middle."""
    document, space = new(units=MM)
    corners = [(0, low), (1000, low), (1500, low + 12), (2000, low + 20)]
    for (x, z), (further, higher) in itertools.pairwise(corners):
        start, end = ((x, 0, z), (further, 0, higher)) if how == "z" else ((x, 0), (further, 0))
        space.add_line(start, end, TRACK)
    if how == "texts":
        for x, z in corners:
            space.add_text(f"{z:g}", height=8, dxfattribs=HEIGHTS).set_placement((x, 4))
    document.saveas("upper.dxf")


def joined(terms: str, head: str = HILL + AT) -> dict[str, float]:
    """Return the railheads, mm, of the upper level joined to a hill in text, and that of the step on it."""
    drawing = f'[drawing]\nfile = "upper.dxf"\nlayers = ["Track"]\nheight_layers = ["Heights"]\n{terms}\n'
    Path("both.toml").write_text(head + drawing, "utf-8")
    layout = Layout(load_plan("both.toml"))
    found = {name: height * 1000 for name, height in layout.alignment.railheads.items()}
    along = 1.5
    for track in layout.plan.lines["Track 1"].tracks:
        if 0 <= along <= track.length:
            found["step"] = float(layout.alignment.tracks[track.id].railhead(along)) * 1000
        along -= track.length
    return found


@pytest.mark.parametrize("how", ["z", "texts"])
@pytest.mark.parametrize(("terms", "by"), [('raise = "4 in"', 101.6), ("raise = 90", 90), ('raise = "-3 cm"', -30)])
def test_every_height_of_a_drawing_is_raised(how, terms, by):
    draw(how)
    found = joined(terms)
    assert found == pytest.approx({"Yard": 0, "Landing": by, "End 2": by + 20, "step": by + 12})


@pytest.mark.parametrize("low", [0.0, 35.0])
@pytest.mark.parametrize("how", ["z", "texts"])
def test_raised_as_drawn_higher(how, low):
    """A drawing raised by so much answers as the one that was drawn so much higher."""
    draw(how, low)
    raised = joined("raise = 90")
    draw(how, low + 90)
    assert raised == pytest.approx(joined(""))


def test_a_drawing_that_differs_by_one_figure_from_the_plan_is_told_the_key():
    draw("texts")
    with pytest.raises(Problems) as caught:
        joined("", HILL + AT + "Landing = 90\n")
    (text,) = str(caught.value).split("\n")
    assert 'the right one, or none of the others; or raise = "90 mm" under [drawing]' in text
    assert joined('raise = "90 mm"', HILL + AT + "Landing = 90\n")["Landing"] == pytest.approx(90)
    draw("texts", 5)
    with pytest.raises(Problems, match=re.escape('or raise = "85 mm" under [drawing]')):
        joined("raise = 60", HILL + AT + "Landing = 90\n")


def test_a_drawing_that_differs_by_several_figures_is_not():
    draw("texts")
    ends = HILL + AT + 'Landing = 90\n"End 2" = 100\n'
    with pytest.raises(Problems) as caught:
        joined("", ends)
    assert str(caught.value).count("contradict one another") == 2
    assert "raise =" not in str(caught.value)


def test_track_at_0_that_meets_a_joint_of_another_height_is_named():
    draw("z")
    joined("", HILL + AT + "Landing = 90\n")
    assert [note.text for note in load_plan("both.toml").notes if "drawn flat" in note.text] == [
        (
            'Another 0, or drawn flat (1): track at z = 0 meets joint "Landing", at 90 mm in the plan, and is taken as '
            'drawn flat; if the drawing\'s 0 lies there, write raise = "90 mm", at (0.0, 0.0) mm'
        )
    ]
    joined("raise = 90", HILL + AT + "Landing = 90\n")
    assert not [note for note in load_plan("both.toml").notes if "drawn flat" in note.text]


def test_a_drawing_without_heights_is_not_raised_and_says_so():
    draw("flat")
    Path("both.toml").write_text(HILL + AT + '[drawing]\nfile = "upper.dxf"\nlayers = ["Track"]\nraise = 90\n', "utf-8")
    (note,) = (note.text for note in load_plan("both.toml").notes if "raise" in note.text)
    assert note == "Nothing to raise (1): raise moves nothing: the drawing has no heights"


# Imports


def imported(**options):
    done = import_drawing("upper.dxf", "mine.toml", ImportOptions(**options))
    Path("mine.toml").write_text(done.text, "utf-8")
    return done


@pytest.mark.parametrize("how", ["z", "texts"])
def test_an_import_keeps_it_and_heights_as_drawn_follow(how):
    draw(how)
    low = imported(scale="N").drawn
    done = imported(raise_="9 cm")
    assert 'raise = "9 cm"' in done.text
    assert done.drawn.heights == pytest.approx({name: height + 0.09 for name, height in low.heights.items()})
    railheads = load_plan("mine.toml").railhead
    assert railheads == pytest.approx(done.drawn.heights)
    again = imported()
    assert again.text == done.text
    assert not any((again.changes.added, again.changes.changed, again.changes.contrary, again.changes.heights))
    assert imported(raise_=0).drawn.heights == pytest.approx(low.heights)
    assert load_plan("mine.toml").railhead == pytest.approx(low.heights)


def test_heights_along_a_line_follow_and_a_persons_own_stay():
    draw("texts")
    first = imported(scale="N")
    assert "railhead = 12 }" in first.text
    Path("mine.toml").write_text(first.text.replace('"End 1" = 0  # drawn 0', '"End 1" = 3'), "utf-8")
    done = imported(raise_=90)
    assert "railhead = 102 }" in done.text
    assert '"End 1" = 3' in done.text
    (contrary,) = done.changes.contrary
    assert contrary.startswith('"End 1" stays at 3 mm, and the drawing has 90 mm')


def test_heights_of_a_persons_own_that_all_lie_higher_are_told_the_option():
    draw("texts")
    text = imported(scale="N").text
    for low, high in (("0  # drawn 0", "100"), ("20  # drawn 20", "120")):
        assert f"= {low}" in text
        text = text.replace(f"= {low}", f"= {high}")
    Path("mine.toml").write_text(text, "utf-8")
    first, *rest = imported().changes.contrary
    assert first.startswith("2 joints lie 100 mm above the drawing: if that counts from another 0")
    assert len(rest) == 2
    assert imported(raise_=100).changes.contrary == []


def test_what_is_exported_is_not_raised_again():
    draw("z")
    before = joined("raise = 90")
    layout = Layout(load_plan("both.toml"))
    Path("upper.dxf").write_bytes(plan_dxf(plan_view(layout), units_of("mm")))
    back = imported(scale="N").drawn.heights
    assert back["Landing"] * 1000 == pytest.approx(before["Landing"])
    assert max(back.values()) * 1000 == pytest.approx(110)


@pytest.mark.parametrize(("value", "error"), [("high", QuantityError), ("3 kg", QuantityError)])
def test_what_is_no_length_is_refused(value, error):
    draw("z")
    with pytest.raises(error, match=r"^--raise: "):
        imported(scale="N", raise_=value)


def test_a_practice_is_written_and_never_contradicted():
    draw("z")
    assert 'practice = "NEM"\n' in imported(scale="N", practice="NEM").text
    assert load_plan("mine.toml").practice == "NEM"
    assert imported(practice="NEM").changes.changed == []
    with pytest.raises(PlanError, match='--practice: the plan has another practice, got "NMRA"'):
        imported(practice="NMRA")
    with pytest.raises(PlanError, match='--practice: there is no such practice, got "DIN"; write "NMRA" or "NEM"'):
        import_drawing("upper.dxf", None, ImportOptions(scale="N", practice="DIN"))
