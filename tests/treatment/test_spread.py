"""Film that spreads: held against every subset of tracks or stretches, on lines, forks, wyes and switchbacks.

What wheels reach is found here by a search of the tests' own, and a plan is good where the ordinary verdict holds with
film on all of what is wiped, on all that it reaches, and on any part of what lies between, rested and fresh.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain, combinations, pairwise
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import Phase, example, given, settings
from hypothesis import strategies as st

from gradehaul.haulage.answers.judged import judged_trains, worst_of_each
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train, build_train
from gradehaul.haulage.verdict import judge
from gradehaul.network.film_spread import turning_places
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.trial import TrialHeights, tried
from gradehaul.plan.rail_condition import PLANNED
from gradehaul.treatment.keep_clean import KeepCleanOptions, KeepCleanPlan, keep_clean_plan, treated_plan
from gradehaul.treatment.units import Units, lay_units, with_rails
from project import PLANS
from treatment.plans import treated_rails

PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
EXAMPLES = int(os.environ.get("GRADEHAUL_FILM_EXAMPLES", "6"))
LINES = {
    "line": {"Main": ("A", "B", 2, 8)},
    "fork": {"Trunk": ("A", "Fork", 1, 3), "Left": ("Fork", "B", 1, 3), "Right": ("Fork", "C", 1, 2)},
    "wye": {
        "In": ("A", "J", 1, 2),
        "West": ("J", "K", 1, 1),
        "East": ("J", "L", 1, 1),
        "Base": ("K", "L", 1, 1),
        "Out": ("K", "B", 1, 2),
        "Tail": ("L", "C", 1, 1),
    },
    "switchback": {"Bottom": ("A", "J", 1, 3), "Top": ("J", "B", 1, 3), "Tail": ("J", "C", 1, 2)},
}
RESTS = {
    "line": ['route.Up = { from = "A", to = "B" }', 'route.Down = { from = "B", to = "A" }'],
    "fork": [
        'turnout.Fork = { toe = "Trunk", legs = ["Left", "Right"] }',
        'route.Up = { from = "A", to = "B" }',
        'route.Down = { from = "C", to = "A" }',
    ],
    "wye": [
        'turnout.J = { toe = "In", legs = ["West", "East"] }',
        'turnout.K = { toe = "Out", legs = ["West", "Base"] }',
        'turnout.L = { toe = "Tail", legs = ["East", "Base"] }',
        'route.Up = { from = "A", to = "B", via = ["West"] }',
        'route.Down = { from = "A", to = "B", via = ["East", "Base"], reversals = 1 }',
    ],
    "switchback": [
        'turnout.J = { toe = "Tail", legs = ["Bottom", "Top"] }',
        'route.Up = { from = "A", to = "B", reversals = 1 }',
        'route.Down = { from = "B", to = "A", reversals = 1 }',
    ],
}


LOCOS = {"mule": 'mass = "300 g", length = 180', "dray": 'mass = "420 g", length = 240'}
CONSISTS = (
    '"mule", "{} ore", "mule", "1 ore"',
    '"mule", "{} ore"',
    '"mule", "dray", "{} ore"',
    '"mule", "{} ore", "dray"',
)


curve_costs = st.sampled_from(
    [
        "",
        "curve_resistance.starting = 2",
        "curve_resistance.tension = 0.03",
        "curve_resistance = { starting = 2, tension = 0.03 }",
    ]
)


@dataclass(frozen=True)
class Case:
    """A plan as text, what `treat` has to keep to, and how locomotives pull on film against clean rail."""

    text: str
    carry: float
    step: float | None
    need: str
    better: bool
    """Whether film pulls better than clean rail for some locomotive."""
    mixed: bool
    """Whether, with film of one age, it pulls better for one locomotive and worse for another."""


@st.composite
def cases(draw: st.DrawFn, kind: str) -> Case:
    """Draw a case: few cars where trains reverse, so that they fit the tail."""
    reverses = kind in ("wye", "switchback")
    step = draw(st.sampled_from([None, None, 0.35]))
    rows = ['scale = "HO"\nunit = "mm"\nrailhead.A = 0\nvertical_curve.length = 0']
    whole = step is None
    left, steepest = 8, 0.0
    for name, (start, stop, least, most) in LINES[kind].items():
        tracks = []
        for _ in range(draw(st.integers(least, most if whole else least))):
            long = name == "Tail"
            length = draw(st.integers(1400, 1900) if long else st.integers(120, 900))
            if step is not None and left < 8 - len(LINES[kind]) and not long:
                length = min(length, 340)
            left -= 1
            grade = draw(st.sampled_from([-1.0, 0.0, 0.0, 1.0, 2.0, 3.0]))
            steepest = steepest if kind == "wye" else max(steepest, grade)
            rail = draw(st.sampled_from(["", "", "", "", "", ', rail = "treated"']))
            level = ", rise = 0" if kind == "wye" else f', grade = "{grade} %"'
            bent = kind != "wye" and draw(st.booleans())  # a wye of curves would have to close
            shape = f"left = {draw(st.integers(350, 800))}, length" if bent else "straight"
            pickup = draw(st.sampled_from(["", "", "", ", pickup = 3"]))
            tracks.append(f"{{ {shape} = {length}{level}{rail}{pickup} }}")
        rows.append(f'line.{name} = {{ from = "{start}", to = "{stop}", track = [{", ".join(tracks)}] }}')
    rows += RESTS[kind]
    rows.append(draw(curve_costs))
    names = draw(st.sampled_from([["Up"], ["Up", "Down"]]))
    trains = [
        (
            name,
            draw(st.integers(1, 5 if reverses else 12)),
            draw(st.sampled_from(CONSISTS[1:] if reverses else CONSISTS)),
        )
        for name in names
    ]
    _, cars, consist = trains[0]
    engines = consist.count("mule") + consist.count("dray")
    pull = (2.0 * cars + (cars + 3.6 * engines) * steepest) / (0.9 * 0.75 * engines)  # gf, where wheels slip
    signs = []
    least, most = draw(st.sampled_from([(50, 99), (50, 99), (50, 99), (70, 130), (126, 150)]))
    for name, keys in LOCOS.items():
        clean = round(pull * draw(st.integers(95, 140)) / 100, 1)
        films = [round(clean * draw(st.integers(least, most)) / 100, 1) for _ in range(2)]
        rows.append(
            f'loco.{name} = {{ {keys}, pull = {{ clean = "{clean} gf", treated = "{films[0]} gf", '
            f'"treated fresh" = "{films[1]} gf" }} }}'
        )
        signs.append([(film > clean, 0.6 * film > 0.75 * clean) for film in films])
    rows.append('car.ore = { mass = "100 g", length = 140, rolling = "2.0 %", starting = "2.5 %" }')
    rows += [f'train.{name} = {{ route = "{name}", consist = [{own.format(count)}] }}' for name, count, own in trains]
    carry = draw(st.sampled_from([0.0, 0.05, 0.2, 0.5, 1.5]))
    need = draw(st.sampled_from(["climbs", "marginal"]))
    mixed = any("dray" in own for *_, own in trains) and any(one != two for one, two in zip(*signs, strict=True))
    return Case("\n".join(rows), carry, step, need, any(any(pair) for own in signs for pair in own), mixed)


def reach_of(layout: Layout, units: Units, carry: float) -> list[frozenset[int]]:
    """Return the units onto which wheels carry film from each unit, itself among them."""
    longest = max(build_train(layout.plan, named).length for named in layout.plan.trains.values())
    spurs = [
        spur for route in layout.routes for t in route.tails if t.run_round is not None for spur in t.run_round.spurs
    ]
    turning = turning_places(units.stretches, layout.movements, longest, spurs)
    walk: nx.DiGraph[tuple[str, int, bool]] = nx.DiGraph()  # a wheel comes onto a unit, runs over it, and goes off it
    for way in layout.movements.graph:
        order = units.stretches.on_way(way)
        for number in order:
            walk.add_edge(("on", number, way.forward), ("off", number, way.forward), weight=units.all[number].length)
            if (number, way.forward) in turning:
                walk.add_edge(("on", number, way.forward), ("off", number, not way.forward), weight=0.0)
        for one, two in pairwise(order):
            walk.add_edge(("off", one, way.forward), ("on", two, way.forward), weight=0.0)
    for one, two in layout.movements.graph.edges:
        ends = units.stretches.on_way(one)[-1], units.stretches.on_way(two)[0]
        walk.add_edge(("off", ends[0], one.forward), ("on", ends[1], two.forward), weight=0.0)
    found = []
    for number in range(len(units.all)):
        starts = [("off", number, forward) for forward in (True, False) if ("off", number, forward) in walk]
        far = nx.multi_source_dijkstra_path_length(walk, starts, cutoff=carry)
        found.append(frozenset({number} | {n for (side, n, _), run in far.items() if side == "on" and run < carry}))
    return found


def subsets(numbers: list[int]) -> Iterator[frozenset[int]]:
    return map(frozenset, chain.from_iterable(combinations(numbers, k) for k in range(len(numbers) + 1)))


class Judged:
    """The ordinary verdict on all trains of a case, with film on some units beside the film of the plan."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.layout = Layout(read_plan(case.text))
        self.units = lay_units(self.layout, case.step)
        self.has = {number: unit.film for number, unit in enumerate(self.units.all) if unit.film is not None}
        self.open = [number for number in range(len(self.units.all)) if number not in self.has]
        self.reach = reach_of(self.layout, self.units, case.carry)
        self._known: dict[tuple[frozenset[int], tuple[bool, ...]], bool] = {}
        self._must: dict[frozenset[int], tuple[bool, ...]] = {}
        self.runs = [
            (self.layout.profile(t.route), build_train(self.layout.plan, t)) for t in self.layout.plan.trains.values()
        ]

    def good(self, film: frozenset[int], there: frozenset[int] = frozenset()) -> bool:
        """Whether all trains get their verdicts and hold back, where those that climb with film `there` still climb."""
        if there not in self._must:
            self._must[there] = tuple(
                self.case.need == "climbs" or self._gets(run, there, {"climbs"}) for run in self.runs
            )
        key = film, self._must[there]
        if key not in self._known:
            self._known[key] = all(
                self._gets(run, film, {"climbs"} if must else {"climbs", "marginal"})
                for run, must in zip(self.runs, key[1], strict=True)
            )
        return self._known[key]

    def _gets(self, run: tuple[RouteProfile, Train], film: frozenset[int], outcomes: set[str]) -> bool:
        """Whether a train comes to one of some outcomes at both ages of the film."""
        profile, train = run
        own = with_rails(profile, self.units, treated_rails(self.units, film))
        return all(judge(own, train, rail, self.layout.pulls).outcome in outcomes for rail in PLANNED)

    def spread(self, wiped: frozenset[int], there: frozenset[int]) -> frozenset[int]:
        return frozenset().union(there, *(self.reach[number] for number in wiped)).difference(self.has)

    def holds(self, wiped: frozenset[int], there: frozenset[int]) -> bool:
        """Whether all is well from the wiping to the end of the spreading, whatever the film reaches first."""
        last = self.spread(wiped, there)
        if not self.case.better:
            return self.good(last, there)
        return all(self.good(wiped | some, there) for some in subsets(sorted(last - wiped)))

    def weight(self, wiped: frozenset[int]) -> float:
        return sum(self.units.all[number].weight for number in wiped)


