"""The range told of a load holds the truth as often as it says, with two predicted locomotives coupled."""

from __future__ import annotations

from load_coverage import covered


def test_the_range_of_a_load_holds_the_truth_in_nine_cases_of_ten_or_more():
    """30 of the 2,000 trials of the benchmark; at 93 % fewer than 23 hits come in one run of a thousand."""
    found = covered(30, seed=5)
    assert min(found) >= 23 / 30
