"""Which layers of a builder's own drawing are taken for track, heights and names, and what is left."""

from pathlib import Path

import pytest

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.fitting import fit_stroke
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.reader import read_plan
from plan.drawing.dxf_files import MM, new

LOOK = '3 texts on "texts" look like heights: if they are, add --height-layers "texts"'
TAKEN = 'read from numbers on "texts": if they are not, add --height-layers none'
FURNITURE = ("TABLES", "Wall_2", "FASCIA line", "A-DOORS", "Track dimensions", "Fenster")


def track(space, layer="TRACK"):
    space.add_line((0, 0), (1000, 0), {"layer": layer})
    space.add_arc((1000, 600), 600, 270, 330, dxfattribs={"layer": layer})


def rectangle(space, layer, x=-100.0, y=-100.0, *, lines=False):
    corners = [(x, y), (x + 2400, y), (x + 2400, y + 900), (x, y + 900)]
    if not lines:
        space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
        return
    for one, other in zip(corners, corners[1:] + corners[:1], strict=True):
        space.add_line(one, other, {"layer": layer})


@pytest.fixture
def imported(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)

    def done(draw, plan=None, **options):
        document, space = new(units=MM)
        draw(space)
        document.saveas("tarn.dxf")
        return import_drawing("tarn.dxf", plan, ImportOptions(scale="HO", **options))

    return done


def said(done, code):
    return [fault.text for fault in done.drawn.faults if fault.code == code]


@pytest.mark.parametrize("layer", FURNITURE)
def test_a_layer_of_benchwork_is_known_by_its_name_and_named(imported, layer):
    def draw(space):
        track(space)
        space.add_spline([(0, -300, 0), (500, -350, 0), (1500, -320, 0)], dxfattribs={"layer": layer})

    done = imported(draw)
    assert list(done.drawn.lines) == ["TRACK 1"]
    by_name = "skipped because of the layer's name; to read it, name it with the others in --layers"
    assert said(done, "not-read") == [f"1 entity on layer {layer} {by_name}"]
    assert len(imported(draw, layers=("TRACK", layer)).drawn.lines) == 2  # chosen, it is read


@pytest.mark.parametrize("layer", ["0", "TRACK", "Layer 7"])
@pytest.mark.parametrize("lines", [False, True])
def test_closed_figures_with_corners_are_no_track_on_whatever_layer(imported, layer, lines):
    def draw(space):
        track(space)
        rectangle(space, layer, lines=lines)
        rectangle(space, layer, 3000.0, lines=lines)

    done = imported(draw)
    assert list(done.drawn.lines) == ["TRACK 1"]
    (text,) = said(done, "no-track")
    assert text == f'closed figures with corners on layer "{layer}" are not track: 13200.0 mm left out'


def test_what_meets_a_corner_or_has_none_is_track(imported):
    def draw(space):
        rectangle(space, "0", lines=True)
        space.add_line((-100, -100), (-700, -100), {"layer": "0"})  # goes on from a corner
        space.add_circle((5000, 0), 600, {"layer": "0"})
        space.add_lwpolyline([(0, 3000, 0), (1000, 3000, 1), (1000, 4000, 0), (0, 4000, 1)], "xyb", close=True)

    assert said(imported(draw), "no-track") == []


def test_a_layer_that_meets_no_other_is_asked_about(imported):
    def draw(space):
        track(space)
        space.add_line((-500, 0), (0, 0), {"layer": "Mine"})
        space.add_line((0, -900), (2000, -900), {"layer": "Edge"})
        space.add_line((0, 2000), (2000, 2000), {"layer": "Narrow track"})

    assert said(imported(draw), "lone-layer") == [
        'nothing on layer "Edge" meets track of another: if it is not track, name the others in --layers'
    ]
    assert said(imported(draw, layers=("TRACK", "Edge")), "lone-layer") == []


