"""A load is the verdict's own answer: the longest train, against verdicts on trains of one car more each time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.outcome import FAILS
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train
from gradehaul.haulage.verdict import judge
from gradehaul.network.engine_moves import RunRound
from gradehaul.network.graph import Way
from gradehaul.plan import read_plan
from gradehaul.plan.rail_condition import PLANNED

MOST = 8
"""Cars; loads of more are only known to be more."""

# a way round the train in a dock
_ROUND = """
line."Side{0}" = {{ from = "A{0}", to = "B{0}", track = [{{ straight = 30 }}] }}
line."Stub{0}" = {{ from = "B{0}", to = "End{0}", track = [{{ straight = 5, rise = 0 }}] }}
turnout."A{0}" = {{ toe = "Neck{0}", legs = ["Quay{0}", "Side{0}"] }}
turnout."B{0}" = {{ toe = "Stub{0}", legs = ["Quay{0}", "Side{0}"] }}
"""


def zigzag(chance: Random) -> str:
    """Return a route of one to three legs over random grades and rails, with ways round the train in its docks."""

    def tracks(*lengths: float) -> str:
        grades, rails = ["-3 %", "0 %", "1 %", "3 %", "6 %"], ["clean", "treated"]
        return ", ".join(
            f'{{ straight = {one}, grade = "{chance.choice(grades)}", rail = "{chance.choice(rails)}" }}'
            for one in lengths
        )

    docks = chance.choice([0, 1, 1, 2, 2])
    text, rounds, quay = ["railhead.Foot = 0"], [], "{ straight = 30, rise = 0, "
    for number in range(docks):
        start, end = f"J{number - 1}" if number else "Foot", f"J{number}"
        onward = "Last" if number + 1 == docks else f"Up{number + 1}"
        around = chance.random() < 0.7
        rounds += [f'"Dock{number}"'] if around else []
        text.append(f"""
line.Up{number} = {{ from = "{start}", to = "{end}", track = [{tracks(0.8, 0.5, 0.7)}] }}
line.Neck{number} = {{ from = "{end}", to = "A{number}", track = [{tracks(1)}] }}
line.Quay{number} = {{ from = "A{number}", to = "B{number}", track = [{quay}berth = "Dock{number}" }}] }}
turnout.{end} = {{ toe = "Neck{number}", legs = ["Up{number}", "{onward}"] }}
{_ROUND.format(number) if around else ""}""")
    start = f"J{docks - 1}" if docks else "Foot"
    via = ", ".join(f'"Dock{number}"' for number in range(docks))
    text.append(f"""
line.Last = {{ from = "{start}", to = "Summit", track = [{tracks(0.4, 0.7, 0.5, 0.9, 0.3, 0.8)}] }}
[route.Up]
from = "Foot"
to = "Summit"
via = [{via}]
reversals = {docks}
{f"run_round = [{', '.join(rounds)}]" if rounds else ""}
""")
    return "\n".join(text)


def stock(chance: Random) -> str:
    """Return a power of one to three locomotives that differ in weight, length and pull, and a car."""
    text = []
    names = [f"l{number}" for number in range(chance.choice([1, 2, 2, 3]))]
    for name, mass in zip(names, chance.sample([120, 500, 1500], 3), strict=False):
        length, pull = chance.choice([0.9, 0.5, 0.1]), chance.choice([0.3, 0.7, 1.4])
        text.append(f"""
loco.{name} = {{ mass = "{mass} g", length = {length}, pull.clean = "{pull} N", pull.treated = "{0.6 * pull:g} N" }}""")
    listed = ", ".join(f'"{name}"' for name in chance.sample(names, len(names)))
    return f"""{"".join(text)}
power.P = {{ locos = [{listed}] }}
car.ore = {{ mass = "{chance.choice([90, 160])} g", length = {chance.choice([0.12, 0.3])} }}
"""


def turned(profile: RouteProfile) -> RouteProfile:
    """Return the profile with every way round such that locomotives reverse once on it."""
    legs = []
    for leg in profile.legs:
        rounds = tuple(None if way is None else replace(way, spurs=way.spurs[:1]) for way in leg.route.run_rounds)
        legs.append(replace(leg, route=replace(leg.route, run_rounds=rounds)))
    return replace(profile, legs=tuple(legs))


@pytest.mark.parametrize("seed", range(32))
def test_a_load_is_what_verdicts_on_ever_longer_trains_say(seed: int) -> None:
    chance = Random(seed)
    layout = Layout(read_plan(f'scale = "HO"\nunit = "m"\n{stock(chance)}{zigzag(chance)}'))
    plan, profile = layout.plan, layout.profile("Up")
    profile = turned(profile) if chance.random() < 0.3 else profile
    locos = [Block(plan.locos[name], 1) for name in plan.powers["P"].locos]
    for load in layout.loads(profile, "P", "ore", ("clean", *(rail for rail in layout.rails if rail in PLANNED))):
        outcomes = []
        for count in range(1, min(load.limit, MOST) + 2):
            blocks = (*locos, Block(plan.cars["ore"], count))
            train = Train(blocks if load.engine == "leading" else blocks[::-1], plan.powers["P"].together)
            outcomes.append(judge(profile, train, load.rail, layout.pulls).outcome)
        limit = next((n for n, outcome in enumerate(outcomes) if outcome in FAILS), None)
        rated = next((n for n, outcome in enumerate(outcomes) if outcome != "climbs"), None)
        assert (rated, limit) == tuple(n if n <= MOST else None for n in (load.rated, load.limit))


def engines_ahead(vehicles: Sequence[str]) -> int:
    return next((n for n, name in enumerate(vehicles) if not name.startswith("l")), len(vehicles))


@given(
    st.lists(st.sampled_from(["l1", "l2", "l3", "c1", "c2"]), unique=True, min_size=1),
    st.lists(st.sampled_from(["stay", "round", "turned"]), max_size=4),
)
def test_the_order_of_vehicles_is_that_of_vehicles_on_a_track(consist: list[str], reversals: list[str]) -> None:
    """Vehicles stand on a track from west to east; engines that run round move to the other end of it, as they are."""
    text = "".join(f'{name} = {{ mass = "100 g", length = 0.1, pull.clean = "1 N" }}\n' for name in ("l1", "l2", "l3"))
    text += "[car]\n" + "".join(f'{name} = {{ mass = "100 g", length = 0.1 }}\n' for name in ("c1", "c2"))
    plan = read_plan(f'scale = "HO"\nunit = "m"\n[loco]\n{text}')
    train = Train(tuple(Block((plan.locos | plan.cars)[name], 1) for name in consist))
    track, east = consist[::-1], True
    for way in reversals:
        east = not east
        if way == "stay" or engines_ahead(track) == len(track):
            continue
        if east:  # they headed west until now, so the engines that led are the westernmost
            count = engines_ahead(track)
            group, rest = track[:count], track[count:]
            track = [*rest, *(group if way == "round" else group[::-1])]
        else:
            count = engines_ahead(track[::-1])
            group, rest = track[len(track) - count :], track[: len(track) - count]
            track = [*(group if way == "round" else group[::-1]), *rest]
    spurs = {"round": (), "turned": (Way("Neck:1", forward=True),)}
    after = train.after(None if way == "stay" else RunRound(9.0, spurs[way]) for way in reversals)
    assert [block.vehicle.name for block in after.blocks] == (track[::-1] if east else track)
