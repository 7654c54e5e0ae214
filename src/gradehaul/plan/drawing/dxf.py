"""A DXF file becomes a drawing: strokes and labels in m, with every doubt about it told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import InitVar, dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from gradehaul.errors import DrawingError, Problems, QuantityError
from gradehaul.plan.drawing.collecting import uncollected
from gradehaul.plan.drawing.dxf_batch import Batch, Origin
from gradehaul.plan.drawing.dxf_blocks import handle_of, reckon
from gradehaul.plan.drawing.dxf_file import Loaded, check_file, load, warnings
from gradehaul.plan.drawing.dxf_inserts import Item, Opening
from gradehaul.plan.drawing.dxf_layers import Wanted, mended_name
from gradehaul.plan.drawing.dxf_shapes import Shape, shape_of
from gradehaul.plan.drawing.dxf_strokes import MOST_CHORDS, MOST_POINTS, Budget, draw
from gradehaul.plan.drawing.dxf_texts import POINT, TEXTS, label_of, point_spot
from gradehaul.plan.drawing.dxf_units import meters_of, unit_of_header
from gradehaul.plan.drawing.records import Drawing, Fault, Label
from gradehaul.plan.names import clean, cut, listed, quoted
from gradehaul.quantities import convert, length_unit

TOLERANCE = 2e-5
"""How far, m, the chords of a curve may lie from it: a fiftieth of a millimeter."""

_TOLD = 20


def read_drawing(
    path: str | Path,
    *,
    layers: Sequence[str],
    height_layers: Sequence[str] = (),
    unit: str | None = None,
    repair: bool = False,
    folder: str | Path | None = None,
    tolerance: float = TOLERANCE,
) -> Drawing:
    r"""Return the strokes and labels of a DXF file, from R12 to R2018, as text or binary.

    Parameters
    ----------
    path
        The file, as the builder names it; messages name it the same.
    layers
        Names of the layers to read, or shell patterns such as ``TRACK*``; capitals do not matter.
    height_layers
        Layers of which the texts are read as well.
    unit
        The drawing's unit of length, where the file does not say it or says it wrong.
    repair
        Mend a file that cannot be read as it stands, as long as no number changes and no entity goes missing.
    folder
        The folder that `path` starts from.
    tolerance
        How far, m, the chords of ellipses and splines may lie from them.

    Returns
    -------
        Lines, arcs and bulges as they are, everything else as chords. Its faults have the codes ``zero-length``,
        ``unknown-entity``, ``missing-block``, ``external-block``, ``coarse``, ``unit``, ``encoding``,
        ``paper-space``, ``warned`` and ``repaired``.

    Raises
    ------
    DrawingError
        The file is none of these, is damaged, has no unit, or draws nothing on the layers.
    Problems
        Entities on the layers cannot be used; each is named.
    OSError
        The file cannot be read for a reason of the system.

    Examples
    --------
    >>> import tempfile
    >>> line = ["0", "LINE", "8", "Track", "10", "0", "20", "0", "11", "24", "21", "0"]
    >>> text = ["0", "SECTION", "2", "ENTITIES", *line, "0", "ENDSEC", "0", "EOF", ""]
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     written = (Path(folder) / "tarn.dxf").write_text("\n".join(text))
    ...     drawing = read_drawing("tarn.dxf", layers=["track*"], unit="in", folder=folder)
    >>> drawing.strokes[0].points.round(4).tolist(), dict(drawing.layers)
    ([[0.0, 0.0], [0.6096, 0.0]], {'Track': 1})
    """
    file = str(path)
    if not layers:
        raise DrawingError("no layer is named to read", file=file, write='layers = ["..."]')
    given = None if unit is None else _unit_given(unit, file)
    whole = Path(folder or ".") / path
    check_file(whole, file)
    try:
        with warnings() as messages, uncollected():
            loaded = load(whole, file, repair=repair)
            return _drawing(loaded, messages, file, Wanted(layers, height_layers), given, tolerance)
    except DrawingError as error:
        raise error.at(file=file) from error.__cause__


def _unit_given(unit: str, file: str) -> str:
    try:
        return length_unit(unit)
    except QuantityError as error:
        raise DrawingError(error.wrong, file=file, place="unit", found=error.found, write=error.write) from error


@dataclass(slots=True)
class _Reading:
    """One reading of a drawing: what was found so far."""

    file: str
    wanted: Wanted
    budget: Budget
    batch: Batch = field(init=False)
    scale: InitVar[float]
    labels: list[Label] = field(default_factory=list)
    points: list[Item] = field(default_factory=list)
    marks: list[Label] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    errors: dict[tuple[str, str], DrawingError] = field(default_factory=dict)
    shapes: dict[int, Shape | None] = field(default_factory=dict)
    unknown: Counter[str] = field(default_factory=Counter)
    first: dict[str, Item] = field(default_factory=dict)

    def __post_init__(self, scale: float) -> None:
        self.batch = Batch(scale, self.trouble, faults=self.faults)

    def trouble(self, entity: Any, layer: str, error: DrawingError) -> None:  # noqa: ANN401
        """Take an error of an entity, once however often it is drawn."""
        kind, handle = entity.dxftype(), handle_of(entity)
        place = (
            f"{kind} #{handle} on layer {quoted(self.wanted.told(layer))}"
            if handle
            else f"{kind} on layer {quoted(self.wanted.told(layer))}"
        )
        self.errors.setdefault((place, error.wrong), error.at(file=self.file, place=place))

    def take(self, item: Item) -> None:
        """Take one entity."""
        kind = item.entity.dxftype()
        layer = self.wanted.told(item.layer)
        try:
            if kind in TEXTS:
                label = label_of(item.entity, item.placing, self.batch.scale, layer, item.handle)
                if label is not None:
                    self.labels.append(label)
            elif kind == POINT and self.wanted.lines(item.layer):
                self.points.append(item)
            elif self.wanted.lines(item.layer):
                shape = self._shape(item)
                if shape is None:
                    self.unknown[kind] += 1
                    self.first.setdefault(kind, item)
                    return
                drawn = draw(shape, item.placing, self.budget)
                if item.placing is not None:
                    self.budget.take(len(drawn.points))
                self.batch.add(drawn, Origin(item.entity, item.handle, layer, item.layer))
        except DrawingError as error:
            self.trouble(item.entity, item.layer, error)

    def _sort_points(self) -> None:
        """Keep the points that stand with texts on a layer of their own; all others are passed over as no track."""
        if not self.points:
            return
        layers = {label.layer for label in self.labels} - {stroke.layer for stroke in self.batch.strokes}
        for item in self.points:
            layer = self.wanted.told(item.layer)
            spot = point_spot(item.entity, item.placing, self.batch.scale) if layer in layers else None
            if spot is not None:
                self.marks.append(Label("", spot, layer, item.handle))
            else:
                self.unknown[POINT] += 1
                self.first.setdefault(POINT, item)

    def _shape(self, item: Item) -> Shape | None:
        if item.placing is None:
            return shape_of(item.entity)
        key = id(item.entity)
        if key not in self.shapes:
            self.shapes[key] = shape_of(item.entity)
        return self.shapes[key]

    def finish(self) -> None:
        """Tell of what was counted, and raise what is wrong."""
        self.batch.finish()
        self._sort_points()
        for kind, count in self.unknown.most_common():
            item = self.first[kind]
            layer = self.wanted.told(item.layer)
            text = f"{count} {clean(kind)} on the layers to read, such as on {quoted(layer)}: not read as track"
            self.faults.append(Fault("unknown-entity", text, None, item.handle, layer, weight=count))
        if self.budget.coarse:
            text = f"{self.budget.coarse} curves need more than {MOST_CHORDS:,} chords and have coarser ones"
            self.faults.append(Fault("coarse", text, weight=self.budget.coarse))
        errors: list[DrawingError] = list(self.errors.values())
        if len(errors) > _TOLD:
            more = DrawingError(f"{len(errors) - _TOLD:,} more entities cannot be used", file=self.file)
            errors = [*errors[:_TOLD], more]
        if errors:
            raise errors[0] if len(errors) == 1 else Problems(errors)


def _drawing(
    loaded: Loaded, messages: list[str], file: str, wanted: Wanted, unit: str | None, tolerance: float
) -> Drawing:
    scale, faults = _scale(loaded.unit_code, unit)
    blocks = reckon(loaded.document, wanted.any)
    faults += blocks.faults + _about_file(loaded, messages)
    reading = _Reading(file, wanted, Budget(tolerance / scale), scale, faults=faults)
    opening = Opening(blocks, wanted.any, reading.trouble)
    try:
        for item in opening.items():
            reading.take(item)
    except OverflowError as error:
        raise DrawingError(
            f"its curves and blocks make more than {MOST_POINTS:,} points",
            write="fewer layers, or a larger tolerance",
        ) from error
    reading.finish()
    counts: Counter[str] = Counter()
    for layer, count in blocks.layers.items():
        counts[wanted.told(layer)] += count
    if not reading.batch.strokes:
        raise _nothing(counts, wanted, reading)
    if any(mended_name(layer) != layer for layer in blocks.layers):
        reading.faults.append(Fault("encoding", "names of layers are not in the file's own encoding"))
    return Drawing(
        file,
        tuple(reading.batch.strokes),
        tuple(reading.labels),
        tuple(reading.faults),
        MappingProxyType(dict(counts)),
        unit or _plan_unit(loaded.unit_code),
        tuple(reading.marks),
    )


def _plan_unit(code: int) -> str:
    """Return the name that plans use for a header's unit, empty where they have none."""
    header = unit_of_header(code)
    try:
        return "" if header is None else length_unit(header.name)
    except QuantityError:
        return ""