def check(case: Case) -> str:
    """Hold the plan for a case against every subset; return what it comes to."""
    judged = Judged(case)
    found = keep_clean_plan(judged.layout, KeepCleanOptions(need=case.need, carry=case.carry, step=case.step))  # type: ignore[arg-type]
    order = sorted(subsets(judged.open), key=lambda some: (-judged.weight(some), sorted(some)))
    onward = judged.spread(frozenset(judged.has), frozenset())
    best = None
    for there in (onward, frozenset[int]()):
        best = next((some for some in order if judged.holds(some, there)), None)
        if best is not None:
            break
    if best is None:
        assert found.beyond
        assert not found.rows
        return "none"
    if found.beyond and case.mixed:
        return "mixed"
    assert not found.beyond
    chosen = frozenset(n for n, row in enumerate(found.rows) if row.use in ("film", "no effect"))
    if case.mixed:  # each locomotive is taken at its own worst, so that a little less may be found
        assert any(judged.holds(chosen, there) for there in (onward, frozenset[int]()))
        return "mixed"
    assert judged.holds(chosen, there)
    assert judged.weight(chosen) == pytest.approx(judged.weight(best), rel=1e-9, abs=1e-12)
    assert found.gap == 0
    kept = frozenset(n for n, row in enumerate(found.rows) if row.use == "keep clean")
    _uses_are_right(found, judged, kept, there)
    return (
        "film that is there spreads too far"
        if onward and there != onward
        else "partly"
        if kept and chosen
        else "nothing"
        if kept
        else "all"
    )


