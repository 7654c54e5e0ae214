"""Where each figure of an answer comes from: stated, read, scaled or assumed, and by which formula."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gradehaul.haulage.adhesion import (
    METAL_ADHESION,
    SLIPPING_CLEAN,
    SLIPPING_TREATED,
    TYRED_ADHESION,
    NominalPulls,
    Pulls,
    least_kept,
    source_of_pull,
    source_of_slipping,
)
from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.figures import SourcedFigure
from gradehaul.haulage.answers.judged import TrainAnswer
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.train import Block, Train, build_train
from gradehaul.haulage.verdict import STATES, DemandBreakdown, demand_breakdown
from gradehaul.plan.rail_condition import CLEAN, PLANNED, conditions
from gradehaul.plan.records import Car, Loco, Plan, PredictedPull
from gradehaul.plan.resolve.stock import ROLLING, STARTING
from gradehaul.show.base.labels import rail_name
from gradehaul.show.base.page import Page
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.track.figures import figures_of

BASES = (
    "Measured: readings. Stated: written in the plan. Fitted: found so that a line closes.",
    "Scaled: from readings on other rail, or of another state.",
    "Assumed: common practice, because the plan leaves that key out. Summed, calculated: from the other figures.",
)
"""What the bases of figures mean."""

CURVE_MODELS = {
    "degree": "full-size practice scaled down: 0.69855 m over the ratio (0.04 % of grade per degree of curve), assumed",
    "wheelbase": "friction x (0.72 gauge + 0.47 wheelbase), by the plan",
    "coefficient": "your own measurement",
}
"""Where the curve coefficient comes from, by model."""


def add_sources(page: Page, answer: CheckAnswer, units: UnitFormat) -> None:
    """Add every figure that the answer rests on, where it comes from, and how it was calculated; those alike as one."""
    page.heading("Where each figure comes from")
    alike: dict[str, dict[tuple[str, ...], list[str]]] = {}
    for subject, figure, *words in source_rows(answer, units):
        name, _, rail = figure.partition(", ")
        alike.setdefault(subject, {}).setdefault((name, *words), []).append(rail)
    for subject, figures in alike.items():
        page.line((subject, "bold"), indent=2)
        for (name, value, basis, how_found), rails in figures.items():
            named = ", ".join(filter(None, (name, *map(rail_name, rails))))
            page.line(f"{named}: ", (value, "bold"), f" {basis}, {how_found}", indent=4)
    for line in BASES:
        page.line(line, indent=2)


def source_rows(answer: CheckAnswer, units: UnitFormat) -> list[list[str]]:
    """Return each figure in a row: whose it is, its name, its value, its basis, and how it was calculated."""
    how, stated = dict(_how(answer.plan)), _stated(answer.plan, units)
    rows: list[list[str]] = []
    for each in answer.figures:
        rows += stated.pop(each.subject, [])
        rows.append([each.subject, each.name, figure_value(each, units), each.basis, how[each.subject, each.name]])
    return [*rows, *_train_rows(answer, units)]


def _stated(plan: Plan, units: UnitFormat) -> dict[str, list[list[str]]]:
    """Return the figures that a plan cannot leave out, by whose they are."""
    rows: dict[str, list[list[str]]] = {}
    for loco in plan.locos.values():
        subject = f'loco "{loco.name}"'
        rows[subject] = [
            [subject, "mass", units.mass(loco.mass), "stated", "the plan"],
            [subject, "length", units.length(loco.length), "stated", "the plan, over couplers"],
        ]
    for car in plan.cars.values():
        subject = f'car "{car.name}"'
        rows[subject] = [[subject, "length", units.length(car.length), "stated", "the plan, over couplers"]]
    return rows


def _how(plan: Plan) -> Iterator[tuple[tuple[str, str], str]]:
    """Yield subjects and names of figures, and the formula of each."""
    curves = plan.curve_resistance
    yield ("curves", "coefficient"), "; ".join((CURVE_MODELS[curves.model], *map(str, curves.doubts)))
    for loco in plan.locos.values():
        for rail in conditions(plan.films):
            subject = f'loco "{loco.name}"'
            stands, slips = source_of_pull(plan, loco, rail).rail, source_of_slipping(plan, loco, rail).rail
            stand = _standing(plan, loco, rail), *map(str, loco.doubts.get(("standing", stands), ()))
            slip = _slipping(plan, loco, rail), *map(str, loco.doubts.get(("slipping", slips), ()))
            yield (subject, f"standing pull, {rail}"), "; ".join(stand)
            yield (subject, f"slipping pull, {rail}"), "; ".join(slip)
    for power in plan.powers.values():
        rule = "together left out: common practice" if power.basis == "assumed" else "the plan's together"
        yield (f'power "{power.name}"', "together"), f"{rule}, of the sum of their pulls"
    for car in plan.cars.values():
        yield from _of_car(plan, car)
    for line in plan.lines.values():
        for figure in figures_of(line):
            yield (f'line "{line.name}"', figure.name), 'written "fit": what closes the line'
    for film in plan.films.values():
        for wheels in ("metal", "tyred"):
            for age in ("fresh", "rested"):
                words = (
                    f"[rail.{film.name}] left out: the built-in film, assumed; measure first"
                    if film.basis == "assumed"
                    else f"[rail.{film.name}] or the bench"
                )
                yield (f'rail "{film.name}"', f"{wheels} share kept, {age}"), words


def _standing(plan: Plan, loco: Loco, rail: str) -> str:
    source = source_of_pull(plan, loco, rail)
    if source.known and source.rail == rail and rail in loco.worked_out:
        known = loco.worked_out[rail].how
    elif isinstance(source.known, PredictedPull):
        known = "from readings of other locomotives at the bench"
    elif source.known:
        known = f"mean of {len(source.known)} readings" if len(source.known) > 1 else "one reading"
        known = known if source.rail == rail else f"the reading on {source.rail}"
    else:
        weight = f"{METAL_ADHESION:g} of the weight on metal drivers + {TYRED_ADHESION:g} of that on tyred ones"
        known = f"pull left out: {weight if source.rail == rail else f'({weight})'}"
    if source.rail == rail:
        return known
    share, there = (NominalPulls(plan).share(loco, each) for each in (rail, source.rail))
    if least := least_kept(plan, loco, rail):
        return f"{known} x {share:.3g}: {least.how}"
    return (
        f"{known} x {share:.3g}, the share kept"
        if there == 1 and not source.known
        else (f"{known} x {share:.3g} / {there:.3g}, the shares kept")
    )


def _slipping(plan: Plan, loco: Loco, rail: str) -> str:
    source = source_of_slipping(plan, loco, rail)
    if source.known and source.rail == rail:
        readings = loco.slipping[rail]
        lowered = "" if source.basis == "measured" else ", less by as much as the standing pull is"
        return (f"mean of {len(readings)} readings" if len(readings) > 1 else "one reading") + lowered
    if source.known:
        fall = (
            f" x {SLIPPING_TREATED:g} / {SLIPPING_CLEAN:g}, since film costs slipping wheels more"
            if source.rail == CLEAN
            else ""
        )
        return f"standing pull x its (slipping / standing) pull on {source.rail}{fall}"
    return f"slipping left out: standing pull x {SLIPPING_CLEAN if rail == CLEAN else SLIPPING_TREATED:g}"


def _of_car(plan: Plan, car: Car) -> Iterator[tuple[tuple[str, str], str]]:
    subject = f'car "{car.name}"'
    words = {"stated": "the plan", "measured": "readings at the bench"}
    mass = words.get(car.mass_basis, f"mass left out: the {plan.practice} weight in {plan.scale.name} for its length")
    yield (subject, "mass"), mass
    rolling = words.get(car.rolling_basis, f"rolling left out: {100 * ROLLING:g} % of its weight, common practice")
    yield (subject, "rolling resistance"), "; ".join((rolling, *map(str, car.doubts.get("rolling", ()))))
    starting = words.get(car.starting_basis, f"starting left out: {STARTING:g} x the rolling resistance")
    yield (subject, "starting resistance"), "; ".join((starting, *map(str, car.doubts.get("starting", ()))))


def figure_value(figure: SourcedFigure, units: UnitFormat) -> str:
    """Return the value of a figure in the reader's units."""
    return units.small(figure.value) if figure.kind == "length" else units.quantity(figure.value, figure.kind)


