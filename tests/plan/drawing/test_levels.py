"""On which level track lies: over itself by texts or z, as turns of a helix, and at z = 0, where it may be flat."""

import math

import numpy as np
import pytest

from gradehaul.errors import Problems
from gradehaul.plan.drawing.records import Stroke
from plan.drawing.hand_made import assembled, label, polyline, straight

RADIUS = 0.6
ROUND = 2 * math.pi * RADIUS


def seen(drawn):
    """Return how many lines there are, heights of joints and along lines, mm, ? for none, and the codes of faults."""
    joints = [drawn.heights.get(name) for name in drawn.joints]
    known = sorted(1000 * height for height in joints if height is not None)
    along = sorted(1000 * height for line in drawn.lines.values() for _, height in line.railhead_at)
    shown = " ".join([*(f"{height:.4g}" for height in known), *("?" for height in joints if height is None)])
    codes = " ".join(fault.code for fault in drawn.faults)
    return f"{len(drawn.lines)}: {shown} | {' '.join(f'{height:.4g}' for height in along)} | {codes}"


def arc(start, end, z=None, handle="1"):
    """Draw an arc about the origin, counterclockwise between two angles, in pieces of half a circle at the most."""
    pieces = math.ceil((end - start) / 180 - 1e-9)
    angle = np.radians(np.linspace(start, end, pieces + 1))
    bulges = np.full(pieces, math.tan(math.radians(end - start) / pieces / 4))
    heights = None if z is None else np.full(pieces + 1, z)
    points = RADIUS * np.column_stack((np.cos(angle), np.sin(angle)))
    if math.isclose(end - start, 360):
        points[-1] = points[0]
    return Stroke(handle, "TRACK", "ARC", points, bulges, exact=True, heights=heights)


def beside(text, angle):
    way = math.radians(angle)
    return label(text, 1.04 * RADIUS * math.cos(way), 1.04 * RADIUS * math.sin(way), layer="HEIGHTS")


def text(words, x):
    return label(words, x, 0.02, layer="HEIGHTS")


def helix(heights=(0, 45, 90, 135, 180), order=range(4)):
    """Draw four turns of 350 degrees over one another, each from where the one below ends, and heights beside them."""
    turns = [arc(-10 * turn - 360, -10 * turn - 10, handle=str(turn)) for turn in order]
    return turns, [beside(str(height), -10 * turn) for turn, height in enumerate(heights)]


def leads():
    way = math.radians(50)
    x, y = RADIUS * math.cos(math.radians(-40)), RADIUS * math.sin(math.radians(-40))
    return [straight(RADIUS, -0.8, RADIUS, 0, handle="in"), straight(x, y, x + math.cos(way), y + math.sin(way))]


def turning(count, *, down=False):
    """Draw half turns at rising heights, with a level straight before and one behind."""
    heights = [0.04 * (count - number if down else number) for number in range(count)]
    end, way = (-RADIUS, 1) if count % 2 == 0 else (RADIUS, -1)
    return [
        straight(-1, -RADIUS, 0, -RADIUS, z=[heights[0]] * 2),
        *(arc(-90 + 180 * number, 90 + 180 * number, heights[number], str(number)) for number in range(count)),
        straight(0, end, way, end, z=[heights[-1]] * 2),
    ]


def one_and_a_half(*heights, low=0.0, high=0.09, more=()):
    """Draw three half turns at these heights, mm, with a straight in and one on, in space where they are not at 0."""
    ends = [
        straight(-1, -RADIUS, 0, -RADIUS, z=[low] * 2 if low else None, handle="in"),
        straight(0, RADIUS, -1, RADIUS, z=[high] * 2 if high else None, handle="on"),
    ]
    turns = [arc(-90 + 180 * n, 90 + 180 * n, z / 1000 if z else None, str(n)) for n, z in enumerate(heights)]
    return [*ends, *turns, *more]


def turned_on(first, turn):
    return [arc(first + turn * number, first + turn * (number + 1), 0.04 * number, str(number)) for number in range(12)]


def circles(*heights):
    return [arc(0, 360, height, str(number)) for number, height in enumerate(heights)]


def spiral(turn):
    angle = np.radians(np.arange(0, 361, 5))
    return polyline(
        RADIUS * np.column_stack((np.cos(angle), np.sin(angle))), z=0.001 + 0.045 * (turn + angle / 2 / math.pi)
    )


def steeper():
    """Draw a helix of three turns and a quarter at 2 %, and at 3 % from the second turn on."""
    angle = np.radians(np.arange(0, 3.25 * 360 + 1, 6.0))
    grade = np.where(np.arange(1, len(angle)) <= 60, 0.02, 0.03)
    climb = np.concatenate(([0.0], np.cumsum(RADIUS * np.diff(angle) * grade)))
    return polyline(RADIUS * np.column_stack((np.sin(angle), 1 - np.cos(angle))), z=climb)


