"""The verdict on a train: whether it climbs, is marginal, runs away or stalls, where, and its demand there by cause."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple, get_args

from gradehaul.haulage.adhesion import Pulls
from gradehaul.haulage.demand import TIE, Pulled, bases_at, demand, demand_at, supply, tension_at
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Train
from gradehaul.plan.bench_records import State
from gradehaul.plan.records import Basis
from gradehaul.quantities.document import Documented
from gradehaul.quantities.si import Meters, Newtons
from gradehaul.track.piecewise import PiecewiseQuadratic

Climb = Literal["stalls", "marginal", "climbs"]

Test = Literal["stand", "restart", "slip", "hold"]
"""``stand``: whether wheels that grip pull the train; ``restart``: whether they start it; ``slip``: whether wheels that
slip pull it, and so recover; ``hold``: whether they hold it back downhill."""

STATES: Mapping[Test, State] = {"stand": "standing", "restart": "standing", "slip": "slipping", "hold": "slipping"}
"""The pull that counts in each test."""

Need = Literal["climbs", "marginal"]
"""What a train must do: get through even if its wheels slip and restart anywhere, or get through while they grip."""

Outcome = Literal["stalls", "runs away", "too long", "marginal", "climbs"]
"""``stalls``: its locomotives cannot pull it over. ``runs away``: it pushes them down the hill. ``too long``: it does
not fit a berth, tail, loop, lap or route where it must stand or run. ``marginal``: it gets through only while its
wheels never slip and it never stops where it would not restart. ``climbs``: none of these."""

WORST_FIRST: tuple[Outcome, ...] = get_args(Outcome)

FAILS: frozenset[Outcome] = frozenset(WORST_FIRST[:3])
"""The outcomes of a train that does not get where it should."""


def worst(outcomes: Iterable[Outcome]) -> Outcome:
    """Return the worst of some outcomes; a train to which nothing happens climbs."""
    return min(outcomes, key=WORST_FIRST.index, default="climbs")


class HeadStretch(NamedTuple):
    """A stretch of head positions along a route, m."""

    start: Meters
    stop: Meters


@dataclass(frozen=True, slots=True)
class Verdict(Documented):
    """What becomes of a train on a route: forces in N, places of its head in m.

    ``climbs``: it gets through even if the wheels slip, and can stop and restart anywhere. ``marginal``: it gets
    through as long as the wheels never slip; it must not stop on the `no_stopping` stretches, and would not recover
    from a slip on the `no_recovery` ones. ``stalls``: it needs more than the standing pull on the `stalling` stretches.
    It runs away where it pushes its locomotives down the hill, on the `running_away` stretches.
    """

    climb: Climb
    """What becomes of it uphill alone."""
    spare: Newtons
    """What it could lose, or the hill add, so that it still climbs and is held back downhill: the least, over all tests
    and places, of pull less what it must overcome. Below 0 it is what is lacking for that; 0 or more only where neither
    `stalls`, `marginal` nor `runs away` is true of it. Places too short for it do not count."""
    spare_at: Meters
    """Where that is least."""
    spare_track: str
    """The track under its head there."""
    spare_by: Test
    """The test that it is the least of."""
    margin: Newtons
    """The least of standing pull less running demand: what is left only while the wheels grip."""
    margin_at: Meters
    """Where the margin is least."""
    at: Meters
    """Where a train that stalls stalls first, else where the margin is least."""
    track: str
    """The track under its head there."""
    no_stopping: tuple[HeadStretch, ...]
    no_recovery: tuple[HeadStretch, ...]
    stalling: tuple[HeadStretch, ...]
    running_away: tuple[HeadStretch, ...]
    runs_away_on: str
    """The track under its head where it first runs away; empty where it never does."""
    basis: Basis
    slipping_basis: Basis
    uphill: bool
    """Whether it has anything to climb: False on a route that only goes down."""

    @property
    def outcome(self) -> Outcome:
        """The worst of what happens to it uphill and downhill."""
        return worst((self.climb, "climbs" if self.holds_back else "runs away"))

    @property
    def holds_back(self) -> bool:
        """Whether its locomotives hold it back downhill everywhere."""
        return not self.running_away

    @property
    def runs_away_at(self) -> Meters | None:
        """Where it first pushes its locomotives down the hill, None where it never does."""
        return self.running_away[0].start if self.running_away else None

    @property
    def fails_at(self) -> Meters:
        """The place of its outcome: where it first stalls or runs away, else where it has least to spare."""
        if self.stalling:
            return self.at
        return self.running_away[0].start if self.running_away else self.spare_at

    @property
    def fails_on(self) -> str:
        """The track under its head there."""
        if self.stalling:
            return self.track
        return self.runs_away_on if self.running_away else self.spare_track


def judge(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> Verdict:
    """Judge a train on a route with one rail condition, or with each track's own: ``as planned``, settled or fresh.

    On a route with reversals it runs over each leg whole, in its order by turns as given and turned, its locomotives
    ahead once they have run round it; its verdict is the worst of all legs, and places are those of its leading end, in
    m run from where the route begins.
    """
    if profile.legs:
        worst_leg = _worst_of([(judge(leg, train, rail, pulls), start) for leg, start in profile.runs])
        return replace(worst_leg, uphill=profile.goes_up)
    return judge_running(profile, train.after(profile.route.run_rounds), rail, pulls)


def hardest_approach(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> RouteProfile:
    """Return the profile of one direction with that track behind its start which is worst for a train there."""
    if len(profile.behind) < 2:
        return next(iter(profile.behind), profile)
    return min(profile.behind, key=lambda each: rank(judge_running(each, train, rail, pulls)))


def rank(verdict: Verdict) -> tuple[int, float]:
    """Return what orders verdicts on one train: the worst first, by outcome and pull to spare."""
    return WORST_FIRST.index(verdict.outcome), verdict.spare


def judge_running(profile: RouteProfile, train: Train, rail: str, pulls: Pulls) -> Verdict:
    """Judge a train where it runs in one direction, in the order in which it runs there."""
    if profile.behind:
        found = min((judge_running(each, train, rail, pulls) for each in profile.behind), key=rank)
        return replace(found, uphill=profile.goes_up)
    given = supply(profile, train, rail, pulls)
    need = demand(profile, train)
    left: dict[Test, PiecewiseQuadratic] = {
        "stand": surplus(given.standing, need.running),
        "restart": surplus(given.standing, need.starting),
        "slip": surplus(given.slipping, need.running),
        "hold": surplus(given.slipping, -need.least),
    }
    ties = {"standing": TIE * greatest(given.standing), "slipping": TIE * greatest(given.slipping)}
    fails = {test: _stretches(each, -ties[STATES[test]]) for test, each in left.items()}
    leasts = {test: each.least() for test, each in left.items()}
    # what fails only by what a tie allows does not fail
    spares = {test: least.value if fails[test] else max(least.value, 0.0) for test, least in leasts.items()}
    by = min(spares, key=lambda test: spares[test])
    least, stalling, no_stopping, no_recovery, pushing = leasts["stand"], *fails.values()
    climb: Climb = "stalls" if stalling else "marginal" if no_stopping or no_recovery else "climbs"
    at = stalling[0].start if stalling else least.at
    basis = bases_at(profile, train, rail, pulls, at).standing
    slipping_basis = bases_at(profile, train, rail, pulls, leasts["slip"].at).slipping
    return Verdict(
        climb=climb,
        spare=spares[by],
        spare_at=leasts[by].at,
        spare_track=profile.track_at(leasts[by].at),
        spare_by=by,
        margin=least.value,
        margin_at=least.at,
        at=at,
        track=profile.track_at(at, ahead=bool(stalling)),
        no_stopping=no_stopping,
        no_recovery=no_recovery,
        stalling=stalling,
        running_away=pushing,
        runs_away_on=profile.track_at(pushing[0].start, ahead=True) if pushing else "",
        basis=basis,
        slipping_basis=slipping_basis,
        uphill=profile.goes_up,
    )


def _worst_of(legs: Sequence[tuple[Verdict, float]]) -> Verdict:
    """Return the verdict over legs, each with where on the route it begins."""
    moved = [_moved(verdict, start) for verdict, start in legs]
    hardest = min(moved, key=lambda verdict: verdict.margin)
    first = next((verdict for verdict in moved if verdict.stalling), hardest)
    least = min(moved, key=lambda verdict: verdict.spare)
    return replace(
        hardest,
        climb=min((verdict.climb for verdict in moved), key=get_args(Climb).index),
        spare=least.spare,
        spare_at=least.spare_at,
        spare_track=least.spare_track,
        spare_by=least.spare_by,
        at=first.at,
        track=first.track,
        basis=first.basis,
        slipping_basis=first.slipping_basis,
        no_stopping=tuple(stretch for verdict in moved for stretch in verdict.no_stopping),
        no_recovery=tuple(stretch for verdict in moved for stretch in verdict.no_recovery),
        stalling=tuple(stretch for verdict in moved for stretch in verdict.stalling),
        running_away=tuple(stretch for verdict in moved for stretch in verdict.running_away),
        runs_away_on=next((verdict.runs_away_on for verdict in moved if verdict.running_away), ""),
    )


def _moved(verdict: Verdict, by: float) -> Verdict:
    def moved(stretches: tuple[HeadStretch, ...]) -> tuple[HeadStretch, ...]:
        return tuple(HeadStretch(stretch.start + by, stretch.stop + by) for stretch in stretches)

    return replace(
        verdict,
        spare_at=verdict.spare_at + by,
        margin_at=verdict.margin_at + by,
        at=verdict.at + by,
        no_stopping=moved(verdict.no_stopping),
        no_recovery=moved(verdict.no_recovery),
        stalling=moved(verdict.stalling),
        running_away=moved(verdict.running_away),
    )


def surplus(pull: Pulled, demanded: PiecewiseQuadratic) -> PiecewiseQuadratic:
    """Return a pull less what is demanded, as a function of the head's place."""
    return pull - demanded if isinstance(pull, PiecewiseQuadratic) else demanded * -1.0 + pull


