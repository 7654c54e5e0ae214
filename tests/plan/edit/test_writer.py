"""Writing a plan: it reads back to what was drawn, and over an edited plan it touches only what it wrote itself."""

import random
import re
from dataclasses import replace

import numpy as np
import pytest
import tomli

from gradehaul.errors import PlanError, Problems
from gradehaul.plan import read_plan
from gradehaul.plan.drawing.records import Fault
from gradehaul.plan.edit.writer import Changes, new_plan, updated_plan
from gradehaul.plan.edit.writer.drawn_tables import lines_before
from gradehaul.plan.edit.writer.text import MARK
from plan.drawing.hand_made import assembled, label, polyline, straight

MAIN = straight(0, 0, 2, 0, handle="A")
HILL = polyline([(2, 1), (3, 1), (4, 1)], z=[0.01, 0.02, 0.05], handle="B")
OTHER = straight(0, 2, 2, 2, handle="C")
TEXTS = [label("Main", 1, 0.02), label("Hill", 3, 1.02), label("Other", 1, 2.02)]
DRAWN = assembled([MAIN, HILL, OTHER], TEXTS)

STOCK = """
# my own engine, bought second hand
[loco.mogul]   # runs well
mass = "300 g"    # weighed twice
length = 200
"""


def written(drawn=DRAWN, unit="mm"):
    return new_plan(drawn, title='The "Tarn"', scale="HO", unit=unit).text


def again(text, strokes):
    """The plan after another import, of a drawing that may have changed."""
    known = lines_before(text, tomli.loads(text), "tarn.toml")
    return updated_plan(text, assembled(strokes, TEXTS, known=known), file="tarn.toml")[:2]


@pytest.fixture
def edited():
    """A plan that a person has gone on with."""
    text = written()
    text = text.replace('title = "The \\"Tarn\\""', 'title = "My branch"  # renamed').replace(
        "{ straight = 2000 }", '{ straight = 2000, berth = "Platform" },  # of brick\n  # a remark of my own', 1
    )
    text = text.replace("[line.Hill]  # drawn\n", '[line.Hill]  # drawn\nruns = "forward"   # one way\n')
    return text + STOCK


def test_a_new_plan_names_heights_that_were_not_used_and_keeps_them_when_brought_up_to_date():
    drawn = replace(DRAWN, faults=(*DRAWN.faults, Fault("height-unused", '"50" stands beside no track')))
    text = written(drawn)
    head = text[: text.index("\n[")]
    assert head.endswith('1 height of the drawing is not used: a hill may be steeper:\n# "50" stands beside no track\n')
    assert "stands beside" not in written()
    assert updated_plan(text, DRAWN, file="tarn.toml").text == text  # a remark like any other


def test_it_reads_back():
    plan = read_plan(written())
    assert plan.title == 'The "Tarn"'
    assert set(plan.lines) == {"Main", "Other", "Hill"}
    assert plan.lines["Hill"].railhead_at == ((pytest.approx(1.0), pytest.approx(0.02)),)
    at_zero = dict.fromkeys(["End 1", "End 2", "End 3", "End 5"], 0.0)  # drawn at z = 0 beside track in space
    assert plan.railhead == {**at_zero, "End 4": pytest.approx(0.01), "End 6": pytest.approx(0.05)}
    place = plan.lines["Main"].place
    assert place == pytest.approx((0, 0, 0))


@pytest.mark.parametrize("unit", ["mm", "in", "m", "ft"])
@pytest.mark.parametrize("seed", range(5))
def test_figures_keep_their_digits_in_every_unit(unit, seed):
    shuffle = random.Random(seed)
    radius, length = 10 ** shuffle.uniform(-0.5, 1), 10 ** shuffle.uniform(-4, 1)
    drawn = DRAWN
    line = drawn.lines["Main"]
    curve = line.elements[0]._replace(curvature=-1 / radius, length=length)
    short = line.elements[0]._replace(length=1e-6 * shuffle.uniform(1, 9))
    lines = {**drawn.lines, "Main": line._replace(elements=(curve, short))}
    tracks = read_plan(written(replace(drawn, lines=lines), unit)).lines["Main"].tracks
    assert tracks[0].curvature == pytest.approx(-1 / radius, rel=1e-6)
    assert tracks[0].length == pytest.approx(length, rel=1e-4, abs=2e-7)
    assert tracks[1].length == pytest.approx(short.length, rel=1e-3)


