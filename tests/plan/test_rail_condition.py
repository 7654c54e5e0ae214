"""A rail condition is read from its name and written as it was read."""

from hypothesis import given
from hypothesis import strategies as st

from gradehaul.plan.rail_condition import CLEAN, PLANNED, RailCondition, ages, conditions

FILMS = st.text(min_size=1).filter(lambda name: name != CLEAN and not name.endswith(" fresh"))


@given(st.text())
def test_any_name_is_written_as_it_was_read(name):
    assert RailCondition.named(name).name == name


@given(FILMS, st.booleans())
def test_a_condition_is_read_as_it_was_written(film, fresh):
    condition = RailCondition(film, fresh=fresh)
    assert RailCondition.named(condition.name) == condition
    assert condition.on_first_day.name == f"{film} fresh"
    assert condition.rested.name == film


def test_clean_rail_has_no_film_and_no_age():
    clean = RailCondition.named("clean")
    assert clean.film is None
    assert clean.on_first_day == clean.rested == clean


def test_a_film_is_rested_from_twelve_hours_on():
    wax = RailCondition("wax")
    assert [wax.at(hours).fresh for hours in (0.0, 11.9, 12.0, None)] == [True, True, False, False]


def test_names():
    assert PLANNED == ("as planned", "as planned fresh")
    assert ages("wax") == ("wax", "wax fresh")
    assert conditions(["wax", "oil"]) == ("clean", "wax", "wax fresh", "oil", "oil fresh")
