"""Slips of the pen: each gets its true line, and a plan is mended by doing what its messages say and nothing else."""

import re

import pytest

from gradehaul.errors import Problems
from gradehaul.plan import read_plan

WHOLE = """scale = "HO"
unit = "in"

[railhead]
Wharf = 0
Summit = 4

[line.Hill]
from = "Wharf"
to = "Summit"
track = [
  { straight = 36 },
  { left = 24, angle = 90 },
]

[loco.mogul]
mass = "340 g"
length = "8 in"
driven_wheels = 6
"""
SLIPS = [
    ("[line.Hill]", "[line.Hill"),
    ("[line.Hill]", "line.Hill]"),
    ("[loco.mogul]", "[[loco.mogul]"),
    ("[loco.mogul]", "[loco.big mogul]"),
    ("[loco.mogul]", "[loco.Bär]"),
    ("{ straight = 36 },", "{ straight = 36 }"),
    ("{ straight = 36 },", "{ straight = 36,5 },"),
    ("{ straight = 36 },", "{ straight = 36, grade = 2 % },"),
    ("{ straight = 36 },", '{ straight = "36 in },'),
    ("{ straight = 36 },", "{ straight = 3' },"),
    ("{ straight = 36 },", "{ straight = 2' 6 1/2\" },"),
    ("left = 24, angle", "left = 24 angle"),
    ("angle = 90 }", "angle = 90° }"),
    ('length = "8 in"', "length = 8 in"),
    ('length = "8 in"', "length = 8 in  # over couplers"),
    ('length = "8 in"', "length = 8 1/2 in"),
    ('length = "8 in"', 'length = 8"'),
    ('length = "8 in"', "length = 1' 8\""),
    ('scale = "HO"', "scale = HO"),
    ('mass = "340 g"', 'mass = "340 g'),
    ('mass = "340 g"', "mass = 340g"),
    ('mass = "340 g"', "mass = “340 g”"),
    ("Summit = 4", "Summit = 1/2"),
]
"""What stands in the plan and what the slip makes of it."""


def messages_of(lines):
    """The messages about a plan, none where it is right."""
    try:
        read_plan("\n".join(lines), file="tarn.toml")
    except Problems as problems:
        return str(problems).splitlines()
    return []


def mended(lines, message):
    """The plan after doing what one message says: words are replaced, nothing is known of what they mean."""
    _, line, rest = message.split(":", 2)
    number = int(line) - 1
    said, _, write = rest.partition("; write ")
    wrong, _, got = said.partition(", got ")
    new = list(lines)
    if got and got == lines[number].strip():
        new[number : number + 1] = write.split(" and below it ")
    elif key := re.fullmatch(r"(\w+ = \S+) for .*", write):
        old = re.compile(rf"\w+ = {re.escape(got.split()[0])}")
        at = next(n for n in range(number, len(lines)) if old.search(lines[n]))
        new[at] = old.sub(key[1], lines[at], count=1)
    else:
        old = got or re.search(r'"[^"]*"$', wrong)[0]
        at = next(n for n in range(number, len(lines)) if old in lines[n] or old.strip('"') in lines[n])
        new[at] = lines[at].replace(*((old, write) if old in lines[at] else (old.strip('"'), write.strip('"'))), 1)
    return new


@pytest.mark.parametrize(("right", "wrong"), SLIPS, ids=[wrong for _, wrong in SLIPS])
def test_a_slip_is_told_at_its_line_and_mended_by_its_message(right, wrong):
    text = WHOLE.replace(right, wrong, 1)
    lines = text.split("\n")
    (message,) = messages_of(lines)
    assert message.startswith(f"tarn.toml:{WHOLE[: WHOLE.index(right)].count(chr(10)) + 1}: ")
    assert messages_of(mended(lines, message)) == []


