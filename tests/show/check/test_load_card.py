"""Load cards: their figures are those of the document, nothing overlaps or is left out, and four go on a sheet."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from matplotlib.lines import Line2D

from checked import check
from demos import answer_of
from gradehaul.errors import PlanError
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.plan import read_plan
from gradehaul.show.base.labels import cars_words
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.check.load_card import Card, load_card_figures, load_card_picture, load_cards
from show.drawn import check_sheet, drawn_texts, svg_texts

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
def hill(*, routes: int = 1, cars: tuple[str, ...] = ("ore",), loco: str = "mogul", more: str = "") -> CheckAnswer:
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


ODD = {
    "many routes": {"routes": 23, "cars": ("ore", "flat")},
    "many cars": {"routes": 2, "cars": tuple(f"a car of kind {k} with a name as long as a train" for k in range(17))},
    "long names": {"routes": 3, "loco": "The heavy articulated locomotive of the mine " * 3, "cars": ("o" * 60,)},
    "hostile": {"routes": 2, "loco": "$x^2$ </svg> 🚂", "cars": ("מחצבה", "=1+1")},
    "many berths": {"more": BERTHS},
    "films": {"routes": 2, "more": STOCK + STOCK.replace("treated", '"a film with quite a long name"')},
}

DEMOS = ("two-levels", "landing", "n-mountain", "switchback", "bench")


def expected_cells(answer: CheckAnswer, power: str) -> list[list[str]]:
    """Return the texts of each row of a card, worked out from the document alone; rows alike stand once."""
    found = answer.to_dict()
    rows: list[tuple[object, list[str]]] = []
    for route in found["routes"]:
        loads = [each for each in route["loads"] if each["power"] == power and each["rail"] in found["judged_rails"]]
        for engine in dict.fromkeys(each.get("engine") for each in loads):
            cells, bases = [], []
            for car in dict.fromkeys(each["car"] for each in loads):
                mine = [each for each in loads if (each["car"], each.get("engine")) == (car, engine)]
                by = ("holds_back", "told_cars", "rated_cars", "limit_cars")
                least = min(mine, key=lambda each: [each[key] for key in by])
                low, high = (held(least, least[f"rated_{end}"]) for end in ("low", "high"))
                cells.append(cars_words(held(least, least["rated_cars"])))
                cells += [f"({low}-{high})"] if low != high else []
                full = least["fits_cars"] <= least["rated_cars"]
                held_back = "downhill" if least["binds"] and least["binds"]["test"] == "hold" else ""
                limit = least["fits_by"].removeprefix("the ").split(" ")[0] if low == high else ""
                mark = limit if full else held_back
                cells += [mark] if mark else []
                bases.append((least["basis"], least["slipping_basis"]))
            weakest = [max((basis[k] for basis in bases), key=("stated", "measured", "scaled", "assumed").index)
                       for k in (0, 1)]  # fmt: skip
            if (weakest, cells) not in rows:
                rows.append((weakest, cells))
    return [cells for _, cells in rows]


def held(load: dict, count: int) -> int:
    return min(count, load["fits_cars"])


@pytest.mark.parametrize("name", DEMOS)
def test_its_figures_are_those_of_the_document(name):
    answer = answer_of(name)
    texts = svg_texts(load_card_picture(answer, "svg", date="2026-11-30"))
    titles = [
        index for index, text in enumerate(texts) if text in answer.plan.powers and texts[index + 1] == "2026-11-30"
    ]
    assert [texts[index] for index in titles] == list(answer.plan.powers)
    for begin, end in zip(titles, [*titles[1:], len(texts)], strict=True):
        shown = [
            t for t in texts[begin + 2 : end] if re.fullmatch(r"\d+|length|\(\d+-\d+\)|downhill|berth|tail|lap|loop", t)
        ]
        assert shown == [cell for row in expected_cells(answer, texts[begin]) for cell in row]
        words = " ".join(texts[begin:end])
        assert any(f"{basis}" in words for basis in ("measured", "scaled", "assumed"))


@cache
def texts_of(cards: tuple[Card, ...]) -> list[str]:
    with drawing_rules():
        return [text for figure in load_card_figures(cards) for text, _ in drawn_texts(figure)]


@pytest.mark.parametrize("name", ["n-mountain", *ODD])
def test_words_keep_to_the_sheet_and_never_overlap(name):
    cards = load_cards(answer_of(name) if name in DEMOS else hill(**ODD[name]))
    paper, size = ("letter", [11.0, 8.5]) if name in {"n-mountain", "many cars"} else ("a4", [11.69, 8.27])
    with drawing_rules():
        for figure in load_card_figures(cards, paper=paper):
            assert figure.get_size_inches().tolist() == size
            check_sheet(figure)


def test_marks_show_where_to_cut_at_both_ends_and_where_the_cuts_cross():
    """On a sheet for four cards, each mark 0.2 in long and 8.5 mm from the edge as all that is printed."""
    with drawing_rules():
        figure = load_card_figures(load_cards(answer_of("two-levels")))[0]
    wide, high = figure.get_size_inches()
    marks = [line.get_xydata() * (wide, high) for line in figure.findobj(Line2D)]
    marks = [mark for mark in marks if np.hypot(*(mark[-1] - mark[0])) == pytest.approx(0.2)]
    edge = 8.5 / 25.4
    for along, side in ((0, wide), (1, high)):
        places = [(edge, edge + 0.2), (side / 2 - 0.1, side / 2 + 0.1), (side - edge - 0.2, side - edge)]
        middle = (high, wide)[along] / 2
        own = sorted(tuple(mark[:, along]) for mark in marks if mark[:, 1 - along] == pytest.approx(middle))
        assert own == [pytest.approx(each) for each in places]


@pytest.mark.parametrize("name", ODD)
def test_every_load_is_on_a_card(name):
    cards = load_cards(hill(**ODD[name]))
    found = texts_of(cards)
    cells = [cell for card in cards for row in card.rows for cell in row.cells]
    for wanted in {cell.cars for cell in cells}:
        assert found.count(wanted) == sum(cell.cars == wanted for cell in cells)


def test_routes_without_room_are_counted():
    (card,) = cards = load_cards(hill(**ODD["many routes"]))
    words = " ".join(texts_of(cards))
    found = re.search(r"(Route 0.*); and (\d+) more", words)
    assert len(found[1].split("; ")) + int(found[2]) == len(card.rows[0].routes) == 23
    assert "…" not in words


def test_all_that_one_locomotive_needs_stands_on_one_card_and_four_cards_on_a_sheet():
    with drawing_rules():
        for name in DEMOS:
            cards = load_cards(answer_of(name))
            figures = load_card_figures(cards)
            assert len(figures) == -(-len(cards) // 4)
            words = [text for figure in figures for text, _ in drawn_texts(figure)]
            assert not any(re.search(r"\(\d of \d\)", text) for text in words)
            assert "date ____________" in words


def test_a_fifth_kind_of_car_shares_the_card_where_its_column_has_room_and_none_is_cut():
    for fifth, parted in (("caboose", False), ("refrigerator car of the old quarry", True)):
        cars = ("boxcar", "hopper", "loaded", "coach", fifth)
        words = texts_of(load_cards(hill(routes=2, cars=cars)))
        assert any("of 2)" in word for word in words) is parted
        assert [word for word in words if word in cars] == list(cars)


def test_a_heading_that_is_longer_than_the_others_takes_the_room_beside_it():
    cars = ("hopper", "refrigerator car", "coach", "boxcar")
    found = texts_of(load_cards(hill(routes=2, cars=cars)))
    assert [word for word in found if word in cars] == list(cars)
    assert not any("…" in word for word in found)


def test_a_load_that_a_descent_limits_is_marked():
    (card,) = load_cards(answer_of("landing", ("treated fresh",)))
    assert [(cell.cars, cell.mark) for cell in card.rows[0].cells][:1] == [("4", "downhill")]
    assert "Downhill: one more car and it runs away, pushing the locomotive." in card.note


LASHUP = """
title = "A lashup named one by one"
scale = "HO"
unit = "in"
railhead.Foot = 0
line.Hill = { from = "Foot", to = "Top", track = [{ straight = 200, grade = "2 %" }] }
[route.Up]
from = "Foot"
to = "Top"
[loco.goat]
mass = "300 g"
length = 6
pull.clean = "60 gf"
[loco.mule]
mass = "300 g"
length = 6
pull.clean = "50 gf"
[power.pair]
locos = ["goat", "mule"]
[power.twins]
locos = ["mule", "mule"]
[car.ore]
mass = "100 g"
length = 4
[train.apart]
route = "Up"
consist = ["mule", "goat", "5 ore"]
[train.named]
route = "Up"
consist = ["pair", "4 ore"]
[train.alone]
route = "Up"
consist = ["mule", "2 ore"]
[train.double]
route = "Up"
consist = ["2 mule", "5 ore"]
"""


def test_the_card_of_a_lashup_has_the_trains_that_name_its_locomotives_one_by_one():
    found = {card.title: " ".join(card.trains) for card in load_cards(check(read_plan(LASHUP)))}
    trains = {
        title: {name for name in ("apart", "named", "alone", "double") if re.search(rf"\b{name} ", words)}
        for title, words in found.items()
    }
    assert trains == {
        "goat": {"apart"}, "mule": {"apart", "alone", "double"}, "pair": {"apart", "named"}, "twins": {"double"},
    }  # fmt: skip


def test_files(answer):
    pdf = load_card_picture(answer, "pdf", date="2026-11-30")
    assert pdf.startswith(b"%PDF")
    assert pdf.count(b"/Type /Page ") == 1
    assert load_card_picture(answer, "pdf", date="2026-11-30") == pdf
    svg = load_card_picture(answer, "svg").decode()
    assert set(re.findall(r"(?:fill|stroke): ?(#[0-9a-f]{6})", svg)) <= {
        "#ffffff",
        "#1a1a1a",
        "#000000",
    }  # ink on paper
    assert load_card_picture(answer, "png").startswith(b"\x89PNG")


def test_a_plan_without_loads(undeclared_answer):
    assert load_cards(undeclared_answer) == ()
    with pytest.raises(PlanError, match="no loads to put on a card"):
        load_card_picture(undeclared_answer, "pdf")
