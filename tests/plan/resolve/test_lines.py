"""Lines as they are laid: lengths and hands of tracks, pieces, berths, rail conditions."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.errors import Problems
from gradehaul.plan import read_plan
from plan.example import HEAD, one_line

INCH = 0.0254


def tracks(*written, keys="", more=""):
    return read_plan(one_line(*written, keys=keys) + more).lines["Main"].tracks


@given(radius=st.floats(5, 100), angle=st.floats(10, 720), share=st.just(0.0) | st.floats(1e-3, 1))
def test_an_angle_and_the_length_it_comes_to_are_one_curve(radius, angle, share):
    # A curve of radius R through θ with easements of length e: R θ − e of arc and twice e.
    ease = share * radius * math.radians(angle)
    length = radius * math.radians(angle) + ease
    (by_angle,) = tracks(f"{{ left = {radius}, angle = {angle}, ease = {ease} }}")
    (by_length,) = tracks(f"{{ left = {radius}, length = {length}, ease = {ease} }}")
    assert by_angle.length == pytest.approx(length * INCH)
    assert by_length.length == pytest.approx(by_angle.length)
    assert by_length.ease == by_angle.ease


def test_the_longest_easement_leaves_no_arc():
    (track,) = tracks("{ left = 10, length = 16, ease = 8 }")
    assert track.length == pytest.approx(16 * INCH)
    with pytest.raises(Problems):
        tracks("{ left = 10, length = 15.9, ease = 8 }")


def test_left_is_positive_and_right_negative():
    left, right = tracks("{ left = 20, angle = 90 }", "{ right = 20, angle = 90 }")
    assert left.curvature == pytest.approx(1 / (20 * INCH))
    assert right.curvature == -left.curvature


PIECES = """
[piece.turn]
track = [ { left = 30, angle = 10, grade = "1 %" }, { straight = 5, name = "Frog" } ]
[piece.ladder]
track = [ { piece = "turn" }, { piece = "turn", hand = "right" }, { straight = 1 } ]
"""


def hands(found):
    return [round(math.copysign(1, track.curvature)) if track.curvature else 0 for track in found]


def test_pieces_are_spliced_in_and_numbered_along():
    found = tracks("{ straight = 3 }", '{ piece = "turn" }', "{ straight = 4 }", more=PIECES)
    assert [track.id for track in found] == ["Main:1", "Main:2", "Main:3", "Main:4"]
    assert [track.name for track in found] == ["Main:1", "Main:2", "Frog", "Main:4"]
    assert found[1].grade == pytest.approx(0.01)


def test_pieces_are_mirrored_and_mirrored_back():
    assert hands(tracks('{ piece = "turn" }', more=PIECES)) == [1, 0]
    assert hands(tracks('{ piece = "turn", hand = "left" }', more=PIECES)) == [1, 0]
    assert hands(tracks('{ piece = "turn", hand = "right" }', more=PIECES)) == [-1, 0]
    assert hands(tracks('{ piece = "ladder" }', more=PIECES)) == [1, 0, -1, 0, 0]
    assert hands(tracks('{ piece = "ladder", hand = "right" }', more=PIECES)) == [-1, 0, 1, 0, 0]


def test_rail_conditions_of_lines_pieces_and_tracks():
    found = tracks(
        "{ straight = 3 }",
        '{ straight = 3, rail = "clean" }',
        '{ piece = "turn", rail = "treated" }',
        keys='rail = "treated fresh"',
        more=PIECES,
    )
    assert [track.rail for track in found] == ["treated fresh", "clean", "treated", "treated"]


def test_berths_on_lines_tracks_and_pieces():
    plan = read_plan(
        one_line(
            '{ straight = 30, berth = "Upper", clear = 50 }',
            '{ straight = 30, berth = "Upper" }',
            "{ straight = 3 }",
            '{ piece = "turn", berth = "Lower" }',
        )
        + PIECES
    )
    assert plan.berths["Upper"].tracks == ("Main:1", "Main:2")
    assert plan.berths["Upper"].clear == pytest.approx(50 * INCH)
    assert plan.berths["Lower"].tracks == ("Main:4", "Main:5")
    whole = read_plan(one_line("{ straight = 30 }", "{ straight = 3 }", keys='berth = "Yard"\nclear = 33'))
    assert (whole.berths["Yard"].tracks, whole.berths["Yard"].line) == (("Main:1", "Main:2"), "Main")
    assert whole.berths["Yard"].clear == pytest.approx(33 * INCH)


def test_heights_along_a_line_are_put_in_order():
    plan = read_plan(one_line("{ straight = 30 }", keys="railhead_at = [[30, 2], [0, 1]]"))
    assert plan.lines["Main"].railhead_at == (
        (0.0, pytest.approx(INCH)),
        (pytest.approx(30 * INCH), pytest.approx(2 * INCH)),
    )


def test_tracks_under_headers_of_their_own():
    plan = read_plan(HEAD + '[line.Main]\nfrom = "A"\nto = "B"\n[[line.Main.track]]\nstraight = 3\n')
    assert plan.lines["Main"].length == pytest.approx(3 * INCH)


def test_a_plan_without_a_unit_whose_lengths_have_theirs():
    line = '[line.Main]\nfrom = "A"\nto = "B"\ntrack = [ { straight = "610 mm" } ]\n'
    assert read_plan('scale = "HO"\n' + line).unit == "in"
    assert read_plan('scale = "HO"\npractice = "NEM"\n' + line).unit == "mm"


def test_full_size_is_a_scale_too():
    plan = read_plan(
        'scale = { ratio = 1, gauge = "1435 mm" }\nunit = "m"\n[line.L]\nfrom="A"\nto="B"\ntrack=[{straight=8200}]'
    )
    assert (plan.scale.ratio, plan.scale.gauge) == (1.0, pytest.approx(1.435))
    assert plan.lines["L"].length == 8200.0