RARE = [
    ("[line.Hill]", "[line = Hill]"),
    ("[loco.mogul]", "[loco.mogul] a mogul"),
    ("[loco.mogul]", "[loco.]"),
    ("{ straight = 36 },", "{ straight = 36 ],"),
    ("{ straight = 36 },", "( straight = 36 ),"),
    ("{ straight = 36 },", "[ straight = 36 ],"),
    ("{ straight = 36 },", "{ straight = 36 }},"),
    ("{ straight = 36 },", "{ straight 36 },"),
    ("{ straight = 36 },", "{ straight: 36 },"),
    ('length = "8 in"', 'length "8 in"'),
    ('length = "8 in"', "length 8 in"),
    ("driven_wheels = 6", "driven_wheels 6"),
    ("driven_wheels = 6", "driven_wheels: 6"),
    ("driven_wheels = 6", "driven_wheels == 6"),
    ("driven_wheels = 6", "driven_wheels = 06"),
    ("driven_wheels = 6", "driven_wheels = 6;"),
    ("driven_wheels = 6", "driven_wheels = 6 // all"),
    ("driven_wheels = 6", "driven_wheels =\N{NO-BREAK SPACE}6"),
    ('from = "Wharf"\nto', 'from = "Wharf", to'),
    ("Summit = 4", "Summit = .5"),
    ("driven_wheels = 6", "driven_wheels = Yes"),
]
"""What few people write: a guess at it could be wrong, so there is none."""


@pytest.mark.parametrize(("right", "wrong"), RARE, ids=[wrong for _, wrong in RARE])
def test_a_rare_slip_gets_its_line_and_no_guess(right, wrong):
    text = WHOLE.replace(right, wrong, 1)
    (message,) = messages_of(text.split("\n"))
    assert message.startswith(f"tarn.toml:{WHOLE[: WHOLE.index(right)].count(chr(10)) + 1}: ")
    _, _, write = message.partition("; write ")
    assert write in {"", 'key = value, with text in quotes, as in length = "8 in"'}


@pytest.mark.parametrize(
    ("right", "wrong", "line", "write"),
    [
        (",\n]\n", ",\n", 11, "list opened here is never closed, got track = [; write ] after its last item"),
        ("},\n]\n", "}\n", 11, "list opened here is never closed, got track = [; write ] after its last item"),
        ("36 },", "36,", 12, "table opened here is never closed, got { straight = 36,; write } after its last value"),
        (
            "90 },",
            "90",
            13,
            "table opened here is never closed, got { left = 24, angle = 90; write } after its last value",
        ),
    ],
)
def test_what_is_never_closed_is_reported_where_it_opens(right, wrong, line, write):
    assert messages_of(WHOLE.replace(right, wrong, 1).split("\n")) == [f"tarn.toml:{line}: the {write}"]


def test_ten_mistakes_are_mended_by_the_messages_alone():
    text = WHOLE
    for right, wrong in (
        ("[line.Hill]", "[line.Hill"),
        ('to = "Summit"', "to = Sumit"),
        ("{ straight = 36 },", "{ straight = 36 }"),
        ("left = 24", "left = -24"),
        ("angle = 90 }", "angel = 90 }"),
        ('mass = "340 g"', "mass = 340 g"),
        ('length = "8 in"', 'lenght = "8 in"'),
        ('scale = "HO"', "scale = “HO”"),
    ):
        assert right in text
        text = text.replace(right, wrong, 1)
    text += '[car.boxcar]\nlength = "6 inchs"\n'
    lines, rounds = text.split("\n"), 0
    while messages := messages_of(lines):
        rounds += 1
        assert rounds <= 12, messages  # a name without quotes and misspelled is reported twice
        lines = mended(lines, messages[0])
    plan = read_plan("\n".join(lines))
    assert plan.lines["Hill"].tracks[1].curvature < 0  # the hand that the message tells for a radius below 0
    assert plan.cars["boxcar"].length == pytest.approx(0.1524)
    assert rounds >= 8
