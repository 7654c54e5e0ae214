"""Readings that contradict are said wherever a load or a verdict rests on them, in two lines at the most."""

from __future__ import annotations

import re
from itertools import islice

import pytest

from checked import check
from gradehaul.haulage.answers.readings import readings
from gradehaul.haulage.answers.trial_train import try_train
from gradehaul.live.answers import parts, stated
from gradehaul.plan import read_plan
from gradehaul.plan.edit.trial import TrialHeights
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.bench import readings_page
from gradehaul.show.check.load_card import load_card_figures, load_cards
from gradehaul.show.check.text import check_page
from gradehaul.show.check.trial_text import trial_page
from haulage.bench.tables import HILL, reading
from show.drawn import check_sheet

PLAN = f"""{HILL}loco.consolidation = {{ mass = "430 g", length = 250 }}
loco.mule = {{ mass = "300 g", length = 200 }}
train.coal = {{ route = "Up", consist = ["consolidation", "6 ore"] }}
"""
LOWER = reading("consolidation", '["66 gf", "68 gf", "67 gf", "65 gf", "67 gf"]')
BOTH = reading("consolidation", '["79 gf", "81 gf", "80 gf", "78 gf", "80 gf"]') + LOWER
FAR = reading("mule", '["104 gf", "107 gf", "105 gf", "150 gf", "106 gf"]')
UNITS = units_of("mm", force_unit="gf")
OF = "readings of consolidation on clean rail"
DOUBT = f"{OF}: reading 2 and reading 1 contradict, 66.6 gf and 79.6 gf; the lower counts"


@pytest.fixture(scope="module")
def plan():
    return read_plan(PLAN + BOTH + FAR)


@pytest.fixture(scope="module")
def answer(plan):
    return check(plan)


def one_line(text: str) -> str:
    return re.sub(r"\s+", " ", text)


def test_check_says_it_above_the_verdict_in_two_lines(answer):
    lines = check_page(answer, UNITS).text().splitlines()
    first = lines.index(next(line for line in lines if line.startswith("Look at this first")))
    assert one_line(" ".join(lines[first : first + 2])) == f"Look at this first: {DOUBT}"
    assert lines[first + 2].startswith("Look at this first: readings of mule on clean rail: 150 gf is far")
    assert first < next(n for n, line in enumerate(lines) if line.startswith("coal gets through"))
    assert f"Measure next: take {OF} again." in one_line("\n".join(lines))


def test_what_agrees_is_not_doubted():
    assert check(read_plan(PLAN + LOWER + LOWER)).doubts == ()


def test_both_figures_are_among_the_sources_and_the_readings(plan, answer):
    sources = one_line(check_page(answer, UNITS, more=["sources"]).text())
    assert f": 66.6 gf measured, mean of 5 readings;{DOUBT.partition(':')[2]}" in sources
    text = one_line(readings_page(readings(plan), UNITS).text())
    assert "66.6 gf (5 of 10)" in text
    assert f"1. take {DOUBT.replace(': ', ' again: ', 1)}" in text


def test_a_trial_train_says_it_of_its_own_locomotive_alone(plan):
    told, other = (
        one_line(trial_page(try_train(plan, "Up", [loco, "6 ore"]), UNITS).text()) for loco in ("consolidation", "mule")
    )
    assert f"Look at this first: {DOUBT} It" in told
    assert "consolidation" not in other
    assert "150 gf is far" in other


def test_the_card_says_to_read_again(answer):
    cards = {card.title: card for card in load_cards(answer)}
    assert cards["consolidation"].again == (f"Read again: {DOUBT}.",)
    with drawing_rules():
        for figure in load_card_figures(list(cards.values())):
            check_sheet(figure)


def test_the_live_page_has_it_before_its_slower_parts(plan):
    first = list(islice(parts(stated(plan), TrialHeights()), 4))
    assert [part["kind"] for part in first] == ["answer", "view", "heights", "doubts"]
    assert first[-1]["doubts"][0] == DOUBT
