"""Names that stay while the drawing under them changes."""

import pytest
import tomli

from gradehaul.plan.edit.writer import new_plan, updated_plan
from gradehaul.plan.edit.writer.drawn_tables import lines_before
from plan.drawing.hand_made import assembled, polyline, straight

LINES = [straight(0, number, 2, number, handle=f"{number}") for number in range(4)]


def again(text, strokes):
    known = lines_before(text, tomli.loads(text), "tarn.toml")
    return updated_plan(text, assembled(strokes, known=known), file="tarn.toml")[:2]


@pytest.fixture
def text():
    return new_plan(assembled(LINES), title="x", scale="HO", unit="mm").text


def test_a_new_line_in_front_renames_nothing(text):
    result, changes = again(text, [straight(-1, -1, 1, -1, handle="9"), *LINES])
    assert changes.changed == changes.removed == []
    assert len(changes.added) == 1
    for name, line in tomli.loads(text)["line"].items():
        assert tomli.loads(result)["line"][name] == line


def test_what_the_person_renamed_stays_renamed(text):
    mine = text.replace('"TRACK 2"', "Yard").replace('"End 2"', '"Wharf"')
    result, changes = again(mine, [*LINES, straight(0, 9, 2, 9, handle="9")])
    assert changes.changed == changes.removed == []
    assert "Yard" in tomli.loads(result)["line"]
    assert '"Wharf"' in result


def test_an_end_that_moved_is_known_by_its_line(text):
    result, changes = again(text, [LINES[0], straight(0, 1, 3.5, 1, handle="1"), *LINES[2:]])
    assert (changes.added, changes.removed) == ([], [])
    (name,) = changes.changed
    before, after = (tomli.loads(each)["line"][name.split('"')[1]] for each in (text, result))
    assert (before["from"], before["to"]) == (after["from"], after["to"])


def test_a_name_that_is_gone_is_given_to_nothing_else(text):
    gone = tomli.loads(text)["line"]["TRACK 1"]
    result, changes = again(text, [*LINES[1:], straight(5, 5, 6, 6, handle="9")])
    assert changes.removed == ['line "TRACK 1"']
    lines = tomli.loads(result)["line"]
    assert "TRACK 1" not in lines
    ends = {line[end] for line in lines.values() for end in ("from", "to")}
    assert not ends & {gone["from"], gone["to"]}


def test_curves_are_reckoned_to_their_ends():
    bend = polyline([(0, 0), (1, 0)], handle="A", exact=True)
    bend.bulges[:] = 0.3
    text = new_plan(assembled([bend, straight(1, 5, 2, 5)]), title="x", scale="HO", unit="in").text
    line = next(line for line in lines_before(text, tomli.loads(text), "x") if line.length > 1.01)
    assert {(round(spot.x, 6) + 0.0, round(spot.y, 6) + 0.0) for spot in (line.at, line.end)} == {
        (0.0, 0.0),
        (1.0, 0.0),
    }
