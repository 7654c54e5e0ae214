"""Labels never overlap, whatever the board is given."""

import math
from itertools import combinations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.show.base.label_placing import Board, Box, crossed

ROOM = Box(0, 0, 100, 60)
sizes = st.tuples(st.floats(1, 30), st.floats(1, 10))
corners = st.lists(st.tuples(st.floats(-10, 100), st.floats(-10, 60)), min_size=1, max_size=5)


@given(st.lists(st.tuples(sizes, corners), max_size=15), st.floats(0, 3))
def test_no_two_labels_overlap(labels, gap):
    board = Board(gap=gap)
    for (width, height), places in labels:
        boxes = [Box(x, y, x + width, y + height) for x, y in places]
        taken = len(board.taken)
        chosen = board.place(boxes, room=ROOM)
        if chosen is None:  # only where there was really no place
            assert len(board.taken) == taken
            assert not any(box.within(ROOM) and board.free(box) for box in boxes)
        else:
            assert board.taken[-1] == boxes[chosen]
            assert boxes[chosen].within(ROOM)
    for one, other in combinations(board.taken, 2):
        assert not one.grown(0.999 * gap).meets(other)


def test_the_cheapest_free_place_is_taken():
    board = Board(gap=0)
    boxes = [Box(10 * k, 0, 10 * k + 9, 5) for k in range(4)]
    assert board.place(boxes, costs=[3, 1, math.inf, 1]) == 1
    assert board.place(boxes, costs=[3, 1, math.inf, 1]) == 3
    assert board.place(boxes, costs=[3, 1, math.inf, 1]) == 0
    assert board.place(boxes, costs=[3, 1, math.inf, 1]) is None


def test_boxes_that_touch_do_not_meet():
    assert not Box(0, 0, 1, 1).meets(Box(1, 0, 2, 1))
    assert Box(0, 0, 1, 1).meets(Box(0.9, 0.9, 2, 2))


def test_points_hidden():
    line = np.array([[0.0, 0.0], [1.0, 1.0], [2.0, 2.0], [3.0, 3.0]])
    assert crossed(Box(0.5, 0.5, 2.5, 1.5), line) == 1
