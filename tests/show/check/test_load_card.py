"""Load cards: what they tell, that nothing on them overlaps or is left out, and their files."""

from __future__ import annotations

import re
from functools import cache
from itertools import combinations

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from gradehaul.errors import PlanError
from gradehaul.haulage.answers.check import CheckAnswer, check
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.label_placing import Box
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.check.load_card import load_card_figures, load_card_picture
from gradehaul.show.check.load_rows import load_cards

STOCK = """
[rail.treated]
metal = { fresh = 0.75, settled = 0.85 }
tyred = { fresh = 0.50, settled = 0.65 }
"""


BERTHS = (
    """
[line.Back]
from = "Top"
to = "Far"
track = [
"""
    + "".join(f'  {{ straight = 9, berth = "Track {k} of the yard" }},\n' for k in range(12))
    + "]\n"
    + "".join(f'[route."Into {k}"]\nfrom = "Foot"\nto = "Track {k} of the yard"\n' for k in range(12))
)


@cache
def hill(*, routes: int, cars: tuple[str, ...] = ("ore",), loco: str = "mogul", more: str = "") -> CheckAnswer:
    """A hill with a berth at its foot, run over by any number of routes, all alike but for their long names."""
    text = f"""
scale = "HO"
unit = "in"
railhead.Foot = 0
[line.Main]
from = "Foot"
to = "Top"
track = [{{ straight = 40, berth = "Long quay with a long name" }}, {{ straight = 60, grade = "2 %" }}]
[loco."{loco}"]
mass = "300 g"
length = "8 in"
""" + "".join(f'[car."{car}"]\nlength = "5.5 in"\n' for car in cars)
    text += "".join(
        f'[route."Route {k} {"from one side of the room to the other " * (k % 3)}"]\nfrom = "Foot"\nto = "Top"\n'
        for k in range(routes)
    )
    return check(read_plan(text + more))


def labels(figure: Figure) -> list[tuple[str, Box]]:
    renderer = FigureCanvasAgg(figure).get_renderer()
    found = []
    for artist in figure.get_children():
        if isinstance(artist, Text) and artist.get_text():
            box = artist.get_window_extent(renderer)
            found.append((artist.get_text(), Box(box.x0, box.y0, box.x1, box.y1)))
    return found


PLANS = {
    "small": {"routes": 1},
    "many routes": {"routes": 23, "cars": ("ore", "flat")},
    "many cars": {"routes": 2, "cars": tuple(f"a car of kind {k} with a name as long as a train" for k in range(17))},
    "long names": {"routes": 3, "loco": "The heavy articulated locomotive of the mine " * 3, "cars": ("o" * 60,)},
    "hostile": {"routes": 2, "loco": "$x^2$ </svg> 🚂", "cars": ("מחצבה", "=1+1")},
    "many berths": {"routes": 1, "more": BERTHS},
    "films": {"routes": 2, "more": STOCK + STOCK.replace("treated", '"a film with quite a long name"')},
}


@pytest.mark.parametrize("name", PLANS)
def test_labels_never_overlap_and_lie_on_the_page(name):
    cards = load_cards(hill(**PLANS[name]))
    with drawing_rules():
        for figure in load_card_figures(cards):
            found = labels(figure)
            page = Box(0, 0, figure.bbox.width, figure.bbox.height)
            assert all(box.within(page) for _, box in found)
            for (one, box), (other, second) in combinations(found, 2):
                assert not box.meets(second), f"{one!r} meets {other!r}"


@pytest.mark.parametrize("name", PLANS)
def test_every_load_is_on_a_page(name):
    cards = load_cards(hill(**PLANS[name]))
    with drawing_rules():
        told = [text for figure in load_card_figures(cards) for text, _ in labels(figure)]
    cells = [cell for card in cards for block in card.blocks for row in block.rows for cell in row.cells]
    for wanted in {cell.rated + cell.mark for cell in cells} | {cell.limit for cell in cells}:
        expected = sum(wanted in (cell.rated + cell.mark, cell.limit) for cell in cells)
        assert told.count(wanted) == expected
    written = " ".join(told)
    for mark, place in {note for card in cards for note in card.marks.items()}:
        assert f"{mark} {place}" in written


def test_a_card_tells_the_loads(answer):
    (card,) = load_cards(answer)
    assert card.title == "mogul"
    assert card.rails == answer.rails
    assert [block.route for block in card.blocks] == [route.route.name for route in answer.routes]
    for block, route in zip(card.blocks, answer.routes, strict=True):
        for row in block.rows:
            for rail, cell in zip(card.rails, row.cells, strict=True):
                (load,) = [each for each in route.loads if (each.car, each.rail) == (row.car, rail)]
                assert cell.rated == str(load.told)
                assert cell.limit == f"/ {load.limit}"
                assert bool(cell.mark) == (load.told < load.rated)


def test_a_mark_says_what_is_full():
    (card,) = load_cards(
        hill(routes=1, more="[rail.none]\nmetal = { fresh = 1, settled = 1 }\ntyred = { fresh = 1, settled = 1 }\n")
    )
    marked = [cell for row in card.blocks[0].rows for cell in row.cells if cell.mark]
    assert {cell.mark for cell in marked} == {"*"}
    assert card.note() == 'No more fit: * berth "Long quay with a long name"'
    assert card.note(card.blocks[1:]) == ""


def test_a_load_that_runs_away_is_marked():
    answer = check(load_plan("plans/landing.toml"))
    (card,) = load_cards(answer)
    down = card.blocks[0].rows[0]
    assert (down.car, [cell.rated + cell.mark for cell in down.cells]) == ("log", ["10*", "10*!", "10*!"])
    assert card.note() == 'No more fit: * berth "Landing". ! so many run away downhill.'
    assert card.note(card.blocks[1:]) == 'No more fit: * berth "Landing"'


def test_a_page_for_each_card_and_for_what_does_not_fit():
    with drawing_rules():
        assert len(load_card_figures(load_cards(hill(routes=1)))) == 1
        assert len(load_card_figures(load_cards(hill(routes=39)))) == 3
        pages = load_card_figures(load_cards(hill(routes=23, cars=("ore", "flat"))))
        assert [any("goes on" in text for text, _ in labels(page)) for page in pages] == [False, True, True, True]


def test_files(answer):
    pdf = load_card_picture(answer, "pdf")
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Type /Page ") == len(load_cards(answer))
    assert load_card_picture(answer, "pdf") == pdf
    svg = load_card_picture(answer, "svg").decode()
    assert "mogul" in svg
    colors = set(re.findall(r"(?:fill|stroke): ?(#[0-9a-f]{6})", svg))
    assert colors <= {"#ffffff", "#1a1a1a", "#000000"}  # ink on paper
    assert load_card_picture(answer, "png").startswith(b"\x89PNG")


def test_a_plan_without_loads(undeclared_answer):
    assert load_cards(undeclared_answer) == ()
    with pytest.raises(PlanError, match="no loads to put on a card"):
        load_card_picture(undeclared_answer, "pdf")
