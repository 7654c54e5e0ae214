"""A DXF file becomes a drawing: strokes and labels in m, with a word on every doubt about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from gradehaul.errors import DrawingError, Problems, QuantityError
from gradehaul.plan.drawing.dxf.blocks import MOST_POINTS, Blocks, survey
from gradehaul.plan.drawing.dxf.curves import MOST_CHORDS, Budget, Curve, curve_of
from gradehaul.plan.drawing.dxf.file import Loaded, check_file, load, warnings
from gradehaul.plan.drawing.dxf.inserts import Expansion, Item
from gradehaul.plan.drawing.dxf.layers import Wanted, mended_name
from gradehaul.plan.drawing.dxf.strokes import Origin, strokes_of
from gradehaul.plan.drawing.dxf.texts import POINT, TEXTS, label_of, point_spot
from gradehaul.plan.drawing.dxf.units import meters_of, unit_of_header
from gradehaul.plan.drawing.dxf.values import handle_of
from gradehaul.plan.drawing.records import Drawing, Fault, Label, Stroke
from gradehaul.plan.names import clean, cut, listed, quoted
from gradehaul.quantities import convert, length_unit

TOLERANCE = 2e-5
"""How far, m, the chords of a curve may lie from it: a fiftieth of a millimeter."""

_MOST_ERRORS = 20
_MOST_LAYERS = 4


def read_drawing(
    path: str | Path,
    *,
    layers: Sequence[str],
    height_layers: Sequence[str] = (),
    unit: str | None = None,
    folder: str | Path | None = None,
    tolerance: float = TOLERANCE,
    typed: bool = False,
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
    folder
        The folder that `path` starts from.
    tolerance
        How far, m, the chords of ellipses and splines may lie from them.
    typed
        Whether this was typed on the command line, so that advice names its options and not keys of a plan.

    Returns
    -------
        Lines, arcs and bulges as they are, everything else as chords. Its faults have the codes ``zero-length``,
        ``unknown-entity``, ``missing-block``, ``external-block``, ``coarse``, ``unit``, ``encoding``,
        ``paper-space``, ``not-read`` and ``warned``.

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
        with warnings() as messages:
            return _drawing(load(whole), messages, file, Wanted(layers, height_layers), given, tolerance, typed)
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
    scale: float
    budget: Budget
    curves: list[tuple[Curve, Origin]] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    points: list[Item] = field(default_factory=list)
    errors: dict[tuple[str, str], DrawingError] = field(default_factory=dict)
    unknown: dict[str, list[Item]] = field(default_factory=dict)

    def trouble(self, entity: Any, layer: str, error: DrawingError) -> None:  # noqa: ANN401
        """Take an error of an entity, once however often it is drawn."""
        handle = handle_of(entity)
        name = f"{entity.dxftype()} #{handle}" if handle else entity.dxftype()
        place = f"{name} on layer {quoted(self.wanted.shown(layer))}"
        self.errors.setdefault((place, error.wrong), error.at(file=self.file, place=place))

    def take(self, item: Item) -> None:
        """Take one entity."""
        kind = item.entity.dxftype()
        layer = self.wanted.shown(item.layer)
        try:
            if kind in TEXTS:
                label = label_of(item.entity, item.placing, self.scale, layer, item.handle)
                self.labels += [label] if label is not None else []
            elif not self.wanted.lines(item.layer):
                pass
            elif kind == POINT:
                self.points.append(item)
            elif (curve := curve_of(item.entity, item.placing, self.budget)) is not None:
                self.curves.append((curve, Origin(item.entity, item.handle, layer, item.layer)))
            else:
                self.unknown.setdefault(kind, []).append(item)
        except DrawingError as error:
            self.trouble(item.entity, item.layer, error)

    def marks(self, strokes: Sequence[Stroke]) -> list[Label]:
        """Return the points that stand with texts on a layer of their own; all others are passed over as no track."""
        layers = {label.layer for label in self.labels} - {stroke.layer for stroke in strokes}
        marks = []
        for item in self.points:
            layer = self.wanted.shown(item.layer)
            spot = point_spot(item.entity, item.placing, self.scale) if layer in layers else None
            if spot is not None:
                marks.append(Label("", spot, layer, item.handle))
            else:
                self.unknown.setdefault(POINT, []).append(item)
        return marks

    def faults(self) -> list[Fault]:
        """Return what was counted, or raise what is wrong."""
        found = []
        for kind, items in self.unknown.items():
            layer = self.wanted.shown(items[0].layer)
            text = f"{len(items)} {clean(kind)} on the layers to read, such as on {quoted(layer)}: not read as track"
            found.append(Fault("unknown-entity", text, None, items[0].handle, layer, weight=len(items)))
        if self.budget.coarse:
            text = f"{self.budget.coarse} curves need more than {MOST_CHORDS:,} chords and have coarser ones"
            found.append(Fault("coarse", text, weight=self.budget.coarse))
        errors = list(self.errors.values())
        if len(errors) > _MOST_ERRORS:
            text = f"{len(errors) - _MOST_ERRORS:,} more entities cannot be used"
            errors = [*errors[:_MOST_ERRORS], DrawingError(text, file=self.file)]
        if errors:
            raise errors[0] if len(errors) == 1 else Problems(list(errors))
        return found


def _drawing(
    loaded: Loaded, messages: list[str], file: str, wanted: Wanted, unit: str | None, tolerance: float, typed: bool
) -> Drawing:
    scale, faults = _scale(loaded.unit_code, unit, typed)
    blocks = survey(loaded.document, wanted.any)
    reading = _Reading(file, wanted, scale, Budget(tolerance / scale))
    try:
        with np.errstate(all="ignore"):  # what is not finite is found when all is known in m
            for item in Expansion(blocks, wanted.any, reading.trouble).items():
                reading.take(item)
    except OverflowError as error:
        raise DrawingError(
            f"its curves and blocks make more than {MOST_POINTS:,} points",
            write="fewer layers, or a larger tolerance",
        ) from error
    strokes, dropped = strokes_of(reading.curves, scale, reading.trouble)
    marks = reading.marks(strokes)
    faults += [*blocks.faults, *_about_file(loaded, messages), *dropped, *reading.faults()]
    counts: Counter[str] = Counter()
    for layer, count in blocks.layers.items():
        counts[wanted.shown(layer)] += count
    if not strokes:
        raise _nothing(counts, wanted, reading, dropped)
    if any(mended_name(layer) != layer for layer in blocks.layers):
        faults.append(Fault("encoding", "names of layers are not in the file's own encoding"))
    faults += _not_read(blocks, wanted)
    return Drawing(
        file,
        tuple(strokes),
        tuple(reading.labels),
        tuple(faults),
        MappingProxyType(dict(counts)),
        unit or _plan_unit(loaded.unit_code),
        tuple(marks),
    )


def _plan_unit(code: int) -> str:
    """Return the name that plans use for a header's unit, empty where they have none."""
    header = unit_of_header(code)
    try:
        return "" if header is None else length_unit(header.name)
    except QuantityError:
        return ""