def greatest(pull: Pulled) -> float:
    """Return the greatest value of a pull."""
    return pull.greatest().value if isinstance(pull, PiecewiseQuadratic) else pull


def _stretches(function: PiecewiseQuadratic, level: float) -> tuple[HeadStretch, ...]:
    return tuple(HeadStretch(float(a), float(b)) for a, b in function.below(level))


@dataclass(frozen=True, slots=True)
class DemandBreakdown:
    """Pull and demand with the train's head at one place, m from where its route begins, N, in one test.

    Of the test ``hold`` it is the least that slows the train: where that is negative, it pushes.
    """

    at: Meters
    track: str
    test: Test
    grade: Newtons
    curves: Newtons
    rolling: Newtons
    """Rolling resistance, or starting resistance where the train starts."""
    tension: Newtons
    """Friction of flanges that coupler tension presses; 0 where the plan leaves it out, and downhill."""
    pull: Newtons
    """The standing pull, or the slipping pull where wheels slip or hold back."""
    basis: Basis
    """Where that pull comes from."""

    @property
    def all(self) -> Newtons:
        """The whole demand."""
        return self.grade + self.curves + self.rolling + self.tension


def demand_breakdown(profile: RouteProfile, train: Train, rail: str, pulls: Pulls, verdict: Verdict) -> DemandBreakdown:
    """Return pull and demand of a train where it has least to spare, on a route with or without reversals."""
    # of two legs that meet there, the one that ends: a leg begins with its train on track that it has just gone over
    leg, start = next(run for run in profile.runs if verdict.spare_at <= run[1] + run[0].length * (1 + 1e-12))
    runs, head, test = train.after(leg.route.run_rounds), verdict.spare_at - start, verdict.spare_by
    leg = hardest_approach(leg, runs, rail, pulls)
    curved = {"restart": leg.starting, "hold": leg.lowest}.get(test, leg)
    demanded, grade = (sum(demand_at(each, runs, head)) for each in (curved, leg.heights))
    rolling = {"restart": runs.starting, "hold": runs.lowest_rolling}.get(test, runs.rolling)
    tension = 0.0 if test == "hold" else tension_at(curved, runs, head, starting=test == "restart")
    needs = demanded + rolling + tension
    pull = verdict.spare + (-needs if test == "hold" else needs)
    bases = bases_at(leg, runs, rail, pulls, head)
    basis = bases.standing if STATES[test] == "standing" else bases.slipping
    return DemandBreakdown(
        verdict.spare_at, leg.track_at(head), test, grade, demanded - grade, rolling, tension, pull, basis
    )