@pytest.mark.parametrize("name", ['a "b" ]c[', "[x]", "a.b", "Wei\u00dfe", "a # b", "back\\slash", "x" * 80, "1.from"])
def test_any_name_can_be_written(name):
    line = DRAWN.lines["Main"]._replace(name=name)
    drawn = replace(DRAWN, lines={**{k: v for k, v in DRAWN.lines.items() if k != "Main"}, name: line})
    text = written(drawn)
    assert name in read_plan(text).lines
    assert updated_plan(text, drawn, file="tarn.toml")[:2] == (text, Changes())


def test_the_same_drawing_again_changes_nothing(edited):
    assert updated_plan(edited, DRAWN, file="tarn.toml")[:2] == (edited, Changes())


def test_a_line_that_is_drawn_longer_changes_alone_and_keeps_what_is_the_persons(edited):
    text, changes = again(edited, [straight(0, 0, 2.5, 0, handle="A"), HILL, OTHER])
    assert changes == Changes(changed=['line "Main"'])
    assert text == edited.replace('straight = 2000, berth = "Platform"', 'straight = 2500, berth = "Platform"')


def test_a_line_with_another_number_of_tracks_keeps_the_comments_among_them(edited):
    bent = polyline([(0, 0), (1, 0), (2, 0.015), (3, 0.03)], handle="A", exact=True)
    text, changes = again(edited, [bent, HILL, OTHER])
    assert changes.changed == ['line "Main"']
    assert "# a remark of my own" in text
    assert "# of brick" in text
    assert len(read_plan(text).lines["Main"].tracks) == 2


def test_lines_come_and_go(edited):
    text, changes = again(edited, [MAIN, OTHER, straight(0, 5, 2, 5, handle="E")])
    assert (changes.added, changes.removed, changes.changed) == (['line "TRACK 3"'], ['line "Hill"'], [])
    data = tomli.loads(text)
    assert set(data["line"]) == {"Main", "Other", "TRACK 3"}
    assert "# one way" in text  # the comment of a line that is gone
    assert STOCK in text
    assert data["railhead"] == tomli.loads(edited)["railhead"]
    assert data["title"] == "My branch"


def test_turnouts_follow_the_drawing():
    text = written(assembled([MAIN, _branch()], TEXTS)) + STOCK
    (name,) = (joint.name for joint in read_plan(text).joints.values() if joint.kind == "turnout")
    without, changes = again(text, [MAIN])
    assert f'turnout "{name}"' in changes.removed
    assert "turnout" not in tomli.loads(without)
    anew, changes = again(without, [MAIN, _branch()])
    assert [joint.kind for joint in read_plan(anew).joints.values()].count("turnout") == 1
    assert any(each.startswith("turnout") for each in changes.added)


def _branch():
    angle = np.radians(np.arange(0, 21, 2.0))
    return polyline(np.column_stack((1 + 0.8 * np.sin(angle), 0.8 * (1 - np.cos(angle)))), handle="T")


def test_without_its_mark_a_table_is_the_persons(edited):
    own = edited.replace(f"[line.Main]  {MARK}", "[line.Main]")
    text, changes = again(own, [straight(0, 0, 2.5, 0, handle="A"), HILL, OTHER])
    assert (text, changes) == (own, Changes(kept=['line "Main"']))
    text, changes = again(own, [HILL, OTHER])
    assert "[line.Main]" in text
    assert changes == Changes()


def test_heights_of_the_person_stay_and_new_ones_are_added(edited):
    stays = '"End 4" stays at 12.5 mm, and the drawing has 10 mm: take it out of [railhead] to follow the drawing'
    for mine in ('"End 4" = 12.5  # measured', '"End 4" = 12.5  # drawn 10', '"End 4" = 12.5'):
        own = edited.replace('"End 4" = 10  # drawn 10', mine)
        text, changes, _ = updated_plan(own, DRAWN, file="tarn.toml")
        assert text == own != edited
        assert changes == Changes(contrary=[stays])
    own = edited.replace('"End 4" = 10  # drawn 10\n', "# none for the hill yet\n")
    text, changes, _ = updated_plan(own, DRAWN, file="tarn.toml")
    assert changes == Changes(heights=['"End 4" is new, 10 mm'])
    assert tomli.loads(text)["railhead"] == tomli.loads(edited)["railhead"]
    assert tomli.loads(text)["railhead"]["End 4"] == 10
    assert "# none for the hill yet" in text


