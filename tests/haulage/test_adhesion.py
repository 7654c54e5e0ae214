"""Adhesion: where each pull comes from, in the order in which readings count."""

from __future__ import annotations

import pytest

from gradehaul.haulage.adhesion import GRAVITY, Pull, Pulls, weakest_basis
from gradehaul.plan import read_plan
from gradehaul.plan.records import Basis, Plan

HEAD = 'scale = "HO"\nunit = "m"\nrailhead.A = 0\nline.Main = { from = "A", to = "B", track = [{ straight = 1 }] }\n'
TWO_FILMS = """
rail.wax = { metal = { fresh = 0.6, settled = 0.8 }, tyred = { fresh = 0.4, settled = 0.5 } }
rail.oil = { metal = { fresh = 0.3, settled = 0.5 }, tyred = { fresh = 0.2, settled = 0.3 } }
"""
SETTLED, FRESH = 0.85, 0.75
"""What metal wheels keep on the film that is built in (common practice)."""


def plan_of(loco: str, films: str = "") -> Plan:
    return read_plan(HEAD + films + '[loco.mule]\nmass = "400 g"\nlength = 0.2\n' + loco)


def standing(plan: Plan, condition: str) -> Pull:
    return Pulls(plan).standing(plan.locos["mule"], condition)


def slipping(plan: Plan, condition: str) -> Pull:
    return Pulls(plan).slipping(plan.locos["mule"], condition)


def near(value: float, basis: Basis) -> tuple[object, Basis]:
    return pytest.approx(value, rel=1e-12), basis


def told(pull: Pull) -> tuple[object, Basis]:
    return pull.value, pull.basis


# Standing pull


ALL_READ = 'pull = { clean = "0.9 N", treated = "0.7 N", "treated fresh" = "0.5 N" }\n'
WEIGHT = 0.22 * 0.3 * GRAVITY
FILM_TWICE = 'pull = { clean = "5 N", wax = "7 N", "oil fresh" = "0.3 N" }\n'
OTHER_FILM = 'pull = { clean = "1.0 N", wax = "0.1 N", "wax fresh" = "0.1 N" }\n'


@pytest.mark.parametrize(
    ("loco", "condition", "pull", "basis"),
    [
        # a reading on the condition, whatever else was read; of several their mean
        (ALL_READ, "clean", 0.9, "measured"),
        (ALL_READ, "treated", 0.7, "measured"),
        (ALL_READ, "treated fresh", 0.5, "measured"),
        ('pull.clean = ["0.80 N", "0.86 N", "0.83 ± 0.02 N"]\n', "clean", 0.83, "measured"),
        # the same film at another age, before clean rail and another film
        ('pull = { clean = "9 N", treated = "0.7 N" }\n', "treated fresh", 0.7 * FRESH / SETTLED, "scaled"),
        ('pull = { clean = "9 N", "treated fresh" = "0.7 N" }\n', "treated", 0.7 * SETTLED / FRESH, "scaled"),
        (FILM_TWICE, "oil", 0.5, "scaled"),
        # clean rail times the share, before another film
        ('pull.clean = "0.9 N"\n', "treated", 0.9 * SETTLED, "scaled"),
        ('pull.clean = "0.9 N"\n', "treated fresh", 0.9 * FRESH, "scaled"),
        (OTHER_FILM, "oil", 0.5, "scaled"),
        (OTHER_FILM, "oil fresh", 0.3, "scaled"),
        # clean rail back from a film, settled before fresh
        ('pull.treated = "0.68 N"\n', "clean", 0.8, "scaled"),
        ('pull = { treated = "0.68 N", "treated fresh" = "0.9 N" }\n', "clean", 0.8, "scaled"),
        # another film, before an assumption
        ('pull.wax = "0.8 N"\n', "oil", 0.5, "scaled"),
        ('pull.wax = "0.8 N"\n', "oil fresh", 0.3, "scaled"),
        ('pull.wax = "0.8 N"\n', "wax fresh", 0.6, "scaled"),
        # the weight on drivers, where nothing was read, and where it was read slipping
        ('on_drivers = "300 g"\n', "clean", WEIGHT, "assumed"),
        ('on_drivers = "300 g"\n', "treated", WEIGHT * SETTLED, "assumed"),
        ('on_drivers = "300 g"\n', "treated fresh", WEIGHT * FRESH, "assumed"),
        ('on_drivers = "300 g"\nslipping.clean = "0.5 N"\n', "clean", WEIGHT, "assumed"),
    ],
)
def test_where_a_standing_pull_comes_from(loco: str, condition: str, pull: float, basis: Basis) -> None:
    plan = plan_of(loco, TWO_FILMS if "wax" in loco else "")
    assert told(standing(plan, condition)) == near(pull, basis)


