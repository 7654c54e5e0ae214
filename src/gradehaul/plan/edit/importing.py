"""From a drawing to a plan file, new or brought up to date: the options and the plan that is there say how."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from functools import partial
from glob import escape
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from gradehaul.errors import GradehaulError, PlanError, Problems, QuantityError, quoted
from gradehaul.plan.edit.writer import Changes, Written, new_plan, updated_plan
from gradehaul.plan.edit.writer.drawn_tables import heights_before, lines_before, unit_of
from gradehaul.plan.reader import read_plan
from gradehaul.plan.resolve.plan import scale_of
from gradehaul.plan.schema.plan import ImportTable
from gradehaul.plan.text.faults import Entry, Faults, Source, checked
from gradehaul.plan.text.files import berths_named
from gradehaul.plan.text.toml import parse, read_text
from gradehaul.quantities import Kind, length_unit, read_quantity
from gradehaul.quantities.document import AnswerRecord
from gradehaul.scales import Scale, scale_named

if TYPE_CHECKING:
    from collections.abc import Collection

    from gradehaul.plan.drawing.records import Drawn
    from gradehaul.plan.records import Plan

_PRACTICES = ("NMRA", "NEM")
"""The practices that a plan may go by; the first is that of a plan that names none."""
_IMPERIAL = frozenset({"in", "ft", "yd", "mile"})


@dataclass(frozen=True, slots=True)
class ImportOptions:
    """The options of an import, as they were typed; None and empty where nothing was."""

    layers: tuple[str, ...] = ()
    height_layers: tuple[str, ...] = ()
    unit: str | None = None
    """The drawing's unit."""
    rails: bool = False
    snap: str | float | None = None
    fit: str | float | None = None
    kink: str | float | None = None
    raise_: str | float | None = None
    """How far above the plan's 0 that of the drawing's heights lies."""
    scale: str | None = None
    practice: str | None = None

    @property
    def untyped(self) -> frozenset[str]:
        """The names of those that were not typed."""
        return frozenset(name for name, each in asdict(self).items() if each in (None, ()) or each is False)

    @property
    def table(self) -> dict[str, Any]:
        """What the plan keeps of them, in its table ``[import]``."""
        names = ("layers", "height_layers", "unit", "snap", "fit", "kink", "rails", "raise_")
        typed = {name.rstrip("_"): getattr(self, name) for name in names if name not in self.untyped}
        return {name: list(value) if isinstance(value, tuple) else value for name, value in typed.items()}


@dataclass(frozen=True, slots=True)
class Imported(AnswerRecord):
    """A drawing as a plan: what was read of it, the plan's text and unit, what changed, and what is wrong now."""

    HEAD: ClassVar[str] = ""
    KEYS: ClassVar[str] = "text unit new problems=wrong"

    drawn: Drawn
    text: str
    unit: str
    changes: Changes
    new: bool
    plan: Plan | None
    """The plan of that text, None where there are problems."""
    problems: tuple[GradehaulError, ...]
    """What keeps the plan from being used, such as a route over a line that is gone."""

    @property
    def wrong(self) -> tuple[str, ...]:
        """The problems, each in a line."""
        return tuple(map(str, self.problems))


def import_drawing(drawing: str, plan: str | None, options: ImportOptions) -> Imported:
    """Return a drawing as the text of a plan file, in the place of the plan of that name where there is one.

    An option that is not typed is as the import before had it, which the plan's table ``[import]`` keeps. Bare lengths
    in options read in the plan's unit: the one of the plan that is there, else inches for a drawing in inches, feet,
    yards or miles, centimeters for one in these, and millimeters for all others. What is raised is that of
    `gradehaul.import_drawing`.
    """
    from gradehaul.plan.drawing.dxf.file import check_file
    from gradehaul.plan.drawing.wording import unused_heights

    file = plan or ""
    before = _before(file, drawing) if file and Path(file).exists() else ""
    data = parse(before, file) if before else {}
    if drawing.lower().endswith(".toml"):
        raise PlanError("this is a plan, not a drawing", file=drawing, write="the name of a DXF file")
    check_file(Path(drawing), drawing)  # before the scale is needed, since it may be the wrong name
    scale = _scale(data, options, file)
    _check_practice(data, options, file)
    options = _with_those_before(options, data, file)
    drawn, unit, options = _drawn(drawing, scale, options, before, data, file)
    table, unused = options.table, unused_heights(drawn.faults)
    if unused or "unused_heights" in data.get("import", {}):
        table["unused_heights"] = unused
    if before:
        written = updated_plan(before, drawn, table, file=file)
    else:
        title, scale_name = Path(drawing).stem, options.scale or ""
        written = new_plan(drawn, table, title=title, scale=scale_name, unit=unit, practice=options.practice)
    return Imported(drawn, written.text, unit, written.changes, not before, *_read(written, plan))