def _uses_are_right(found: KeepCleanPlan, judged: Judged, kept: frozenset[int], there: frozenset[int]) -> None:
    for number, row in enumerate(found.rows):
        onto = judged.reach[number] & kept
        if row.use in ("film", "no effect"):
            assert not onto
        elif row.use == "buffer":
            assert onto
            assert row.carried is not None
            assert row.carried.track in {found.rows[n].unit.name for n in onto}
        elif row.use == "keep clean":
            assert row.reason is not None
            assert row.reason.short > 0
            if not judged.case.better:  # film on all that needs not be clean, and there too: a train fails
                film = frozenset(range(len(found.rows))).difference(kept, judged.has)
                assert judged.good(film, there)
                assert not judged.good(film | {number}, there)
        else:
            assert (row.carried is not None) == bool(onto)


@settings(max_examples=EXAMPLES, deadline=None, phases=PHASES)
@given(st.data())
@pytest.mark.parametrize("kind", sorted(LINES))
def test_no_subset_weighs_more_once_film_has_spread(kind: str, data: st.DataObject) -> None:
    check(data.draw(cases(kind)))


def line_of(tracks: str, clean: float, shares: tuple[float, float], train: str, curves: str = "") -> str:
    """Return a line with one train of equal locomotives, which keep shares of their clean pull, gf, on film."""
    films = f'treated = "{shares[0] * clean:.3f} gf", "treated fresh" = "{shares[1] * clean:.3f} gf"'
    return f"""
scale = "HO"
unit = "mm"
railhead.A = 0
vertical_curve.length = 0
{curves}
line.Main = {{ from = "A", to = "B", track = [{tracks}] }}
loco.mule = {{ {LOCOS["mule"]}, pull = {{ clean = "{clean:.3f} gf", {films} }} }}
car.ore = {{ mass = "100 g", length = 140, rolling = "2.0 %", starting = "2.5 %" }}
route.Up = {{ from = "A", to = "B" }}
train.up = {{ route = "Up", consist = [{train}] }}
"""