# What others kept

OTHER = '[loco.{}]\nmass = "300 g"\nlength = 0.2\n{}pull = {{ {} }}\n'


def beside(loco: str, *others: tuple[str, str, str], films: str = "") -> Plan:
    return plan_of(loco + "".join(OTHER.format(*other) for other in others), films)


DIESEL = ("diesel", "", 'clean = "0.32 N", treated = "0.21 N"')


@pytest.mark.parametrize(
    ("loco", "clean", "basis"), [("", 0.22 * 0.4 * GRAVITY, "assumed"), ('pull.clean = "1 N"\n', 1.0, "scaled")]
)
def test_a_locomotive_keeps_no_more_on_a_film_than_others_alike(loco: str, clean: float, basis: Basis) -> None:
    plan = beside(loco, DIESEL)
    assert told(standing(plan, "clean"))[0] == pytest.approx(clean)
    assert told(standing(plan, "treated")) == near(clean * 0.21 / 0.32, basis)
    # on another day no more than the other is taken to keep then
    assert told(standing(plan, "treated fresh")) == near(clean * 0.21 / 0.32 * FRESH / SETTLED, basis)
    lower = ("goat", "", 'clean = ["0.5 N", "0.7 N"], treated = "0.5 N", "treated fresh" = "0.2 N"')
    plan = beside(loco, DIESEL, lower)
    assert told(standing(plan, "treated")) == near(clean * 0.21 / 0.32, basis)
    assert told(standing(plan, "treated fresh")) == near(clean * 0.2 / 0.6, basis)


@pytest.mark.parametrize(
    ("other", "films"),
    [
        (("diesel", 'on_tyres = "100 g"\n', DIESEL[2]), ""),  # other wheels
        (("diesel", 'on_tyres = "300 g"\n', DIESEL[2]), ""),
        (("diesel", "", 'treated = "0.21 N"'), ""),  # of what share, nobody knows
        (("diesel", "", 'clean = "0.32 N"'), ""),
        (("diesel", "", 'clean = "0.32 N", treated = "0.30 N"'), ""),  # it kept more
        (
            DIESEL,
            "rail.treated = { metal = { fresh = 0.75, settled = 0.85 }, tyred = { fresh = 0.5, settled = 0.65 } }\n",
        ),
    ],
)
def test_others_say_nothing_of_other_wheels_nor_against_a_share_that_is_stated(
    other: tuple[str, str, str], films: str
) -> None:
    assert told(standing(beside('pull.clean = "1 N"\n', other, films=films), "treated")) == near(SETTLED, "scaled")


def test_its_own_reading_on_the_film_counts_whatever_others_kept() -> None:
    plan = beside('pull = { clean = "1 N", treated = "0.8 N" }\n', DIESEL)
    assert told(standing(plan, "treated")) == near(0.8, "measured")
    assert told(standing(plan, "treated fresh")) == near(0.8 * FRESH / SETTLED, "scaled")
    plan = beside('pull.treated = "0.8 N"\n', DIESEL)
    assert told(standing(plan, "clean")) == near(0.8 / SETTLED, "scaled")


# Shares of locomotives with both kinds of wheels

MIXED = 'on_drivers = "300 g"\ndriven_wheels = 6\ntyred_wheels = 2\n'


def test_weight_on_tyres_is_by_count_of_wheels_unless_stated() -> None:
    assert standing(plan_of(MIXED), "clean").value == pytest.approx((0.22 * 0.2 + 0.40 * 0.1) * GRAVITY)
    stated = plan_of(MIXED + 'on_tyres = "150 g"\n')
    assert standing(stated, "clean").value == pytest.approx((0.22 * 0.15 + 0.40 * 0.15) * GRAVITY)