def _drawn(
    drawing: str, scale: Scale, options: ImportOptions, before: str, data: dict[str, Any], file: str
) -> tuple[Drawn, str, ImportOptions]:
    """Return the network of a drawing, the plan's unit, and the options with the layers that were taken.

    `before` is the text of the plan that is there, empty for none, `data` its tables.
    """
    from gradehaul.plan.drawing.assembly import assemble
    from gradehaul.plan.drawing.dxf import read_drawing
    from gradehaul.plan.drawing.naming.layers import layers_with_numbers, lone_layers, too_steep, use_of, without_notes
    from gradehaul.plan.drawing.records import CHORDS, terms
    from gradehaul.plan.drawing.tables import stations_given

    layers, height_layers = _layers(Path(drawing), options)
    read = read_drawing(
        drawing,
        layers=layers,
        height_layers=height_layers,
        unit=_drawing_unit(options),
        tolerance=CHORDS * scale.gauge,
        typed=True,
    )
    own = "in" if read.unit in _IMPERIAL else "cm" if read.unit == "cm" else "mm"
    unit = unit_of(data, file) if before else own
    if not height_layers:
        shown = {label.layer for label in read.labels if use_of(label.layer) == "heights"}
        height_layers = tuple(sorted(map(escape, shown)))
    on = terms(
        scale.gauge,
        unit,
        layers or ("*",),
        snap=_above_0("snap", options.snap, "length", unit),
        fit=_above_0("fit", options.fit, "length", unit),
        kink=_above_0("kink", options.kink, "angle", unit) or read.kink,
        zero=_option("raise", options.raise_, "length", unit),
        height_layers=height_layers,
        rails=options.rails,
        typed=True,
    )
    known = lines_before(before, data, file)
    assembled = partial(
        assemble,
        terms=on,
        known=known,
        before=heights_before(before, data, file),
        along={name: stations_given(line, unit) for name, line in data.get("line", {}).items()},
        lines_taken=_own_names(data, {line.name for line in known}),
        fits={} if layers is None or read.labels else None,  # the same for all that is tried below
    )
    drawn, lone = assembled(read), []
    if layers is None:
        lone = lone_layers(drawn)
        if (track := without_notes(read, lone)) is not read:
            read, drawn = track, assembled(track)
            lone = lone_layers(drawn)
        layers = _taken(drawn)
    if not height_layers and not drawn.heights and not any(line.railhead_at for line in drawn.lines.values()):
        numbers = layers_with_numbers(read.labels, drawn, on.near, unit)
        taken = tuple(escape(each.layer) for each in numbers if each.surely)
        if taken:
            with suppress(Problems):  # heights that contradict one another were none, or are for the person to mend
                with_heights = assembled(read, terms=replace(on, layers=(*on.layers, *taken), height_layers=taken))
                if not too_steep(with_heights):
                    drawn, height_layers = with_heights, taken
        lone += [each.fault(taken=escape(each.layer) in height_layers) for each in numbers]
    drawn = replace(drawn, faults=(*drawn.faults, *lone))
    return drawn, unit, replace(options, layers=layers, height_layers=height_layers)


def _with_those_before(options: ImportOptions, data: dict[str, Any], plan: str) -> ImportOptions:
    """Return the options, those that were not typed as the plan has them from the import before."""
    before = data.get("import")
    if before is None:
        return options
    faults = Faults()
    checked(ImportTable, Entry(Source(plan, unit_of(data, plan), {}, {}), ("import",), before), faults)
    faults.raise_all()
    mine: dict[str, Any] = {name: tuple(each) if isinstance(each, list) else each for name, each in before.items()}
    mine |= {"raise_": mine.pop("raise")} if "raise" in mine else {}
    return replace(options, **{name: each for name, each in mine.items() if name in options.untyped})