def test_heights_and_names_are_known_by_the_names_of_their_layers(imported):
    def draw(space):
        track(space)
        space.add_line((0, 0), (-20, 20), {"layer": "ELEVATIONS"})  # leads to the text
        space.add_text("25", height=20, dxfattribs={"layer": "ELEVATIONS", "insert": (-20, 20)})
        space.add_text("Mill", height=20, dxfattribs={"layer": "NAMES", "insert": (-20, -30)})
        space.add_text("2400", height=20, dxfattribs={"layer": "DIMENSIONS", "insert": (0, 10)})

    done = imported(draw)
    assert (done.drawn.heights, "Mill" in done.drawn.joints) == ({"Mill": 0.025}, True)
    assert done.drawn.texts == (["NAMES"], ["ELEVATIONS"])
    chosen = imported(draw, layers=("TRACK",))
    assert chosen.drawn.heights == {"Mill": 0.025}
    assert said(chosen, "not-read") == ["1 text on layer DIMENSIONS skipped"]
    assert imported(draw, layers=("TRACK",), height_layers=("Mine",)).drawn.heights == {}  # the builder's own choice


@pytest.mark.parametrize(("layer", "left"), [("NOTES", True), ("Notes 2", True), ("NOTES to all", True), ("0", False)])
def test_a_layer_of_notes_is_left_out_where_it_meets_no_track(imported, layer, left):
    def draw(space):
        track(space)
        space.add_line((500, 0), (600, 200), {"layer": layer})  # leads from the track to a text
        space.add_text("flex", height=20, dxfattribs={"layer": layer, "insert": (600, 200)})
        space.add_text("h=25", height=20, dxfattribs={"layer": layer, "insert": (-20, 20)})

    done = imported(draw)
    assert (list(done.drawn.layers) == ["TRACK"], "flex" not in done.drawn.joints) == (left, left)
    assert list(done.drawn.heights.values()) == [0.025]
    assert said(done, "no-track") == [f'layer "{layer}" meets no track and is called notes: left out'] * left


def test_track_on_a_layer_of_notes_stays_where_it_meets_other_track(imported):
    def draw(space):
        track(space)
        space.add_line((-500, 0), (0, 0), {"layer": "NOTES"})

    done = imported(draw)
    assert list(done.drawn.layers) == ["NOTES", "TRACK"]
    assert said(done, "no-track") == []


def test_a_curve_is_fitted_once_whatever_layers_are_tried(imported, monkeypatch):
    def draw(space):
        track(space)
        for number, layer in enumerate(("TRACK", "TRACK", "NOTES")):
            corners = [(4000 + 2000 * number + x, y, 0) for x, y in ((0, 0), (900, 100), (800, 900), (-100, 700))]
            space.add_spline(dxfattribs={"layer": layer}).set_closed(corners)
        for place, text in ((0, "25"), (400, "30"), (900, "42")):
            space.add_text(text, height=20, dxfattribs={"layer": "texts", "insert": (place, 20)})

    def counted(stroke, **terms):
        fitted.append((stroke.handle, stroke.layer))
        return fit_stroke(stroke, **terms)

    fitted: list[tuple[str, str]] = []
    monkeypatch.setattr("gradehaul.plan.drawing.assembly.fit_stroke", counted)
    done = imported(draw)
    along = [pair for line in done.drawn.lines.values() for pair in line.railhead_at]
    assert (len(said(done, "no-track")), len(along) + len(done.drawn.heights)) == (1, 3)
    assert (len(fitted), len({*fitted})) == (3, 3)


def test_the_next_import_takes_the_same(imported, tmp_path):
    def draw(space):
        track(space, "Main [1]")
        rectangle(space, "TABLE")
        space.add_text("25", height=20, dxfattribs={"layer": "Heights", "insert": (-20, 20)})

    first = imported(draw)
    assert 'layers = ["Main [[]1]"]\nheight_layers = ["Heights"]\n' in first.text
    (tmp_path / "tarn.toml").write_text(first.text, "utf-8")
    assert imported(draw, "tarn.toml").text == first.text