def flat_branch():
    angle = np.radians(np.arange(0, 31, 5.0))
    return polyline(np.column_stack((1.5 + np.sin(angle), 1 - np.cos(angle))), handle="B")


UP = straight(0, 5, 2, 5, z=[0.03, 0.05], handle="UP")
"""Track in space, away from all others."""
TURN = math.radians(350) * RADIUS
WHARF = [label("Wharf", 0.0, 0.01)]

LEVEL = straight(0, 0, 2, 0, handle="A")
AT_RIM = (RADIUS, -0.8, RADIUS, 0)

CLIMB = "1: 0 440 | 20 420 | climb"

CASES = {
    "turns by texts": ([*helix()[0], *leads()], helix()[1], 4 * TURN + 1.8, "1: 0 ? | 0 180 | "),
    "in another order": ([*helix(order=(2, 0, 3, 1))[0], *leads()], helix()[1], 4 * TURN + 1.8, "1: 0 ? | 0 180 | "),
    "an uneven climb": (*helix((0, 45, 95, 135, 190)), 4 * TURN, "1: 0 190 | 45 95 135 | "),
    "turns without heights": (helix()[0], [], ROUND, "1: ? |  | duplicate duplicate overlap flat-helix"),
    "drawn twice": ([LEVEL, straight(0, 0, 2, 0)], [text("0", 0), text("40", 2)], 2, "1: 0 40 |  | duplicate"),
    "circles by z": (circles(0.001, 0.046, 0.091, 0.136), [], 4 * ROUND, "4: 1 46 91 136 |  | turns"),
    "circles from 0": (circles(None, 0.1, 0.2), [], 3 * ROUND, "3: 0 100 200 |  | turns"),
    "turns as 3D polylines": ([spiral(turn) for turn in range(4)], [], 4 * ROUND, "1: 1 181 |  | "),
    "a helix in one, steeper from a turn on": ([steeper()], [], 3.25 * ROUND, "1: 0 329.9 | 75.4 | "),
    "three half turns": (turning(3), [], 2 + 1.5 * ROUND, "1: 0 80 | 0 20 60 80 | climb"),
    "six half turns": (turning(6), [], 2 + 3 * ROUND, "1: 0 200 | 0 20 180 200 | climb"),
    "five half turns down": (turning(5, down=True), [], 2 + 2.5 * ROUND, "1: 40 200 | 40 60 180 200 | climb"),
    "half turns drawn flat": (one_and_a_half(0, 0, 0), [], 2 + ROUND, "4: 90 90 ? ? |  | duplicate flat-helix"),
    "a circle drawn flat": (one_and_a_half(more=circles(None)), [], 2 + ROUND, "4: 90 90 ? ? |  | flat-helix"),
    "a circle drawn flat, by texts": (
        one_and_a_half(high=0, more=circles(None)),
        [label(words, -1, y, layer="HEIGHTS") for words, y in (("0", -RADIUS), ("90", RADIUS))],
        2 + ROUND,
        "4: 0 90 ? ? |  | flat-helix",
    ),
    "a circle between like heights": (
        one_and_a_half(high=0.01, more=circles(None)),
        [],
        2 + ROUND,
        "4: 10 10 ? ? |  | ",
    ),
    **{
        f"half turns between straights, at {heights}": (
            one_and_a_half(*heights),
            [],
            2 + 1.5 * ROUND,
            f"1: 0 90 | 0 {between}90 | climb",
        )
        for heights, between in [
            ((15, 45, 75), ""),
            ((30, 60, 90), "45 75 "),
            ((0, 30, 60), "15 45 "),
            ((0, 45, 90), "22.5 67.5 "),
        ]
    },
    "half turns with another lead": (
        one_and_a_half(15, 45, 75, low=0.001, more=[straight(-1, -RADIUS, 0, -RADIUS, z=[0.07] * 2, handle="M")]),
        [],
        3 + 1.5 * ROUND,
        "2: 1 45 70 90 | 1 30 70 90 | level-miss climb",
    ),
    "a way on without a height": (
        one_and_a_half(15, 45, 75, high=0),
        [],
        2 + 1.5 * ROUND,
        "2: 0 0 45 75 |  | level-miss climb",
    ),
    "one turn between straights": (
        [straight(-1, -RADIUS, 0, -RADIUS, z=[0.09] * 2), arc(-90, 90, 0.03)],
        [],
        1 + ROUND / 2,
        "2: 30 30 90 90 |  | level-miss",
    ),
    **{
        f"turns of {turn} degrees from {first}": (
            turned_on(first, turn),
            [],
            turn / 30 * ROUND,
            "1: 0 440 | 20 420 | climb",
        )
        for first, turn in [(0, 180), (37.3, 180), (211.7, 180), (10, 200), (0, 120), (0, 240), (0, 270), (15, 300)]
    },
    **{
        f"a lead in at {z}": (
            [*circles(0.0, 0.07, 0.14), straight(*AT_RIM, z=[z / 1000, z / 1000])],
            [],
            3 * ROUND + 0.8,
            f"4: {' '.join(map(str, sorted((0, 70, 140, z))))} |  | turns",
        )
        for z in (0, 70, 140)
    },
    "ends at two heights": (
        [straight(0, 0, 1, 0, z=[0.01, 0.01]), straight(1, 0, 2, 0, z=[0.09, 0.09], handle="2")],
        [],
        2,
        "2: 10 10 90 90 |  | level-miss",
    ),
    "z at the ends": ([straight(0, 0, 2, 0, z=[0.01, 0.05])], [], 2, "1: 10 50 |  | "),
    "z between, on an even climb and off it": (
        [polyline([(0, 0), (1, 0), (1.5, 0), (3, 0)], z=[0, 0.02, 0.03, 0.03])],
        [],
        3,
        "1: 0 30 | 30 | ",
    ),
    "no z at all": ([LEVEL], [], 2, "1: ? ? |  | "),
    "at 0 where other track has a height": ([LEVEL, UP], [], 4, "2: 0 0 30 50 |  | "),
    "level at 0 before a climb": ([LEVEL, straight(2, 0, 4, 0, z=[0.0, 0.04])], [], 4, "1: 0 40 | 0 | "),
    "flat between climbs": (
        [straight(0, 0, 2, 0, z=[0, 0.03]), straight(2, 0, 5, 0, handle="B"), straight(5, 0, 6, 0, z=[0.05, 0.06])],
        [],
        6,
        "1: 0 60 | 30 50 | ",
    ),
    "a flat branch from a climb": (
        [straight(0, 0, 4, 0, z=[0.04, 0.08]), flat_branch()],
        [],
        4 + math.pi / 6,
        "3: 40 55 80 ? |  | ",
    ),
    "what only crosses": ([straight(0, 0, 4, 0, z=[0.1, 0.1]), straight(2, -1, 2, 1)], [], 6, "2: 0 0 100 100 |  | "),
    "flat by a text": ([LEVEL, UP], [text("50", 2)], 4, "2: 30 50 50 ? |  | "),
}