def _layers(drawing: Path, options: ImportOptions) -> tuple[tuple[str, ...] | None, tuple[str, ...]]:
    """Return the layers to read, None for all that may show track, and those with heights."""
    from gradehaul.plan.drawing.naming.layers import EXPORTED, HEIGHTS, RAILHEAD

    if not options.layers and not options.height_layers:
        data = drawing.read_bytes()
        if RAILHEAD.encode() in data and HEIGHTS.encode() in data:
            return EXPORTED, (HEIGHTS,)
    return options.layers or None, options.height_layers


def _taken(drawn: Drawn) -> tuple[str, ...]:
    """Return the layers that were read, for the next import to read them again; those of names are read anyway."""
    from gradehaul.plan.drawing.naming.layers import use_of

    texts = (layer for layer in drawn.texts[0] if use_of(layer) != "names")
    return tuple(sorted(map(escape, {*drawn.layers, *texts})))


def _own_names(data: dict[str, Any], drawn: Collection[str]) -> set[str]:
    """Return the names of the plan's lines that no drawing made, and of all its berths."""
    lines = data.get("line")
    source = Source("", None, data, {})
    tables = {name: Entry(source, ("line", name), table) for name, table in (lines or {}).items()}
    return {name for name in tables if name not in drawn} | set(berths_named(tables, {}))


def _before(plan: str, drawing: str) -> str:
    if Path(drawing).exists() and Path(drawing).samefile(plan):
        raise PlanError("a plan may not replace its drawing", file=plan, write="another name after -o")
    return read_text(Path(plan), plan)


def _scale(data: dict[str, Any], options: ImportOptions, plan: str) -> Scale:
    """Return the scale: the plan's where there is one, which the option must not contradict."""
    if "scale" not in data:
        if options.scale is None:
            raise PlanError("the scale is not known", file=plan, place="--scale", write="--scale HO, or another scale")
        return scale_named(options.scale, option="--scale")
    faults = Faults()
    own = scale_of(Source(plan, unit_of(data, plan), data, {}), faults)
    faults.raise_all()
    assert own is not None
    if options.scale is not None and scale_named(options.scale, option="--scale") != own:
        raise PlanError("the plan has another scale", file=plan, place="--scale", found=quoted(options.scale))
    return own


def _check_practice(data: dict[str, Any], options: ImportOptions, plan: str) -> None:
    """Refuse an option that names no practice, or another than the plan has."""
    if options.practice is None:
        return
    if options.practice not in _PRACTICES:
        wrong, write = "there is no such practice", " or ".join(map(quoted, _PRACTICES))
        raise PlanError(wrong, place="--practice", found=quoted(options.practice), write=write)
    if data and data.get("practice", _PRACTICES[0]) != options.practice:
        found = quoted(options.practice)
        raise PlanError("the plan has another practice", file=plan, place="--practice", found=found)


def _drawing_unit(options: ImportOptions) -> str | None:
    try:
        return None if options.unit is None else length_unit(options.unit)
    except QuantityError as error:
        raise error.at(place="--unit") from error


def _option(option: str, text: str | float | None, kind: Kind, unit: str) -> float | None:
    """Return the value of an option in SI units."""
    if text is None:
        return None
    try:
        return read_quantity(text, kind, unit=unit)
    except QuantityError as error:
        raise error.at(place=f"--{option}") from error


def _above_0(option: str, text: str | float | None, kind: Kind, unit: str) -> float | None:
    """Return the value of an option that must be more than 0, in SI units."""
    value = _option(option, text, kind, unit)
    if value is not None and value <= 0:
        raise PlanError("must be more than 0", place=f"--{option}", found=str(text))
    return value


def _read(written: Written, plan: str | None) -> tuple[Plan | None, tuple[GradehaulError, ...]]:
    """Return the plan that was written, and what is wrong with it."""
    folder = None if plan is None else Path(plan).parent
    try:
        return read_plan(written.text, file=plan or "plan.toml", folder=folder, data=written.data), ()
    except Problems as problems:
        return None, problems.errors