def test_slips_are_those_that_texts_beside_a_crossing_name(imported):
    def draw(space):
        for end in ((-1000, 0), (1000, 0), (-900, -450), (900, 450)):
            space.add_line((0, 0), end, {"layer": "TRACK"})
        for text, y in (("TRACK 1 to TRACK 3", 5), ("TRACK 4 to TRACK 2", 800)):
            space.add_text(text, height=10, dxfattribs={"layer": "Slips", "insert": (0, y)})

    assert imported(draw).text.endswith(
        'through = [["TRACK 1", "TRACK 4"], ["TRACK 2", "TRACK 3"]]\nmoves = [["TRACK 1", "TRACK 3"]]\n'
    )


def test_benchwork_alone_is_refused(imported):
    with pytest.raises(
        DrawingError, match=r"no layer looks like track by its name, got \"TABLE\" \(1\); write --layers"
    ):
        imported(lambda space: rectangle(space, "TABLE"))


@pytest.mark.parametrize("turn", [0.0, 90.0])
@pytest.mark.parametrize("kind", ["text", "mtext"])
def test_a_text_counts_from_where_its_middle_is_seen(imported, kind, turn):
    """It begins beside one end of the line, 240 mm away from the other, over which its middle stands."""

    def draw(space):
        upright = turn != 0.0
        line = ((0, 0), (0, 240)) if upright else ((0, 0), (240, 0))
        space.add_line(*line, {"layer": "TRACK"})
        on = {"layer": "NAMES", "insert": (-20, 0) if upright else (0, 20), "rotation": turn}
        if kind == "text":
            space.add_text("Mill end of the old branch", height=25, dxfattribs=on)  # some 520 mm long
        else:
            space.add_mtext("Mill end of the old branch", dxfattribs={**on, "char_height": 25})

    done = imported(draw)
    (name,) = (name for name in done.drawn.joints if name.startswith("Mill"))
    assert max(done.drawn.joints[name].spot[:2]) == pytest.approx(0.24)


def test_an_aligned_text_counts_from_its_point(imported):
    from ezdxf.enums import TextEntityAlignment

    def draw(space):
        space.add_line((0, 0), (240, 0), {"layer": "TRACK"})
        text = space.add_text("Mill end of the old branch", height=25, dxfattribs={"layer": "NAMES"})
        text.set_placement((0, 20), align=TextEntityAlignment.MIDDLE_LEFT)

    done = imported(draw)
    assert [name for name, joint in done.drawn.joints.items() if joint.spot.x == 0] == ["Mill end of the old branch"]


@pytest.mark.parametrize(
    ("words", "layer", "said_of_it"),
    [
        (("0", "20.4", "36"), "texts", f"3 heights {TAKEN}"),
        (("0", "0", "36"), "texts", LOOK),  # two that differ
        (("7", "8", "9"), "texts", LOOK),  # as tracks of a yard
        (("0", "20", "36"), "Labels", LOOK.replace("texts", "Labels").replace("3 Labels", "3 texts")),
        (("0", "36"), "texts", ""),
        (("0", "20", "36", *("100",) * 4), "texts", ""),  # most are far from track
        (("0", "h=20", "36"), "texts", ""),
    ],
)
def test_bare_numbers_beside_track_are_heights_or_it_is_said(imported, words, layer, said_of_it):
    def draw(space):
        track(space)
        for count, text in enumerate((*words, "Harbor", "R 600")):
            spot = (count * 400, 10) if text != "100" else (400, 900)
            spot = {"Harbor": (0, 20), "R 600": (1290, 90)}.get(text, spot)
            space.add_text(text, height=10, dxfattribs={"layer": layer, "insert": spot})

    done = imported(draw)
    assert said(done, "numbers") == [said_of_it] * bool(said_of_it)
    taken = TAKEN in said_of_it
    assert "R 600" not in {*done.drawn.lines, *done.drawn.joints}
    assert ("[400, 20.4]" in done.text, 'from = "Harbor"' in done.text) == (taken, taken)
    if taken:
        assert not said(imported(draw, height_layers=("none",)), "numbers")
        assert f'layers = ["TRACK", "{layer}"]\nheight_layers = ["{layer}"]\n' in done.text


