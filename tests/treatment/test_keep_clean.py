"""The keep-clean plan: held against every subset of tracks and the ordinary check, and against what it refuses."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from demos import layout_of
from gradehaul.errors import RouteError
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.verdict import worst
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.film import treat_page
from gradehaul.track.piecewise import PiecewiseQuadratic
from gradehaul.treatment.keep_clean import KeepCleanOptions, KeepCleanPlan, keep_clean_plan
from gradehaul.treatment.needs import _greatest_between
from treatment.plans import HILL, Line, lines

NO_CARRY = 0.0


def verdict_with(line: Line, treated: tuple[int, ...], need: str) -> bool:
    """Return whether the train gets its verdict, which is no worse than climbing where it climbs with no more film."""
    climbs = need == "climbs" or outcome_with(line, ()) == "climbs"
    return outcome_with(line, treated) in (("climbs",) if climbs else ("climbs", "marginal"))


@cache
def outcome_with(line: Line, treated: tuple[int, ...]) -> str:
    """Return what becomes of the train with rail keys in the plan, at the worse age of the film."""
    outcomes = []
    for condition in ("treated", "treated fresh"):
        own = {number: condition for number, rail in enumerate(line.rails) if rail}
        layout = Layout(read_plan(line.text(own | dict.fromkeys(treated, condition))))
        outcomes.append(layout.verdict("up", rail="as planned" if own or treated else "clean").outcome)
    return worst(outcomes)


def planned(line: Line, **asked: object) -> KeepCleanPlan:
    return keep_clean_plan(Layout(read_plan(line.text())), KeepCleanOptions(carry=NO_CARRY, **asked))  # type: ignore[arg-type]


def treated(found: KeepCleanPlan) -> tuple[int, ...]:
    return tuple(number for number, row in enumerate(found.rows) if row.use in ("film", "no effect"))


@settings(max_examples=12, deadline=None)  # `test_spread` holds the same with film that spreads
@given(lines(most=4), st.sampled_from(["climbs", "marginal"]))
def test_no_set_of_tracks_that_weighs_more_will_do(line: Line, need: str) -> None:
    found = planned(line, need=need)
    open_ = [number for number, rail in enumerate(line.rails) if rail is None]
    good = [
        some for count in range(len(open_) + 1) for some in combinations(open_, count) if verdict_with(line, some, need)
    ]
    if found.beyond:
        assert not good
        return
    best = max(sum(found.rows[n].unit.length for n in some) for some in good)
    chosen = treated(found)
    assert chosen in good
    assert sum(found.rows[n].unit.length for n in chosen) == pytest.approx(best, rel=1e-9)
    assert found.gap == 0


SLOPES = Line(
    tuple(f'straight = 2000, grade = "{g} %"' for g in (0, 0.5, 1, 1.5, 2)), ("mule", "9 ore"), (None,) * 5, ""
)


def test_the_film_goes_on_the_level_and_not_where_the_train_is_still_on_the_hill() -> None:
    found = planned(HILL)
    assert [row.use for row in found.rows] == ["film", "keep clean", "keep clean", "film"]
    forced = found.rows[1].reason
    assert forced is not None
    assert (forced.train, forced.test) == ("up", "slip")
    assert found.depends_on_carry
    (train,) = found.trains
    assert train.planned.outcome == "climbs"
    assert train.everywhere.outcome == "stalls"


TWO_FILMS = """
scale = "HO"
unit = "m"
railhead.A = 0
rail.x = { metal = { fresh = 0.6, settled = 0.7 }, tyred = { fresh = 0.4, settled = 0.5 } }
rail.y = { metal = { fresh = 0.9, settled = 0.8 }, tyred = { fresh = 0.7, settled = 0.9 } }
carry_over.length = 0.5
loco.mule = { mass = "300 g", length = 0.2, pull.clean = "60 gf" }
car.ore = { mass = "100 g", length = 0.15 }
route.Up = { from = "A", to = "B" }
train.ore = { route = "Up", consist = ["mule", "6 ore"] }
line.Hill = { from = "A", to = "B", track = [
  FIRST,
  { straight = 1, rise = 0, rail = "x" },
  { straight = 1.5, rise = 0.045, rail = "y" },
] }
"""


def test_film_everywhere_beside_another_film_is_as_check_has_it() -> None:
    """Wheels carry the film that is there onto the one that is asked for, too."""
    first = "{ straight = 2, rise = 0 }"
    (train,) = keep_clean_plan(Layout(read_plan(TWO_FILMS.replace("FIRST", first))), KeepCleanOptions(film="y")).trains
    treated = Layout(read_plan(TWO_FILMS.replace("FIRST", first.replace(" }", ', rail = "y" }'))))
    margins = [treated.verdict("ore", rail=rail).spare for rail in treated.planned]
    assert train.everywhere.verdict.spare == pytest.approx(min(margins))


def test_of_several_films_none_is_taken_unasked() -> None:
    """The films of a plan stand in the order of their tables, which says nothing of what is to be wiped on."""
    layout = Layout(read_plan(TWO_FILMS.replace("FIRST", "{ straight = 2, rise = 0 }")))
    with pytest.raises(RouteError, match=r'--film: track is planned for one film, got "x", "y"; write --film with one'):
        keep_clean_plan(layout, KeepCleanOptions())
    for film in "xy":
        found = keep_clean_plan(layout, KeepCleanOptions(film=film))
        assert set(found.rails.values()) <= {film, "clean"}
        words = treat_page(found, units_of("mm")).text()
        assert words.startswith(f'plan: where film "{film}" may go')


def test_film_does_not_go_where_it_would_let_a_train_run_away() -> None:
    layout = Layout(load_plan("plans/landing.toml"))
    found = keep_clean_plan(layout, KeepCleanOptions(trains=("loads",), need="marginal", carry=NO_CARRY))
    why = {row.unit.name: row.reason.test for row in found.rows if row.reason is not None}
    assert set(why.values()) == {"hold"}
    assert "Hill:5" in why
    assert found.length("film") > 0
    (train,) = found.trains
    assert train.planned.verdict.holds_back
    assert not train.everywhere.verdict.holds_back


def test_a_reserve_leaves_less_to_film() -> None:
    lengths = [planned(SLOPES, reserve=r).length("film") for r in (0.0, 0.1, 0.2)]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > lengths[-1]


def test_only_a_train_that_does_not_climb_on_clean_rail_may_be_marginal_with_the_film() -> None:
    assert planned(SLOPES, need="marginal").rows == planned(SLOPES).rows
    heavy = replace(SLOPES, consist=("mule", "13 ore"))
    assert outcome_with(heavy, ()) == "marginal"
    assert planned(heavy).beyond
    found = planned(heavy, need="marginal")
    assert found.length("film") > 0
    assert found.trains[0].planned.outcome == "marginal"
    # held back or not, what climbs now climbs then: with all its pull, which is more than the lesser need with less
    light = planned(SLOPES, need="marginal", reserve=0.1)
    assert light.trains[0].planned.outcome == "climbs"
    assert light.length("film") <= planned(SLOPES).length("film")


def test_the_weaker_of_fresh_and_settled_film_counts_whichever_it_is() -> None:
    told = 'clean = "75 gf", treated = "52 gf", "treated fresh" = "46 gf"'

    def with_film(settled: str, fresh: str) -> tuple[tuple[str, ...], float]:
        pulls = f'clean = "75 gf", treated = "{settled}", "treated fresh" = "{fresh}"'
        assert told in HILL.text()
        layout = Layout(read_plan(HILL.text().replace(told, pulls)))
        found = keep_clean_plan(layout, KeepCleanOptions(carry=NO_CARRY, need="marginal"))
        return tuple(row.use for row in found.rows), round(found.trains[0].everywhere.verdict.margin, 9)

    assert with_film("46 gf", "52 gf") == with_film("52 gf", "46 gf") == with_film("46 gf", "46 gf")
    assert with_film("52 gf", "52 gf") != with_film("46 gf", "46 gf")


@settings(max_examples=15, deadline=None)
@given(lines(most=4), st.sampled_from([6.0, 30.0]), st.sampled_from(["climbs", "marginal"]))
def test_film_at_one_age_is_film_that_never_ages(line: Line, hours: float, need: str) -> None:
    pull = 46 if hours < 12 else 52  # gf, of the mule on the film; the dray's is not read
    told = 'treated = "52 gf", "treated fresh" = "46 gf"'
    text = line.text().replace('"dray"', '"mule"').replace(" dray", " mule")
    assert told in text
    never = text.replace(told, f'treated = "{pull} gf", "treated fresh" = "{pull} gf"')
    asked = KeepCleanOptions(carry=NO_CARRY, need=need)  # type: ignore[arg-type]
    aged, alike = (
        keep_clean_plan(Layout(read_plan(text), hours=hours), asked),
        keep_clean_plan(Layout(read_plan(never)), asked),
    )
    assert [row.use for row in aged.rows] == [row.use for row in alike.rows]
    assert [place.test for place in aged.beyond] == [place.test for place in alike.beyond]
    assert [train.planned.outcome for train in aged.trains] == [train.planned.outcome for train in alike.trains]


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 16), st.sampled_from([0.05, 0.2, 0.35]), st.sampled_from(["climbs", "marginal"]))
def test_a_reserve_is_a_share_of_every_pull(cars: int, reserve: float, need: str) -> None:
    line = replace(HILL, consist=("mule", f"{cars} ore"))
    weaker = line.text()
    for pull in (75, 52, 46):
        weaker = weaker.replace(f'"{pull} gf"', f'"{pull * (1 - reserve)!r} gf"')
    held = planned(line, reserve=reserve, need=need)
    less = keep_clean_plan(Layout(read_plan(weaker)), KeepCleanOptions(carry=NO_CARRY, need=need))  # type: ignore[arg-type]
    if need == "climbs" or outcome_with(line, ()) != "climbs":  # else it keeps climbing with all of its pull
        assert [row.use for row in held.rows] == [row.use for row in less.rows]
    assert {place.test for place in held.beyond} == {place.test for place in less.beyond}


def hard_to_start(text: str) -> str:
    """Return a plan whose train never restarts, so that it is marginal on clean rail, too."""
    assert 'starting = "2.5 %"' in text
    return text.replace('starting = "2.5 %"', 'starting = "9 %"')


def test_a_search_without_time_gives_a_plan_that_holds_and_its_gap() -> None:
    line = Line(
        tuple(f'straight = {90 + 7 * k}, grade = "2.6 %"' for k in range(40)),
        ("mule", "16 ore", "mule"),
        (None,) * 40,
        "",
    )
    layout = Layout(read_plan(hard_to_start(line.text())))
    asked = KeepCleanOptions(carry=NO_CARRY, need="marginal")
    best, hasty = keep_clean_plan(layout, asked), keep_clean_plan(layout, asked, patience=0.0)
    assert best.gap == 0
    assert outcome_with(line, treated(hasty)) != "stalls"
    lengths = [found.length("film") + found.length("no effect") for found in (hasty, best)]
    assert lengths[0] <= lengths[1] + 1e-9
    assert hasty.gap > 0
    assert lengths[0] * (1 + hasty.gap) >= lengths[1] * (1 - 1e-6)


def test_film_that_pulls_better_goes_where_a_train_needs_it() -> None:
    told = 'clean = "75 gf", treated = "52 gf", "treated fresh" = "46 gf"'

    def with_pulls(clean: int, rested: int, fresh: int) -> KeepCleanPlan:
        pulls = f'clean = "{clean} gf", treated = "{rested} gf", "treated fresh" = "{fresh} gf"'
        layout = Layout(read_plan(HILL.text().replace(told, pulls)))
        return keep_clean_plan(layout, KeepCleanOptions(carry=0.5, need="marginal"))

    better = with_pulls(45, 60, 55)
    assert {row.use for row in better.rows} == {"film"}
    assert better.need_film == ("up",)
    assert better.trains[0].planned.outcome != "stalls"
    assert with_pulls(45, 60, 45).beyond  # on the first day it stalls
    assert not with_pulls(75, 80, 80).need_film


def test_steps_film_more_than_whole_tracks() -> None:
    line = Line(
        ('straight = 9000, grade = "0.3 %"', 'straight = 900, grade = "3 %"'), ("mule", "9 ore"), (None, None), ""
    )
    whole, fine = planned(line), planned(line, step=0.3)
    assert fine.length("film") > whole.length("film")
    assert max(row.unit.length for row in fine.rows) <= 0.3 + 1e-9
    assert sum(row.unit.length for row in fine.rows) == pytest.approx(9.9)


def test_film_that_is_there_stays() -> None:
    line = Line(HILL.tracks, ("mule", "3 ore"), (None, "treated", None, None), "")
    assert [row.use for row in planned(line).rows] == ["film", "has film", "film", "film"]


def test_film_that_is_there_on_the_hill_leaves_no_plan() -> None:
    found = planned(Line(HILL.tracks, HILL.consist, (None, "treated", None, None), ""))
    assert not found.rows
    assert {place.train for place in found.beyond} == {"up"}
    assert all(place.short > 0 for place in found.beyond)


def test_weights_decide_where_film_under_one_locomotive_trades_against_film_under_another() -> None:
    # one engine stands on the last track when the other stands on the first: only one of the two tracks can be treated
    line = Line(
        ('straight = 300, grade = "2.6 %"', 'straight = 1900, grade = "2.6 %"', 'straight = 400, grade = "2.6 %"'),
        ("mule", "16 ore", "mule"),
        (None, None, None),
        "",
    )
    text = hard_to_start(line.text())
    for first, last, uses in (
        (1, 1, ["keep clean", "film", "film"]),
        (30, 1, ["film", "film", "keep clean"]),
        (1, 30, ["keep clean", "film", "film"]),
    ):
        weighed = text.replace("straight = 300,", f"straight = 300, pickup = {first},")
        weighed = weighed.replace("straight = 400,", f"straight = 400, pickup = {last},")
        plan = keep_clean_plan(Layout(read_plan(weighed)), KeepCleanOptions(carry=NO_CARRY, need="marginal"))
        assert [row.use for row in plan.rows] == uses


def test_carry_keeps_what_is_near_clean() -> None:
    layout = Layout(read_plan(HILL.text()))
    for carry, ends in ((0.0, "film"), (2.0, "buffer")):
        found = keep_clean_plan(layout, KeepCleanOptions(carry=carry))
        assert [row.use for row in found.rows] == [ends, "keep clean", "keep clean", ends]
    fine = keep_clean_plan(layout, KeepCleanOptions(carry=2.0, step=0.5))
    assert fine.length("buffer") == pytest.approx(4.0, abs=0.51)


def test_film_that_is_there_within_carry_is_told() -> None:
    line = Line(HILL.tracks, HILL.consist, ("treated", None, None, None), "")
    found = keep_clean_plan(Layout(read_plan(line.text())), KeepCleanOptions(carry=2.0))
    assert [row.unit.name for row in found.at_risk] == ["Main:1"]


def test_a_plan_without_trains_is_refused() -> None:
    text = "\n".join(row for row in HILL.text().splitlines() if not row.startswith("train."))
    with pytest.raises(RouteError, match="no train is named"):
        keep_clean_plan(Layout(read_plan(text)))


def test_the_place_that_keeps_a_track_clean_is_told_on_its_track() -> None:
    text = Path("plans/switchback.toml").read_text(encoding="utf-8").replace('mass = "38 g"', 'mass = "70 g"')
    layouts = [
        Layout(read_plan(text)),
        Layout(load_plan("plans/landing.toml")),
        Layout(load_plan("plans/two-levels.toml")),
    ]
    seen = 0
    for layout in layouts:
        found = keep_clean_plan(layout, KeepCleanOptions(step=0.3, carry=NO_CARRY))
        for forced in [row.reason for row in found.rows if row.reason is not None]:
            track, along = forced.on.track, forced.on.along
            assert layout.plan.tracks[track].name == forced.track
            run = 0.0
            for way in layout.route(layout.plan.trains[forced.train].route).ways:
                length = layout.movements.lengths[way]
                here = run + (along if way.forward else length - along)
                if way.track == track and here == pytest.approx(forced.head, abs=1e-9):
                    break
                run += length
            else:
                raise AssertionError(forced)
            seen += 1
        for hardest in found.hardest:
            alike = [row.reason for row in found.rows if row.reason is not None]
            own = [each.short for each in alike if (each.train, each.test) == (hardest.train, hardest.test)]
            assert hardest.short == max(own)
    assert seen > 20


def test_two_locomotives_are_short_by_what_their_train_is_short_with_film_everywhere() -> None:
    found = keep_clean_plan(layout_of("n-mountain"), KeepCleanOptions())
    for train in found.trains:
        short = max(reason.short for reason in found.hardest if reason.train == train.name)
        assert short == pytest.approx(-train.everywhere.verdict.spare, rel=1e-6)


LAP = """
scale = "HO"
unit = "m"
railhead.A = 0
carry_over.length = 0
[line.Round]
from = "A"
to = "A"
track = [
  { straight = 1, grade = "4 %" RAIL0 },
  { left = 0.5, angle = 180, rise = -0.02 RAIL1 },
  { straight = 2, rise = -0.04 RAIL2 },
  { left = 0.5, angle = 180, rise = -0.02 RAIL3 },
  { straight = 1, grade = "4 %" RAIL4 },
]
[loco.mule]
mass = "300 g"
length = 0.2
pull = { clean = "0.8 N", treated = "FILM N" }
slipping = { clean = "0.8 N", treated = "FILM N" }
[car.ore]
mass = "100 g"
length = 0.1
rolling = "0.1 %"
starting = "0.1 %"
[route.Up]
lap = ["Round"]
[train.up]
route = "Up"
consist = ["mule", "10 ore"]
"""
"""The hill lies over both ends of the lap, and is longer than the train: it asks most with its head past the joint."""


@pytest.mark.parametrize("film", [0.4, 0.48, 0.5, 0.53, 0.6])
def test_a_locomotive_over_the_joint_of_a_lap_stands_on_the_track_behind(film: float) -> None:
    def layout(some: tuple[int, ...], condition: str = "treated") -> Layout:
        text = LAP.replace("FILM", repr(film))
        for number in range(5):
            text = text.replace(f" RAIL{number}", f', rail = "{condition}"' if number in some else "")
        return Layout(read_plan(text))

    def gets_by(some: tuple[int, ...]) -> bool:
        rail = "as planned" if some else "clean"
        settled, fresh = (layout(some, each).verdict("up", rail=rail) for each in ("treated", "treated fresh"))
        return all(each.outcome != "stalls" and each.holds_back for each in (settled, fresh))

    found = keep_clean_plan(layout(()), KeepCleanOptions(carry=NO_CARRY, need="marginal"))
    good = [some for count in range(6) for some in combinations(range(5), count) if gets_by(some)]
    chosen = treated(found)
    assert chosen in good
    longest = max(sum(found.rows[n].unit.length for n in some) for some in good)
    assert sum(found.rows[n].unit.length for n in chosen) == pytest.approx(longest)


@pytest.mark.parametrize(("length", "pull", "slips", "van"), [(104, 15, 14, ', "van"'), (100, 19, 16, "")])
def test_what_no_film_plan_can_help_is_named_where_check_names_it(length: int, pull: int, slips: int, van: str) -> None:
    """A hill of one grade in three straights: as far short all along it, and both name where that begins."""
    plan = read_plan(
        f"""scale = "N"
