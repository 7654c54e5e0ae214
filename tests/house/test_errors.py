"""Errors cross from process to process whole, as the pools and caches of other programs ask."""

import copy
import pickle

import pytest

from gradehaul.errors import PlanError, Problems, QuantityError

ONE = PlanError("no such track", file="hill.toml:3", place='line "Hill"', found='"Mian"', write='"Main"')


@pytest.mark.parametrize(
    "error", [ONE, QuantityError("this is not a length"), Problems([ONE, QuantityError("no grade")])]
)
@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda error: pickle.loads(pickle.dumps(error))])
def test_an_error_that_is_copied_or_sent_says_the_same(error, again):
    other = again(error)
    assert type(other) is type(error)
    assert str(other) == str(error)
