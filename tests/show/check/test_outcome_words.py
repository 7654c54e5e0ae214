"""An outcome in a few words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gradehaul.haulage.answers.judged import Misfit
from gradehaul.haulage.verdict import WORST_FIRST, HeadStretch
from gradehaul.scales import scale_named
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import fouled_words, short_words
from gradehaul.track.proximity.fouling import Fouling

READER = UnitFormat("in", "imperial")


@pytest.mark.parametrize("worst", WORST_FIRST)
def test_a_few_words_begin_with_the_outcome(answer, worst):
    verdict = replace(answer.trains[0].verdict, running_away=(HeadStretch(2.0, 3.0),), runs_away_on="Hill:1")
    for words in short_words(worst, verdict, (Misfit("the lap", "lap", 2.0, 1.0),), READER):
        assert words.startswith(worst)
        assert "{" not in words


def test_what_ends_a_clear_length_says_what_trains_need_on_curves_and_on_straight_track():
    scale = scale_named("HO")
    words = fouled_words([Fouling("Main", 0.0, 0.0559), Fouling("Lead", 0.03, scale.fouling_distance)], scale, READER)
    straight = READER.length(scale.fouling_distance, fine=True)
    assert words == (
        f"fouls Main, which it meets; to pass, trains need 2.20 in between track centers on the curves there, "
        f"{straight} on straight track; fouls Lead, 1.2 in away; to pass, trains need {straight} between track centers"
    )