def trade(lengths: list[int], cars: int, share: float, carry: float, has: int | None = None) -> Case:
    """Return a line of one grade on which one of two locomotives may stand on film, but not both.

    `has` is the number of a track that has film already.
    """
    demand = 2.0 * cars + 2.0 * (cars + 6.0)  # gf: rolling and grade of 2 % each
    clean = 1.02 * demand / (0.9 * (1 + share))
    own = ', rail = "treated"'
    tracks = ", ".join(
        f'{{ straight = {length}, grade = "2 %"{own if k == has else ""} }}' for k, length in enumerate(lengths)
    )
    text = line_of(tracks, clean, (share + 0.02, share), f'"mule", "{cars} ore", "mule"')
    return Case(text, carry, None, "marginal", better=False, mixed=False)


trades = st.builds(
    trade,
    st.lists(st.integers(120, 400), min_size=6, max_size=8),
    st.integers(4, 7),
    st.sampled_from([0.6, 0.7, 0.8]),
    st.sampled_from([0.0, 0.1, 0.3]),
    st.none() | st.integers(0, 5),
)


@settings(max_examples=2 * EXAMPLES, deadline=None, phases=PHASES)
@given(trades)
@example(trade([214, 317, 343, 281, 164, 327], 6, 0.7, 0.1))  # a choice without spread, cut back, films less
@example(trade([154, 266, 181, 245, 143, 137], 6, 0.8, 0.1, 3))  # film that is there spreads, too
def test_no_subset_weighs_more_where_two_locomotives_trade(case: Case) -> None:
    check(case)