def test_a_mixed_locomotive_is_scaled_and_assumed_by_its_own_share() -> None:
    settled = (0.22 * 0.2 * 0.85 + 0.40 * 0.1 * 0.65) / (0.22 * 0.2 + 0.40 * 0.1)
    fresh = (0.22 * 0.2 * 0.75 + 0.40 * 0.1 * 0.50) / (0.22 * 0.2 + 0.40 * 0.1)
    read = plan_of(MIXED + 'pull.clean = "0.9 N"\n')
    assert told(standing(read, "treated")) == near(0.9 * settled, "scaled")
    aged = plan_of(MIXED + 'pull.treated = "0.6 N"\n')
    assert told(standing(aged, "treated fresh")) == near(0.6 * fresh / settled, "scaled")
    unread = plan_of(MIXED)
    assert told(standing(unread, "clean")) == near((0.22 * 0.2 + 0.40 * 0.1) * GRAVITY, "assumed")
    # what each kind of wheel keeps of what it gives
    expected = (0.22 * 0.2 * 0.75 + 0.40 * 0.1 * 0.50) * GRAVITY
    assert told(standing(unread, "treated fresh")) == near(expected, "assumed")


# Slipping pull


SLIPPING_READ = 'pull.clean = "0.9 N"\nslipping = { clean = ["0.60 N", "0.62 N"], treated = "0.3 N" }\n'
ON_CLEAN = 'pull = { clean = ["0.8 N", "1.0 N"], treated = "0.6 N" }\nslipping.clean = "0.63 N"\n'
ON_FILM = 'pull = { clean = "1 N", "treated fresh" = "0.6 N" }\nslipping."treated fresh" = "0.3 N"\n'
ON_BOTH = (
    'pull = { clean = "1 N", treated = "0.8 N", "treated fresh" = "0.6 N" }\n'
    'slipping = { clean = "0.9 N", treated = "0.4 N" }\n'
)
ON_ANOTHER = 'pull = { clean = "1 N", wax = "0.8 N" }\nslipping = { clean = "0.9 N", wax = "0.4 N" }\n'
NOT_STANDING = 'pull.clean = "1 N"\nslipping.treated = "0.4 N"\n'


@pytest.mark.parametrize(
    ("loco", "condition", "pull", "basis"),
    [
        # a slipping reading on the condition
        (SLIPPING_READ, "clean", 0.61, "measured"),
        (SLIPPING_READ, "treated", 0.3, "measured"),
        # on film the standing pull times the clean ratio and the fall of a film, not above what it is without the
        # reading, where that shows the usual share: 0.6 of the standing pull
        (ON_CLEAN, "treated", 0.6 * 0.7 * 0.6 / 0.75, "scaled"),
        (ON_CLEAN, "treated fresh", 0.6 * FRESH / SETTLED * 0.7 * 0.8, "scaled"),
        # the ratio of a film serves clean rail; that of the same film counts before that of clean rail, and this before
        # that of another film
        (ON_FILM, "clean", 0.5, "scaled"),
        (ON_BOTH, "treated fresh", 0.3, "scaled"),
        (ON_ANOTHER, "oil", 0.5 * 0.9 * 0.8, "scaled"),
        # a slipping reading without its standing one makes no ratio
        (NOT_STANDING, "clean", 0.75, "assumed"),
        (NOT_STANDING, "treated fresh", 0.75 * 0.6, "assumed"),
    ],
)
def test_where_a_slipping_pull_comes_from(loco: str, condition: str, pull: float, basis: Basis) -> None:
    plan = plan_of(loco, TWO_FILMS if "wax" in loco else "")
    assert told(slipping(plan, condition)) == near(pull, basis)


@pytest.mark.parametrize(("condition", "ratio"), [("clean", 0.75), ("treated", 0.6), ("treated fresh", 0.6)])
def test_without_a_ratio_slipping_is_assumed(condition: str, ratio: float) -> None:
    plan = plan_of('pull = { clean = "1 N", treated = "0.8 N" }\n')
    assert told(slipping(plan, condition)) == near(standing(plan, condition).value * ratio, "assumed")
    unread = plan_of("")
    assert told(slipping(unread, condition)) == near(standing(unread, condition).value * ratio, "assumed")


# Conditions and bases


def test_the_weakest_basis_is_the_least_certain() -> None:
    assert weakest_basis(["measured"]) == "measured"
    assert weakest_basis(["measured", "assumed", "scaled"]) == "assumed"
    assert weakest_basis(["scaled", "stated"]) == "scaled"
    assert weakest_basis(["stated", "measured"]) == "stated"