def _train_rows(answer: CheckAnswer, units: UnitFormat) -> Iterator[list[str]]:
    """Yield whose figure, which, its value, where it comes from and how it is worked out, for every named train."""
    plan, pulls = answer.plan, Pulls(answer.plan)
    profiles = {each.route.name: each.profile for each in answer.routes}
    for named in plan.trains.values():
        subject, train = f'train "{named.name}"', build_train(plan, named)
        for row in (*_of_stock(train, units), *_of_cars(train, units)):
            yield [subject, *row]
        for each in answer.trains:
            if each.name == named.name:
                for row in _on_rail(answer, each, train, profiles[each.route], pulls, units):
                    yield [subject, *row]


def _of_stock(train: Train, units: UnitFormat) -> Iterator[list[str]]:
    vehicles = [block.vehicle for block in train.blocks]
    bases = [each.mass_basis if isinstance(each, Car) else "stated" for each in vehicles]
    masses = _sum(
        train.blocks, [f"{units.mass(each.mass)} {basis}" for each, basis in zip(vehicles, bases, strict=True)]
    )
    yield ["mass", units.mass(sum(block.mass for block in train.blocks)), "summed", masses]
    lengths = _sum(train.blocks, [f"{units.length(each.vehicle.length)} stated" for each in train.blocks])
    yield ["length", units.length(train.length), "summed", lengths]