def test_heights_as_an_import_wrote_them_follow_the_drawing(edited):
    higher = replace(DRAWN, heights={**DRAWN.heights, "End 4": 0.0115})
    text, changes, _ = updated_plan(edited, higher, file="tarn.toml")
    assert text == edited.replace('"End 4" = 10  # drawn 10', '"End 4" = 11.5  # drawn 11.5')
    assert changes == Changes(heights=['"End 4" was 10 mm and is 11.5 mm'])
    assert updated_plan(text, DRAWN, file="tarn.toml").text == edited  # and back


def climbing(*heights):
    return polyline([(0, 1), (1, 1), (1.5, 1), (4, 1)], z=heights, handle="B")


def test_heights_along_a_line_follow_the_drawing_and_comments_stay():
    text = new_plan(assembled([climbing(0, 0.01, 0.03, 0.05)]), title="x", scale="HO", unit="mm").text
    assert "railhead_at = [[1000, 10], [1500, 30]]" in text
    mine = text.replace("[1500, 30]]", "[1500, 30]]  # by level").replace("[[1000, 10]", "[  # two\n [1000, 10]")
    higher, changes = again(mine, [climbing(0, 0.012, 0.03, 0.05)])
    assert changes.changed == ['line "TRACK 1"']
    assert read_plan(higher).lines["TRACK 1"].railhead_at[0] == (1.0, pytest.approx(0.012))
    even, _ = again(mine, [climbing(0, 0.0125, 0.01875, 0.05)])
    assert read_plan(even).lines["TRACK 1"].railhead_at == ()
    for result in (higher, even):
        assert "# by level" in result
        assert "# two" in result


STAYS = (
    'line "TRACK 1" at 1000 mm stays at 20 mm, and the drawing has 10 mm: take it out of the line to follow the drawing'
)


def test_a_height_along_track_in_space_that_was_changed_stays_and_the_others_follow():
    text = new_plan(assembled([climbing(0, 0.01, 0.03, 0.05)]), title="x", scale="HO", unit="mm").text
    assert "railhead_at = [[1000, 10], [1500, 30]]  # drawn 10, 30\n" in text
    mine = text.replace("[1000, 10]", "[1000, 20]")
    assert again(mine, [climbing(0, 0.01, 0.03, 0.05)]) == (mine, Changes(contrary=[STAYS]))
    result, changes = again(mine, [climbing(0, 0.01, 0.035, 0.05)])
    assert "railhead_at = [[1000, 20], [1500, 35]]  # drawn 10, 35\n" in result
    assert changes == Changes(changed=['line "TRACK 1"'], contrary=[STAYS])
    more = text.replace("[[1000, 10], ", "[\n  [700, 9],  # measured\n  [1000, 10], ")
    result, changes = again(more, [climbing(0, 0.01, 0.035, 0.05)])
    assert sorted(read_plan(result).lines["TRACK 1"].railhead_at) == [
        (pytest.approx(at), pytest.approx(height)) for at, height in ((0.7, 0.009), (1.0, 0.01), (1.5, 0.035))
    ]
    assert "# measured" in result
    assert "# drawn 10, 35, -\n" in result
    assert changes.contrary == []
    assert again(result, [climbing(0, 0.01, 0.035, 0.05)]) == (result, Changes())


def test_heights_along_track_in_space_without_marks_are_the_drawings_and_it_is_said():
    text = new_plan(assembled([climbing(0, 0.01, 0.03, 0.05)]), title="x", scale="HO", unit="mm").text
    old = text.replace("  # drawn 10, 30", "").replace("[1000, 10]", "[1000, 20]")
    result, changes = again(old, [climbing(0, 0.01, 0.03, 0.05)])
    assert result == text
    said = 'line "TRACK 1" at 1000 mm was at 20 mm and is now at 10 mm, as the drawing has it'
    assert changes == Changes(changed=['line "TRACK 1"'], contrary=[said])


def test_heights_that_the_drawing_has_none_of_are_the_persons():
    text = new_plan(assembled([MAIN]), title="x", scale="HO", unit="mm").text
    mine = text.replace("heading = 0\n", "heading = 0\nrailhead_at = [[500, 4]]\n").replace(
        "= 2000 }", "= 2000, rise = 9 }"
    )
    assert again(mine, [MAIN]) == (mine, Changes())
    longer, _ = again(mine, [straight(0, 0, 2.5, 0)])
    assert "railhead_at = [[500, 4]]" in longer
    assert "{ straight = 2500, rise = 9 }" in longer


def test_a_height_where_two_tracks_meet_stands_with_the_track():
    parts = [straight(0, 0, 1, 0, z=[0, 0.02], handle="A"), _bend()]
    drawn = assembled(parts)
    text = new_plan(drawn, title="x", scale="HO", unit="in").text
    (line,) = read_plan(text).lines.values()
    assert line.railhead_at == ()
    assert line.tracks[0].railhead == pytest.approx(0.02, abs=1e-7)
    assert again(text, parts) == (text, Changes())