@pytest.mark.parametrize("name", CASES)
def test_levels(name):
    strokes, labels, length, expected = CASES[name]
    drawn = assembled(strokes, labels)
    assert seen(drawn) == expected
    assert sum(line.length for line in drawn.lines.values()) == pytest.approx(length, rel=1e-3)


def test_the_plan_tells_that_track_was_drawn_flat():
    beyond_a_kink = straight(2, 0, 3, 0.5, handle="B")
    strokes = [LEVEL, beyond_a_kink, straight(8, 0, 9, 0, handle="C"), UP]
    assert seen(assembled(strokes, WHARF, given={"Wharf": 0.08})) == "4: 0 0 30 50 ? ? ? |  | kink zero"
    assert seen(assembled(strokes, WHARF, given={"Wharf": 0.0})) == "4: 0 0 0 0 30 50 ? |  | kink"


def test_track_in_space_at_zero_still_contradicts_the_plan():
    with pytest.raises(Problems, match="contradict"):
        assembled([straight(0, 0, 2, 0, z=[0.0, 0.05])], WHARF, given={"Wharf": 0.08})


def test_what_is_said_of_levels():
    apart = [straight(0, 0, 1, 0, z=[0.01, 0.01]), straight(1, 0, 2, 0, z=[0.09, 0.09], handle="2")]
    (miss,) = assembled(apart).faults
    assert miss.text == "ends meet in plan, but at heights of 10.0 mm and 90.0 mm: left unjoined"
    (turns,) = assembled(circles(None, 0.1, 0.2)).faults
    assert turns.text.startswith("3 circles lie over one another: draw the turns of a helix as a HELIX, ")
    (flat,) = assembled(one_and_a_half(more=circles(None))).faults
    assert flat.text == (
        "a level circle joins track at 0.0 mm and at 90.0 mm: may be a helix drawn flat: "
        "give each half turn its height, or write the helix as a line"
    )
    (climb,) = assembled(turning(3)).faults
    assert climb.text == "3 level pieces at rising heights, as turns of a helix, are read as one climb"