unit = "mm"
railhead = {{ A = 0, B = 20, C = 120 }}
line.Foot = {{ from = "A", to = "B", track = [{{ straight = 900 }}] }}
line.Hill = {{ from = "B", to = "C", track = [{{ straight = 700 }}, {{ straight = 800 }}, {{ straight = 500 }}] }}
loco.goat = {{ mass = "88 g", length = {length}, pull.clean = "{pull} gf", slipping.clean = "{slips} gf" }}
car.ore = {{ mass = "30 g", length = 86 }}
car.van = {{ mass = "17.3 g", length = 66 }}
route.Up = {{ from = "A", to = "C" }}
train.T = {{ route = "Up", consist = ["goat", "9 ore"{van}] }}
"""
    )
    layout = Layout(plan)
    (train,) = (each for each in check_layout(layout).trains if each.rail == "clean")
    beyond = {place.test: place for place in keep_clean_plan(layout).beyond}
    assert train.verdict.spare_by in beyond
    named = beyond[train.verdict.spare_by]
    assert (named.head, named.short) == (pytest.approx(train.verdict.spare_at), pytest.approx(-train.verdict.spare))
    assert {round(place.head, 6) for place in beyond.values()} == {round(train.verdict.spare_at, 6)}


def test_a_demand_between_places_that_are_one_but_for_rounding_is_somewhere() -> None:
    rising = PiecewiseQuadratic(np.array([0.0, 4.0]), np.zeros(1), np.ones(1), np.zeros(1))
    places = np.array([0.0, 2.4000000001, 2.4000000001000004, 4.0])
    greatest, at = _greatest_between(rising, places)
    assert np.isfinite(at).all()
    assert [greatest[0], greatest[2]] == pytest.approx([at[0], at[2]])
