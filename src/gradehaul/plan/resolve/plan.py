"""From checked tables to the frozen plan: who refers to what, and whether it is there."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from gradehaul.errors import PlanError, QuantityError, clean, shown
from gradehaul.plan.rail_condition import CARRY_OVER, conditions
from gradehaul.plan.records import CurveResistance, Deck, MapStart, Note, Plan, Survey
from gradehaul.plan.resolve import stock
from gradehaul.plan.resolve.bench import book
from gradehaul.plan.resolve.joints import check_place_names, make_joints, meetings
from gradehaul.plan.resolve.lines import check_easements, lay
from gradehaul.plan.schema.lines import LineTable, PieceTable
from gradehaul.plan.schema.plan import (
    KEYED,
    CarryOverTable,
    CurveResistanceTable,
    DeckTable,
    HeadTable,
    ImportTable,
    MapTable,
    OwnScaleTable,
    SurveyTable,
    VerticalCurveTable,
)
from gradehaul.plan.schema.stock import BenchTable, CarTable, FilmTable, LocoTable, PowerTable, RouteTable, TrainTable
from gradehaul.plan.schema.values import Table
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.plan.text.files import berths_named, line_spans
from gradehaul.quantities import read_quantity
from gradehaul.scales import own_scale, scale_named

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

    from gradehaul.plan.records import Joint
    from gradehaul.plan.text.files import LineSpan, Tables
    from gradehaul.scales import Scale

T = TypeVar("T", bound=Table)


def resolve(tables: Tables, stem: str, faults: Faults) -> Plan:
    """Return the plan that the tables describe.

    Raises
    ------
    Problems
        Anything was found wrong, here or before.
    """

    def every(section: str, model: type[T]) -> dict[str, Entry[T]]:
        found = ((name, checked(model, entry, faults)) for name, entry in tables.keyed[section].items())
        return {name: entry for name, entry in found if entry is not None}

    def single(section: str, model: type[T]) -> Entry[T] | None:
        entry = tables.single.get(section)
        return None if entry is None else checked(model, entry, faults)

    keyed = tables.keyed
    given = {key: tables.main.data[key] for key in ("title", "practice") if key in tables.main.data}
    checked_head = checked(HeadTable, Entry(tables.main, (), given), faults)
    head = checked_head.table if checked_head is not None else HeadTable()
    scale = scale_of(tables.main, faults)
    unit = tables.main.unit or ("in" if head.practice == "NMRA" else "mm")
    read = True
    if keyed["joint"] or "drawing" in tables.single:
        from gradehaul.plan.drawing.tables import add_drawing

        read = add_drawing(tables, scale, unit, faults)

    films = stock.films(every("rail", FilmTable), faults, declared=bool(keyed["rail"]))
    known_rails = conditions({**dict.fromkeys(keyed["rail"]), **dict.fromkeys(films)})
    lines = every("line", LineTable)
    pieces = every("piece", PieceTable)
    laid = lay(lines, pieces, keyed["piece"], known_rails, scale.gauge if scale is not None else 1.0, faults)

    spans, complete = line_spans(keyed["line"])
    complete = complete and read
    meeting: Collection[str] = meetings(spans)
    joints = _joints(tables, spans, faults, complete=complete)
    if complete and len(laid.lines) == len(keyed["line"]):
        check_easements(laid.lines, joints, {name: entry.file for name, entry in lines.items()}, faults)
    berths: Mapping[str, Entry[Any]] = laid.berth_entries
    if len(laid.lines) < len(keyed["line"]):
        berths = {**berths_named(keyed["line"], keyed["piece"]), **berths}
    check_place_names(keyed["line"], meeting, berths, faults)

    railhead = _railhead(tables.railhead, meeting, faults, complete=complete)
    start = single("map", MapTable)
    if start is not None and complete:
        faults.known(start, "joint", start.table.joint, meeting, inside="joint")
    rounding, carry = single("vertical_curve", VerticalCurveTable), single("carry_over", CarryOverTable)
    resistance = single("curve_resistance", CurveResistanceTable)
    faults.doubts += _unused_heights(imported := single("import", ImportTable))
    deck = single("deck", DeckTable)

    locos = stock.locos(every("loco", LocoTable), known_rails, faults)
    powers = stock.powers(every("power", PowerTable), keyed["loco"], faults)
    cars = stock.cars(every("car", CarTable), scale, head.practice, faults)
    stock.check_unlike(keyed["power"], keyed["car"], keyed["loco"], faults)
    routes = stock.routes(
        every("route", RouteTable), keyed["line"], meeting, berths, faults=faults, complete=complete, laps=read
    )
    surveys = {
        name: Survey(name, **entry.table.model_dump() | {"heights": tuple(map(tuple, entry.table.heights))})
        for name, entry in every("survey", SurveyTable).items()
    }
    drawing = {**keyed["loco"], **keyed["power"]}
    trains = stock.trains(every("train", TrainTable), keyed["route"], drawing, keyed["car"], faults)

    known: dict[str, Collection[str]] = {
        "loco": keyed["loco"],
        "car": keyed["car"],
        "film": films,
        "route": keyed["route"],
        "drawing": drawing,
    }
    readings = book(tables.listed, single("bench", BenchTable), known, faults)

    faults.raise_all()
    assert scale is not None
    return Plan(
        file=tables.main.file,
        title=head.title or clean(stem) or "plan",
        scale=scale,
        unit=unit,
        practice=head.practice,
        railhead=railhead,
        lines=laid.lines,
        joints=joints,
        berths=laid.berths,
        map=MapStart(**start.table.model_dump()) if start else None,
        kink=(imported.table.kink or 0.0) if imported else 0.0,
        vertical_curve=rounding.table.length if rounding else 0.0,
        curve_resistance=CurveResistance(**resistance.table.model_dump()) if resistance else CurveResistance(),
        films=films,
        locos=locos,
        powers=powers,
        cars=cars,
        trains=trains,
        routes=routes,
        book=readings,
        notes=tuple(faults.notes),
        doubts=tuple(faults.doubts),
        surveys=surveys,
        carry_over=carry.table.length if carry else CARRY_OVER,
        carry_basis="stated" if carry else "assumed",
        deck=Deck(**deck.table.model_dump()) if deck else Deck(),
    )


def _unused_heights(entry: Entry[ImportTable] | None) -> list[Note]:
    """Return a note on the heights of a drawing that `import` could not use."""
    if entry is None or not entry.table.unused_heights:
        return []
    from gradehaul.plan.drawing.wording import unused_text

    cure = "give heights there and take unused_heights out of [import]"
    return [Note(entry.file, f"{unused_text(entry.table.unused_heights)}; {cure}")]


def _joints(tables: Tables, spans: Mapping[str, LineSpan], faults: Faults, *, complete: bool) -> dict[str, Joint]:
    """Return the joints; where the ends of all lines are not known, what is declared is checked by itself alone."""
    declared: dict[str, Entry[Any] | None] = {}
    for section in ("turnout", "crossing", "table"):
        for name, raw in tables.keyed[section].items():
            if name in declared:
                faults.at(raw, "this joint is already a turnout or a crossing", write="one of the two")
            else:
                declared[name] = checked(KEYED[section], raw, faults)
    return make_joints(spans, declared, faults) if complete else {}


def scale_of(main: Source, faults: Faults) -> Scale | None:
    """Return the scale of a plan by its main file, or None with what is wrong added to the faults."""
    if "scale" not in main.data:
        faults.take(main.file, "", "scale is missing", write='scale = "HO" above the first table')
        return None
    raw = main.data["scale"]
    try:
        if isinstance(raw, str):
            return scale_named(clean(raw))
        if isinstance(raw, dict):
            entry = checked(OwnScaleTable, Entry(main, ("scale",), raw), faults)
            return None if entry is None else own_scale(entry.table.ratio, entry.table.gauge)
    except PlanError as error:
        faults.add(error, file=main.at(("scale",)), place="scale")
        return None
    write = '"HO", or { ratio = 87.1, gauge = "16.5 mm" }'
    wrong = "must be a name in quotes or a table"
    faults.take(main.at(("scale",)), "scale", wrong, found=shown(raw), write=write)
    return None


def _railhead(
    given: Mapping[str, Entry[Any]], joints: Collection[str], faults: Faults, *, complete: bool
) -> dict[str, float]:
    heights: dict[str, float] = {}
    for name, entry in given.items():
        try:
            heights[name] = read_quantity(entry.table, "length", unit=entry.source.unit)
        except QuantityError as error:
            faults.add(error, file=entry.file, place=f"[railhead], {name}")
        if complete:
            faults.known(entry, "joint", name, joints)
    return heights