def _scale(code: int, unit: str | None) -> tuple[float, list[Fault]]:
    """Return how many m the drawing's unit is, and what there is to say about it."""
    header = unit_of_header(code)
    if unit is None:
        return meters_of(code), []
    scale = 1 / convert(1.0, unit)
    if header is None or abs(header.meters - scale) <= 1e-5 * scale:
        return scale, []
    text = f'the file gives its unit as "{header.name}"; it is read as "{unit}", as asked'
    return scale, [Fault("unit", text)]


def _about_file(loaded: Loaded, messages: list[str]) -> list[Fault]:
    """Return the faults that are of the file, not of an entity."""
    faults = [Fault("warned", cut(clean(text)), weight=count) for text, count in Counter(messages).items()]
    if loaded.repaired is not None:
        faults += [Fault("repaired", clean(text)) for text in loaded.repaired.changes]
    model = loaded.document.modelspace()  # a damaged layout may not know which one it is
    paper = sum(
        entity.dxftype() != "VIEWPORT" for layout in loaded.document.layouts if layout is not model for entity in layout
    )
    if paper:
        faults.append(Fault("paper-space", f"{paper} entities are on paper, not in the model space: not read"))
    return faults


def _nothing(counts: Counter[str], wanted: Wanted, reading: _Reading) -> DrawingError:
    """Return the error for a drawing that draws no line on the layers asked for."""
    asked = listed(wanted.patterns)
    if not counts:
        return DrawingError(
            "the drawing draws nothing in its model space", write="it again with the track in the model space"
        )
    if reading.unknown or reading.labels or any(fault.code == "zero-length" for fault in reading.faults):
        found = ", ".join(f"{count} {clean(kind)}" for kind, count in reading.unknown.most_common(6))
        return DrawingError(f"nothing on the layers {asked} can be read as track", found=found or "texts alone")
    names = [f"{quoted(layer)} ({count:,})" for layer, count in counts.most_common(12)]
    more = f" and {len(counts) - 12} more" if len(counts) > 12 else ""
    return DrawingError(f"nothing is on the layers {asked}", write=f"one of {', '.join(names)}{more}")