def _scale(code: int, unit: str | None, typed: bool) -> tuple[float, list[Fault]]:
    """Return how many m the drawing's unit is, and what there is to say about it."""
    header = unit_of_header(code)
    if unit is None:
        return meters_of(code, typed=typed), []
    scale = 1 / convert(1.0, unit)
    if header is None or abs(header.meters - scale) <= 1e-5 * scale:
        return scale, []
    text = f'the file gives its unit as "{header.name}"; it is read as "{unit}", as asked'
    return scale, [Fault("unit", text)]


def _about_file(loaded: Loaded, messages: list[str]) -> list[Fault]:
    """Return the faults that are of the file, not of an entity."""
    faults = [Fault("warned", cut(clean(text)), weight=count) for text, count in Counter(messages).items()]
    model = loaded.document.modelspace()  # a damaged layout may not know which one it is
    paper = sum(
        entity.dxftype() != "VIEWPORT" for layout in loaded.document.layouts if layout is not model for entity in layout
    )
    if paper:
        faults.append(Fault("paper-space", f"{paper} entities are on paper, not in the model space: not read"))
    return faults


def _not_read(blocks: Blocks, wanted: Wanted) -> list[Fault]:
    """Name the layers of which nothing is read that have texts: names and heights may be among them."""
    texts: Counter[str] = Counter()
    for layer, count in blocks.texts.items():
        if not wanted.any(layer):
            texts[wanted.shown(layer)] += count
    if not texts:
        return []
    each = [
        f"{count} {'text' if count == 1 else 'texts'} on {layer}" for layer, count in texts.most_common(_MOST_LAYERS)
    ]
    more = [f"{len(texts) - _MOST_LAYERS} more layers"] if len(texts) > _MOST_LAYERS else []
    return [Fault("not-read", f"{', '.join(each + more)} not read", weight=texts.total())]


def _nothing(counts: Counter[str], wanted: Wanted, reading: _Reading, dropped: Sequence[Fault]) -> DrawingError:
    """Return the error for a drawing that draws no line on the layers to read."""
    patterns = listed(wanted.patterns)
    if not counts:
        return DrawingError(
            "the drawing draws nothing in its model space", write="it again with the track in the model space"
        )
    if reading.unknown or reading.labels or dropped:
        found = ", ".join(f"{len(items)} {clean(kind)}" for kind, items in list(reading.unknown.items())[:6])
        return DrawingError(f"nothing on the layers {patterns} can be read as track", found=found or "texts alone")
    names = [f"{quoted(layer)} ({count:,})" for layer, count in counts.most_common(12)]
    more = f" and {len(counts) - 12} more" if len(counts) > 12 else ""
    return DrawingError(f"nothing is on the layers {patterns}", write=f"one of {', '.join(names)}{more}")