def test_numbers_that_contradict_one_another_do_not_stop_the_import(imported):
    def draw(space):
        track(space)
        for text, x in (("0", 0), ("20", 5), ("36", 1000)):
            space.add_text(text, height=10, dxfattribs={"layer": "texts", "insert": (x, 10)})

    assert said(imported(draw), "numbers") == [LOOK]


def curve_with(space, *texts, layer="texts"):
    track(space)
    for text, x, y in texts:
        space.add_text(text, height=10, dxfattribs={"layer": layer, "insert": (x, y)})


NOTED = ("600", 1300, 90)  # at the middle of the curve of that radius


def test_a_radius_without_an_r_is_no_height(imported):
    heights = [("0", 0, 10), ("20.4", 400, 10), ("36", 800, 10)]
    done = imported(lambda space: curve_with(space, *heights, NOTED))
    (line,) = done.drawn.lines.values()
    assert line.railhead_at[-1][1] == 0.036
    assert said(done, "height-unused") == ['"600" is the radius of the curve that it stands at']
    again = imported(lambda space: curve_with(space, *heights, ("90", 1300, 90)))
    assert [height for _, height in next(iter(again.drawn.lines.values())).railhead_at][-1] == 0.09


def test_a_radius_on_a_layer_of_heights_is_a_height(imported):
    done = imported(lambda space: curve_with(space, ("580", 0, 10), NOTED, layer="HEIGHTS"))
    assert not said(done, "height-unused")
    assert next(iter(done.drawn.lines.values())).railhead_at[-1][1] == 0.6


def test_numbers_of_which_only_radii_make_three_are_not_taken(imported):
    done = imported(lambda space: curve_with(space, ("0", 0, 10), ("20", 400, 10), NOTED))
    assert not said(done, "numbers")
    assert not done.drawn.heights


def test_numbers_that_would_make_a_cliff_are_not_taken(imported):
    done = imported(lambda space: curve_with(space, ("0", 0, 10), ("20", 400, 10), ("450", 800, 10)))
    assert said(done, "numbers") == [LOOK]
    assert not done.drawn.heights


def test_the_hint_names_a_layer_with_wildcards_as_it_is_to_be_typed(imported):
    done = imported(lambda space: curve_with(space, ("7", 0, 10), ("8", 400, 10), ("9", 800, 10), layer="tex[t]"))
    assert said(done, "numbers") == [
        '3 texts on "tex[t]" look like heights: if they are, add --height-layers "tex[[]t]"'
    ]


@pytest.mark.parametrize(("name", "stands"), [("R12", True), ("R600", False), ("R 12", False)])
def test_a_track_may_be_called_as_a_radius_that_no_curve_has(imported, name, stands):
    done = imported(lambda space: curve_with(space, (name, 500, 10)))
    assert (name in done.drawn.lines) == stands


def test_heights_that_are_not_used_are_a_doubt_about_the_plan_until_all_are(imported):
    def doubts(y, plan=None):
        texts = ("0", 0, 10), ("20", 400, y)
        done = imported(lambda space: curve_with(space, *texts, layer="HEIGHTS"), plan)
        Path("plan.toml").write_text(done.text, encoding="utf-8")
        return [note.text for note in read_plan(done.text, file="plan.toml", folder=Path()).doubts]

    cure = "give heights there and take unused_heights out of [import]"
    assert doubts(900) == [f"1 height of the drawing is not used: a hill may be steeper; {cure}"]
    assert len(doubts(900, "plan.toml")) == 1
    assert not doubts(10, "plan.toml")
