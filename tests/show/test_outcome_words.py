"""A verdict in sentences."""

from __future__ import annotations

from dataclasses import replace

from gradehaul.haulage.check import CheckAnswer
from gradehaul.haulage.verdict import Stretch
from gradehaul.show.reading_units import Reader
from gradehaul.show.report_words import apart, verdict_words

READER = Reader("in", "imperial")


def words(answer: CheckAnswer, name: str, rail: str, **changed) -> str:
    (train,) = [each for each in answer.trains if (each.name, each.rail) == (name, rail)]
    profile = next(route.profile for route in answer.routes if route.route.name == train.route)
    return verdict_words(replace(train.verdict, **changed), profile, READER)


def test_a_train_that_climbs(answer):
    told = words(answer, "short", "clean")
    assert told.startswith(
        "It gets through even if the wheels slip, with 1.61 ozf to spare where it is least, with its head at "
    )
    assert told.endswith("It can stop and start again anywhere. Downhill it holds back.")


def test_a_train_that_stalls(answer):
    told = words(answer, "morning", "treated fresh")
    assert told.startswith("It gets no further than with its head at ")
    assert "at the worst it lacks " in told
    assert "It asks more than it has from " in told


def test_a_marginal_train_is_told_where_to_take_care(answer):
    stretches = {"no_stopping": (Stretch(2.0, 3.0), Stretch(4.0, 4.0)), "no_recovery": (Stretch(1.0, 5.0),)}
    told = words(answer, "short", "clean", outcome="marginal", **stretches)
    assert "only as long as the wheels never slip" in told
    assert "It must not stop, since it would not start again, from 78.7 in to 118.1 in, " in told
    assert "; at 157.5 in, on " in told
    assert "It would not recover from a slip from 39.4 in to 196.9 in, " in told


def test_a_train_that_runs_away(answer):
    told = words(answer, "short", "clean", holds_back=False, runs_away_at=2.0)
    assert "Downhill it runs away: the cars push the locomotives, first with its head at 78.7 in on " in told
    assert "holds back" not in told


def test_names_written_from_the_right_keep_to_themselves():
    assert apart("מחצבה") == "\u2068מחצבה\u2069"
    assert apart("Quarry 2") == "Quarry 2"