def _of_cars(train: Train, units: UnitFormat) -> Iterator[list[str]]:
    cars = [(block, block.vehicle) for block in train.blocks if isinstance(block.vehicle, Car)]
    if not cars:
        return
    blocks = [block for block, _ in cars]
    rolling = [f"{units.quantity(car.rolling.value, 'share')} {car.rolling_basis}" for _, car in cars]
    own = "of their weights; that of locomotives is in their pulls already"
    yield ["rolling resistance", units.force(train.rolling), "summed", f"{_sum(blocks, rolling)} {own}"]
    starting = [f"{units.quantity(car.starting.value, 'share')} {car.starting_basis}" for _, car in cars]
    yield ["starting resistance", units.force(train.starting), "summed", f"{_sum(blocks, starting)} of their weights"]


def _on_rail(
    answer: CheckAnswer, each: TrainAnswer, train: Train, profile: RouteProfile, pulls: Pulls, units: UnitFormat
) -> Iterator[list[str]]:
    """Yield the pull on one rail, the curve resistance, and the place where the train has least to spare."""
    demand = demand_breakdown(profile, train, each.rail, pulls, each.verdict)
    place = f"{units.length(demand.at)} on {demand.track}"
    pull, made = _pull(train, each.rail, demand, pulls, units)
    yield [f"{STATES[demand.test]} pull, {each.rail}", pull, demand.basis, made]
    basis = next(figure.basis for figure in answer.figures if figure.subject == "curves")
    coefficient = units.small(answer.coefficient)
    curves = f"with its head at {place}: the coefficient {coefficient} x the weight on each curve / its radius"
    yield [f"curve resistance, {each.rail}", units.force(demand.curves), basis, curves]
    rolling = "starting" if demand.test == "restart" else "rolling"
    parts = {"grade": demand.grade, "curves": demand.curves, rolling: demand.rolling}
    if demand.tension:
        parts["coupler tension on curves"] = demand.tension
    words = ", ".join(f"{name} {units.force(force)}" for name, force in parts.items())
    sign = "and, against running away," if demand.test == "hold" else "less"
    spare = units.force(each.verdict.spare)
    least = f"on {demand.track}: least to spare, {spare} = {STATES[demand.test]} pull {sign} {words}"
    yield [f"hardest place of its head, {each.rail}", units.length(demand.at), "calculated", least]


def _pull(train: Train, rail: str, demand: DemandBreakdown, pulls: Pulls, units: UnitFormat) -> tuple[str, str]:
    """Return the pull of a train and what it is made of; on rails as planned it is that of the hardest place."""
    pull, of_loco = demand.pull, pulls.standing if STATES[demand.test] == "standing" else pulls.slipping
    locos = [(block.count, block.vehicle) for block in train.blocks if isinstance(block.vehicle, Loco)]
    if rail in PLANNED:
        words = " + ".join(f"{count} {loco.name}" for count, loco in locos)
        words += ", each at its lowest pull on the rails under it"
    else:
        each = [(count, loco.name, of_loco(loco, rail)) for count, loco in locos]
        words = " + ".join(f"{count} {name} {units.force(pull.value)} {pull.basis}" for count, name, pull in each)
        pull = train.together * sum(count * pull.value for count, _, pull in each)
    together = f"({words}) x {units.quantity(train.together, 'share')} together, {train.together_basis}"
    return units.force(pull), words if train.together == 1.0 else together


def _sum(blocks: Sequence[Block], figures: Sequence[str]) -> str:
    """Return what a figure of a train is the sum of, from head to tail."""
    pairs = zip(blocks, figures, strict=True)
    return " + ".join(f"{block.count} {block.vehicle.name} {figure}" for block, figure in pairs)