def _bend():
    angle = np.radians(np.arange(0, 91, 5.0))
    points = np.column_stack((1 + 0.8 * np.sin(angle), 0.8 * (1 - np.cos(angle))))
    return polyline(points, z=0.02 + 0.8 * angle * 0.01, handle="T")


@pytest.mark.parametrize(
    "form",
    [
        lambda text: text.replace("[railhead]  # heights of joints\n", "").replace('"End', 'railhead."End', 5),
        lambda text: re.sub(r'\[railhead\].*\n(".*\n)+', "", text),
        lambda text: text.replace("\n", "\r\n"),
    ],
    ids=["dotted", "none", "Windows"],
)
def test_other_ways_to_write_a_plan(form, edited):
    own = form(edited.replace('"End 1" = 0  # drawn 0\n', ""))
    drawn = replace(DRAWN, heights={**DRAWN.heights, "End 1": 0.007})
    text, changes, _ = updated_plan(own, drawn, file="tarn.toml")
    assert tomli.loads(text)["railhead"]["End 1"] == 7
    assert changes.added == changes.removed == changes.changed == []
    assert read_plan(text).railhead["End 1"] == pytest.approx(0.007)


def test_a_text_that_looks_like_a_header_is_none(edited):
    own = edited + 'title_of = """\n[line.Main]  # drawn\n"""\n[car.ore]\nlength = 5\n'
    own = own.replace("title_of", "[car.log]\nlength = 4\nmass")
    text, _ = again(own, [HILL, OTHER])
    assert 'mass = """\n[line.Main]  # drawn\n"""' in text
    assert set(tomli.loads(text)["line"]) == {"Hill", "Other"}


def test_tracks_as_tables_of_their_own(edited):
    before, _, after = edited.partition("[line.Other]")
    tracks = "[[line.Other.track]]\nstraight = 2000  # long\n"
    own = before + "[line.Other]" + after.replace("track = [\n  { straight = 2000 },\n]\n", tracks, 1)
    assert own != edited
    text, changes = again(own, [MAIN, HILL, straight(0, 2, 2.5, 2, handle="C")])
    assert changes.changed == ['line "Other"']
    assert text == own.replace("straight = 2000  # long", "straight = 2500  # long")


def test_lines_in_one_table_are_the_persons():
    own = 'scale = "HO"\nunit = "mm"\nline.Main = { from = "A", to = "B", track = [ { straight = 30 } ] }\n'
    text, changes, _ = updated_plan(own, DRAWN, file="tarn.toml")
    assert changes.kept == ['line "Main"']
    assert text.startswith(own)
    assert set(read_plan(text).lines) == {"Main", "Hill", "Other"}


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[drawing]\nfile = 'x.dxf'\n",
            "this plan reads a drawing by itself, and import would give it the same track twice",
        ),
        ("unit = 'x'\n", "unit: no unit of length is called that"),
        ("line = 3\n", "this plan is written so that it cannot be changed in place"),
        (
            "railhead = 3\n[line.Hill]  # drawn\nfrom = 'a'\n",
            "this plan is written so that it cannot be changed in place",
        ),
        ("[line.\n", "this line cannot be read"),
    ],
)
def test_plans_that_cannot_be_gone_on_with(text, message):
    with pytest.raises((PlanError, Problems), match=message):
        updated_plan(text, DRAWN, file="tarn.toml")


@pytest.mark.parametrize("seed", range(30))
def test_no_edit_loses_a_comment_or_a_table(seed):
    shuffle = random.Random(seed)
    rows = (written() + STOCK).split("\n")
    for number in range(12):
        place = shuffle.randrange(len(rows) + 1)
        rows.insert(place, shuffle.choice(["", f"# remark {number}"]))
    text = "\n".join(rows)
    strokes = [stroke for stroke in (MAIN, HILL, OTHER, _branch()) if shuffle.random() < 0.6]
    strokes = strokes or [MAIN]
    strokes.append(straight(0, 7, shuffle.choice([1, 2]), 7, handle="S"))
    result, _ = again(text, strokes)
    for row in rows:
        assert not row.startswith("# remark") or row in result
    data = tomli.loads(result)
    assert sum(len(line["track"]) for line in data["line"].values()) >= len(strokes)
    assert data["loco"] == tomli.loads(text)["loco"]
    assert again(result, strokes)[0] == result
