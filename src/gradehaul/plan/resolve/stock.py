"""Stock, trains and routes, with what is assumed where nothing is said."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from gradehaul.errors import PlanError, quoted
from gradehaul.plan.names import unknown
from gradehaul.plan.rail_condition import CLEAN, RailCondition
from gradehaul.plan.records import Car, Cut, Film, KeptShare, Loco, NamedRoute, NamedTrain, Power
from gradehaul.quantities import Reading
from gradehaul.scales import car_mass

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from gradehaul.plan.schema.stock import CarTable, FilmTable, LocoTable, PowerTable, RouteTable, TrainTable
    from gradehaul.plan.text.faults import Entry, Faults
    from gradehaul.scales import Practice, Scale

TREATED = Film("treated", KeptShare(0.75, 0.85), KeptShare(0.50, 0.65), "assumed")
"""The film there is where the plan has none: shares of the clean pull on a conductive film (common practice)."""
ROLLING = 0.02
"""Rolling resistance, pull per unit of weight (common practice)."""
STARTING = 1.25
"""Starting resistance over rolling resistance (common practice)."""
TOGETHER = 0.90
"""Share of the sum of their pulls that locomotives have together (common practice of unlike models; US Army subcourse
TR0603, Rail Operations Planning, has 90 percent for steam engines and 100 percent for diesel-electric)."""

MOST_CARS = 999
"""Cars are counted up to this many, in a consist and in a load; a load of as many means "at least"."""
_COUNTED = re.compile(r"([0-9]{1,9})\s+(\S.*)")


def films(tables: Mapping[str, Entry[FilmTable]], faults: Faults, *, declared: bool) -> dict[str, Film]:
    """Return the films of a plan, or the built-in one where it declares none."""
    if not declared:
        return {TREATED.name: TREATED}
    found: dict[str, Film] = {}
    for name, entry in tables.items():
        if name == CLEAN or RailCondition.named(name).fresh:
            wrong = "clean is the rail without a film" if name == CLEAN else 'the name of a film cannot end in " fresh"'
            faults.at(entry, wrong, write="another name")
        metal = KeptShare(entry.table.metal.fresh, entry.table.metal.settled)
        tyred = KeptShare(entry.table.tyred.fresh, entry.table.tyred.settled)
        for wheels, share in (("metal", metal), ("tyred", tyred)):
            if share.fresh > share.settled:
                faults.note(
                    f"{entry.place}, {wheels}",
                    f"fresh ({share.fresh:g}) is more than settled ({share.settled:g}), but a rest brings pull back",
                )
        found[name] = Film(name, metal, tyred)
    return found


def locos(tables: Mapping[str, Entry[LocoTable]], known: Collection[str], faults: Faults) -> dict[str, Loco]:
    """Return the locomotives; `known` are the rail conditions that readings may name."""
    found: dict[str, Loco] = {}
    for name, entry in tables.items():
        table = entry.table
        for key, readings in (("pull", table.pull), ("slipping", table.slipping)):
            for condition in readings:
                faults.known(entry, "rail condition", condition, known, inside=key)
        on_drivers = table.mass if table.on_drivers is None else table.on_drivers
        on_tyres = table.on_tyres
        if on_tyres is None:
            on_tyres = on_drivers * table.tyred_wheels / table.driven_wheels if table.driven_wheels else 0.0
        found[name] = Loco(
            name=name,
            title=table.title or name,
            mass=table.mass,
            length=table.length,
            on_drivers=on_drivers,
            on_tyres=on_tyres,
            pull={condition: tuple(readings) for condition, readings in table.pull.items()},
            slipping={condition: tuple(readings) for condition, readings in table.slipping.items()},
        )
    return found


def powers(tables: Mapping[str, Entry[PowerTable]], locos: Collection[str], faults: Faults) -> dict[str, Power]:
    """Return every locomotive alone, under its own name, and every declared power; `locos` are all their names."""
    found = {name: Power(name, (name,), 1.0, "stated") for name in locos}
    for name, entry in tables.items():
        table = entry.table
        for number, loco in enumerate(table.locos, 1):
            inside = f"locos, item {number}"
            faults.known(entry, "locomotive", loco, locos, declare="[loco.NAME] for it", inside=inside)
        assumed = table.together is None and len(table.locos) > 1
        together = table.together if table.together is not None else TOGETHER if assumed else 1.0
        found.setdefault(name, Power(name, tuple(table.locos), together, "assumed" if assumed else "stated"))
    return found


def cars(
    tables: Mapping[str, Entry[CarTable]], scale: Scale | None, practice: Practice, faults: Faults
) -> dict[str, Car]:
    """Return the cars; without a scale, masses that were left out cannot be filled in and the car is passed over."""
    found: dict[str, Car] = {}
    for name, entry in tables.items():
        table = entry.table
        mass = table.mass
        if mass is None:
            if scale is None:
                continue
            try:
                mass = car_mass(scale, table.length, practice)
            except PlanError as error:
                faults.add(error, file=entry.file, place=entry.place)
                continue
        rolling = table.rolling if table.rolling is not None else Reading(ROLLING)
        spread = rolling.spread
        starting = table.starting
        if starting is None:
            starting = Reading(STARTING * rolling.value, None if spread is None else STARTING * spread)
        if starting.value < rolling.value:
            faults.note(entry.place, "the starting resistance is less than the rolling resistance, which is impossible")
        found[name] = Car(
            name=name,
            mass=mass,
            length=table.length,
            rolling=rolling,
            starting=starting,
            mass_basis="stated" if table.mass is not None else "assumed",
            rolling_basis="stated" if table.rolling is not None else "assumed",
            starting_basis="stated" if table.starting is not None else "assumed",
        )
    return found


def trains(
    tables: Mapping[str, Entry[TrainTable]],
    routes: Collection[str],
    drawing: Collection[str],
    cars: Collection[str],
    faults: Faults,
) -> dict[str, NamedTrain]:
    """Return the named trains."""
    found: dict[str, NamedTrain] = {}
    for name, entry in tables.items():
        table = entry.table
        faults.known(entry, "route", table.route, routes, declare="[route.NAME] with from and to", inside="route")
        consist = consist_of(table.consist, drawing, cars, entry, faults)
        found[name] = NamedTrain(name, table.route, consist, table.together)
    return found


def consist_of(
    texts: Sequence[str], drawing: Collection[str], cars: Collection[str], entry: Entry[object], faults: Faults
) -> tuple[Cut, ...]:
    """Return a consist; `drawing` are the names of all locomotives and powers, `cars` those of all cars."""
    stock = {*drawing, *cars}
    cuts: list[Cut] = []
    for number, text in enumerate(texts, 1):
        try:
            cuts.append(cut_of(text, stock, guess=faults.guesses > 0))
        except PlanError as error:
            faults.guesses -= len(stock)
            faults.add(error, file=entry.file, place=f"{entry.place}, consist, entry {number}")
    if len(cuts) == len(texts) and not any(cut.name in drawing for cut in cuts):
        faults.at(entry, "a train needs a locomotive", write="one in consist", inside="consist")
    return tuple(cuts)


def cut_of(text: str, stock: Collection[str], *, guess: bool = True) -> Cut:
    """Return what one entry of a consist stands for; a name that begins with a number is tried whole first.

    `guess` is whether to look for the nearest name of the stock where it is none, which takes time.

    Raises
    ------
    PlanError
        It stands for nothing in the plan.
    """
    if text in stock:
        return Cut(text, 1)
    counted = _COUNTED.fullmatch(text)
    count, name = (1, text) if counted is None else (int(counted[1]), counted[2])
    if name not in stock:
        if counted is None and any(map(str.isdigit, text)) and any(each in text for each in stock):
            raise PlanError(
                f"there is no stock {quoted(text)}", write='"6 NAME" for six: the number, a space, the name'
            )
        raise unknown("stock", name, stock, declare="[car.NAME] or [loco.NAME] for it", guess=guess)
    if not 1 <= count <= MOST_CARS:
        raise PlanError(f"a count runs from 1 to {MOST_CARS}", found=quoted(text))
    return Cut(name, count)


def check_unlike(
    powers: Mapping[str, Entry[object]], cars: Mapping[str, Entry[object]], locos: Collection[str], faults: Faults
) -> None:
    """Names are unique among locomotives, powers and cars: a consist names any of them."""
    for name, entry in powers.items():
        if name in locos:
            faults.at(entry, "a locomotive has this name too", write="another name for one of the two")
    for name, entry in cars.items():
        if name in locos or name in powers:
            what = "locomotive" if name in locos else "power"
            faults.at(entry, f"a {what} has this name too", write="another name for one of the two")


def routes(
    tables: Mapping[str, Entry[RouteTable]],
    lines: Mapping[str, Entry[Any]],
    joints: Collection[str],
    berths: Collection[str],
    *,
    faults: Faults,
    complete: bool,
    laps: bool = True,
) -> dict[str, NamedRoute]:
    """Return the declared routes.

    Where not `complete`, some joints and berths are not known and only laps are checked; without `laps` not even those.
    """
    found: dict[str, NamedRoute] = {}
    places = dict.fromkeys((*joints, *berths))
    named = (("via", "line, joint or berth", dict.fromkeys((*lines, *places))), ("run_round", "berth", berths))
    for name, entry in tables.items():
        table = entry.table
        route = found[name] = NamedRoute(
            name,
            table.from_ or "",
            table.to or "",
            tuple(table.via),
            tuple(table.lap or ()),
            table.reversals,
            tuple(table.run_round),
        )
        if complete and not route.lap:
            _check_place("from", route.origin, entry, lines, places, faults=faults)
            _check_place("to", route.destination, entry, lines, places, faults=faults)
        for key, kind, known in (*(named if complete else ()), *((("lap", "line", lines),) if laps else ())):
            for number, each in enumerate(getattr(route, key), 1):
                faults.known(entry, kind, each, known, inside=f"{key}, item {number}")
    return found


def _check_place(
    key: str,
    place: str,
    entry: Entry[RouteTable],
    lines: Mapping[str, Entry[Any]],
    places: Collection[str],
    *,
    faults: Faults,
) -> None:
    """Check that a route begins or ends at a joint, a berth or an end of a line."""
    line, _, side = place.rpartition(".")
    if place in places or (line in lines and side in {"from", "to"}):
        return
    if place in lines:
        wrong = f"a route begins and ends at a joint, a berth or a line's end, and {quoted(place)} is a whole line"
        faults.at(entry, wrong, write=f'"{place}.from" or "{place}.to"', inside=key)
        return
    faults.unknown(entry, "joint, berth or line's end", place, places, inside=key)