@st.composite
def brakes(draw: st.DrawFn) -> Case:
    """Draw a line that falls, with curves, on which a train holds back on clean rail and on some film."""
    cars, grade = draw(st.integers(3, 8)), draw(st.sampled_from([3.0, 4.0]))
    push = (cars + 3.0) * grade - 0.8 * cars  # gf: cars roll at 0.8 % at the least
    clean = push * draw(st.integers(70, 110)) / 100 / (0.9 * 0.75)
    tracks = ", ".join(
        f"{{ {draw(st.sampled_from(['straight', 'left = 400, length', 'left = 600, length']))} = {length}, "
        f'grade = "-{grade} %" }}'
        for length in draw(st.lists(st.integers(300, 900), min_size=4, max_size=7))
    )
    share = draw(st.sampled_from([0.8, 0.95, 1.2]))  # of film that slips at 0.6 where clean rail does at 0.75
    text = line_of(tracks, clean, (share, share), f'"mule", "{cars} ore"', draw(curve_costs))
    return Case(text, draw(st.sampled_from([0.0, 0.1, 0.5])), None, "marginal", better=share > 1, mixed=False)


@settings(max_examples=2 * EXAMPLES, deadline=None, phases=PHASES)
@given(brakes())
def test_no_subset_weighs_more_where_a_train_must_be_held_back(case: Case) -> None:
    check(case)


# What check says of the plan that treat writes


def same_as_promised(found: KeepCleanPlan, written: Path) -> None:
    """Hold what `check` says of a written plan against what `treat` promised of it: outcomes and figures."""
    if "drawing" in Path(found.plan.file).read_text():  # it cannot be written there
        plan = replace(tried(found.plan, TrialHeights(rails=found.rails)), carry_over=found.carry)
    else:
        written.write_text(treated_plan(found))
        plan = load_plan(written)
    layout = Layout(plan)
    judged = {each.name: each for each in worst_of_each(judged_trains(layout, layout.judged()))}
    for promised in found.trains:
        own = judged[promised.name]
        assert own.outcome == promised.planned.outcome
        assert own.verdict == promised.planned.verdict
        assert own.risk == promised.planned.risk


@settings(max_examples=EXAMPLES, deadline=None, phases=PHASES)
@given(data=st.data())
@pytest.mark.parametrize("kind", sorted(LINES))
def test_check_of_the_written_plan_says_what_was_promised(
    kind: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    case = data.draw(cases(kind))
    folder = tmp_path_factory.mktemp("written")
    (folder / "plan.toml").write_text(case.text)
    layout = Layout(load_plan(folder / "plan.toml"))
    found = keep_clean_plan(layout, KeepCleanOptions(need=case.need, carry=case.carry))  # type: ignore[arg-type]
    if not found.beyond:
        same_as_promised(found, folder / "written.toml")


@pytest.mark.parametrize(
    "path", sorted(path for path in PLANS.glob("*.toml") if "[train." in path.read_text()), ids=lambda path: path.stem
)
def test_check_of_a_demo_plan_as_written_says_what_was_promised(path: Path, tmp_path: Path) -> None:
    shutil.copytree(PLANS, tmp_path, dirs_exist_ok=True)
    plan = load_plan(tmp_path / path.name)
    for carry in (None, 0.5):
        found = keep_clean_plan(Layout(plan), KeepCleanOptions(carry=carry))
        same_as_promised(found, tmp_path / "written.toml")


@settings(max_examples=EXAMPLES, deadline=None, phases=PHASES)
@given(st.data())
@pytest.mark.parametrize("kind", sorted(LINES))
def test_as_planned_has_film_on_all_that_wheels_reach(kind: str, data: st.DataObject) -> None:
    case = data.draw(cases(kind).filter(lambda case: not case.mixed and 'rail = "treated"' in case.text))
    judged = Judged(replace(case, text=f"{case.text}\ncarry_over.length = {1000 * case.carry}", step=None))
    layout, has = judged.layout, frozenset(judged.has)
    reached = frozenset(has).union(*(judged.reach[number] for number in has))
    for profile, train in judged.runs:
        for rail in PLANNED:
            own = judge(profile, train, rail, layout.pulls)
            each = [
                judge(with_rails(profile, judged.units, treated_rails(judged.units, film)), train, rail, layout.pulls)
                for film in (has, reached)
            ]
            assert own.margin <= min(one.margin for one in each) + 1e-12
            if not case.better:
                assert own.margin == pytest.approx(each[1].margin, rel=1e-12, abs=1e-12)
                assert own == replace(each[1], margin=own.margin)
