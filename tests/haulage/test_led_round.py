"""Trains whose locomotives run round them in a berth, against the same runs as routes of one leg each."""

from __future__ import annotations

import pytest

from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.views.section import long_section
from gradehaul.network.engine_moves import RunRound
from gradehaul.network.graph import Way
from gradehaul.treatment.helping import helps
from run_round_plan import plan, train


def names(given: Train) -> list[str]:
    return [f"{block.count} {block.vehicle.name}" for block in given.blocks]


def test_the_order_after_reversals_and_run_rounds() -> None:
    layout = Layout(plan(train("Mixed", "Up", "pair", "2 ore", "log", "goat")))
    round_, turning = RunRound(9.0, ()), RunRound(9.0, (Way("Loop:1", forward=True),))
    mixed = build_train(layout.plan, layout.plan.trains["Mixed"])
    assert names(mixed.after([])) == ["1 mule", "1 goat", "2 ore", "1 log", "1 goat"]
    assert names(mixed.after([None])) == ["1 goat", "1 log", "2 ore", "1 goat", "1 mule"]
    assert names(mixed.after([round_])) == ["1 goat", "1 mule", "1 goat", "1 log", "2 ore"]
    assert names(mixed.after([round_, None])) == ["2 ore", "1 log", "1 goat", "1 mule", "1 goat"]
    # pushed until then, its locomotives lead as it turns back
    assert names(mixed.after([round_, None, round_])) == names(mixed.after([round_]))
    # once reversed on the way, the locomotives come to the other end in the opposite order
    assert names(mixed.after([turning])) == ["1 mule", "1 goat", "1 goat", "1 log", "2 ore"]
    light = Train(mixed.blocks[:2])
    assert light.after([round_]) == light.after([None])


@pytest.mark.parametrize("consist", [("mule", "3 ore", "2 log"), ("pair", "2 log", "6 ore"), ("goat", "2 ore")])
@pytest.mark.parametrize("rail", ["clean", "treated", "as planned"])
def test_each_leg_is_judged_as_a_route_of_its_own(consist, rail) -> None:
    *power, first, second = consist if len(consist) == 3 else (consist[0], consist[1], "log")
    power_back = {"pair": ("goat", "mule")}.get(power[0], tuple(power))
    trains = (
        train("Mixed", "Up", *power, first, second),
        train("First", "In", *power, first, second),
        train("Second", "Out", *power_back, second, first),
    )
    layout = Layout(plan(*trains))
    whole, into, out = (layout.verdict(name, rail=rail) for name in ("Mixed", "First", "Second"))
    worst = ["climbs", "marginal", "stalls"]
    assert whole.outcome == max(into.outcome, out.outcome, key=worst.index)
    assert whole.margin == pytest.approx(min(into.margin, out.margin))
    assert whole.holds_back == (into.holds_back and out.holds_back)
    starts = layout.profile("Up").runs[1][1]
    assert [each.start for each in whole.no_stopping] == pytest.approx(
        [each.start + start for verdict, start in ((into, 0.0), (out, starts)) for each in verdict.no_stopping]
    )


def test_locomotives_too_long_for_the_room_beyond_do_not_fit() -> None:
    text = train("Mixed", "Up", "pair", "2 ore")
    found = check(plan(text, stub=0.3))
    note = (
        'train "Mixed": its locomotives are 0.35 m long and do not fit the run-round in berth "Dock", which holds 0.3 m'
    )
    assert note in map(str, found.notes)
    assert {(one.misfits[0].kind, one.misfits[0].available) for one in found.trains} == {("run-round", 0.3)}
    assert not any(one.misfits for one in check(plan(text, stub=0.36)).trains)
    layout = Layout(plan(stub=0.3))
    load = layout.longest_train("Up", "pair", "ore")
    assert (load.fits, load.fits_by, load.to_run) == (0, 'the run-round in berth "Dock"', 0)
    assert layout.longest_train("Up", "pair", "ore", engine="trailing").fits != 0
    assert layout.longest_train("Up", "mule", "ore").to_run > 0


def test_a_long_section_and_helpers_have_the_train_as_it_runs_there() -> None:
    trains = train("Mixed", "Up", "mule", "2 ore", "9 log"), train("Second", "Out", "mule", "9 log", "2 ore")
    layout = Layout(plan(*trains))
    section = long_section(layout, "Up, leg 2", train="Mixed")
    assert section.haul is not None
    assert names(section.haul.train) == ["1 mule", "9 log", "2 ore"]
    goat = [layout.plan.locos["goat"]]
    mixed, second = (build_train(layout.plan, layout.plan.trains[name]) for name in ("Mixed", "Second"))
    on_leg = [each for each in helps(layout, layout.profile("Up"), mixed, "treated", goat) if each.leg == 2]
    alone = helps(layout, layout.profile("Out"), second, "treated", goat)
    assert len(on_leg) == len(alone) == 2
    assert [(each.where, each.enough) for each in on_leg] == [(each.where, each.enough) for each in alone]
