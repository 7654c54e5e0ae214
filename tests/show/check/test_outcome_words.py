"""An outcome in a few words."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gradehaul.haulage.answers.judged import Misfit
from gradehaul.haulage.verdict import WORST_FIRST, HeadStretch
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import short_words

READER = UnitFormat("in", "imperial")


@pytest.mark.parametrize("worst", WORST_FIRST)
def test_a_few_words_begin_with_the_outcome(answer, worst):
    verdict = replace(answer.trains[0].verdict, running_away=(HeadStretch(2.0, 3.0),), runs_away_on="Hill:1")
    for words in short_words(worst, verdict, (Misfit("the lap", "lap", 2.0, 1.0),), READER):
        assert words.startswith(worst)
        assert "{" not in words
