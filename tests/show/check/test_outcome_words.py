"""A verdict in sentences."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import Misfit
from gradehaul.haulage.outcome import WORST_FIRST
from gradehaul.haulage.verdict import Stretch
from gradehaul.show.base.labels import apart
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import short_words, verdict_words

READER = UnitFormat("in", "imperial")


def words(answer: CheckAnswer, name: str, rail: str, misfits=(), **changed) -> str:
    (train,) = [each for each in answer.trains if (each.name, each.rail) == (name, rail)]
    profile = next(route.profile for route in answer.routes if route.route.name == train.route)
    return verdict_words(replace(train.verdict, **changed), misfits, profile, READER)


def test_a_train_that_climbs(answer):
    shown = words(answer, "short", "clean")
    assert shown.startswith(
        "It gets through even if the wheels slip, with 1.61 ozf to spare where it is least, with its head at "
    )
    assert shown.endswith("It can stop and start again anywhere. Downhill it holds back.")


def test_a_train_that_stalls(answer):
    shown = words(answer, "morning", "treated fresh")
    assert shown.startswith("It stalls with its head at ")
    assert "at worst it lacks " in shown
    assert "It needs more than it can pull from " in shown


def test_a_marginal_train_is_shown_where_to_take_care(answer):
    stretches = {"no_stopping": (Stretch(2.0, 3.0), Stretch(4.0, 4.0)), "no_recovery": (Stretch(1.0, 5.0),)}
    shown = words(answer, "short", "clean", climb="marginal", **stretches)
    assert "only while the wheels never slip" in shown
    assert "It must not stop, since it would not start again, from 78.7 in to 118.1 in, " in shown
    assert "; at 157.5 in, on " in shown
    assert "It would not recover from a slip from 39.4 in to 196.9 in, " in shown


def test_a_train_that_runs_away(answer):
    shown = words(answer, "short", "clean", running_away=(Stretch(2.0, 3.0), Stretch(4.0, 5.0)))
    assert shown.startswith("Downhill it runs away: the cars push the locomotives from 78.7 in to 118.1 in, Hill:1 ")
    assert "; from 157.5 in to 196.9 in, " in shown
    assert "holds back" not in shown


def test_a_train_that_fits_nowhere(answer):
    berth = Misfit('berth "Wharf"', "berth", 2.54, 1.27)
    siding = Misfit("the run-round in X", "run-round", 0.508, 0.254)
    shown = words(answer, "short", "clean", (berth, siding))
    assert shown.startswith(
        'It is 100.0 in long and does not fit berth "Wharf", which holds 50.0 in. '
        "Its locomotives are 20.0 in long and do not fit the run-round in X, which holds 10.0 in. It gets through "
    )


@pytest.mark.parametrize("worst", WORST_FIRST)
def test_a_few_words_begin_with_the_outcome(answer, worst):
    verdict = replace(answer.trains[0].verdict, running_away=(Stretch(2.0, 3.0),), runs_away_on="Hill:1")
    for words in short_words(worst, verdict, (Misfit("the lap", "lap", 2.0, 1.0),), READER):
        assert words.startswith(worst)
        assert "{" not in words


def test_names_written_from_the_right_keep_to_themselves():
    assert apart("מחצבה") == "\u2068מחצבה\u2069"
    assert apart("Quarry 2") == "Quarry 2"
