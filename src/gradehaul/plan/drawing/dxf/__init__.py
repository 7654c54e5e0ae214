"""A DXF file becomes a drawing: strokes and labels in m, with a word on every doubt about it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from gradehaul.errors import DrawingError, Problems, clean, cut, quoted
from gradehaul.plan.drawing.dxf.blocks import CURVES, Blocks, Item
from gradehaul.plan.drawing.dxf.curves import MOST_POINTS, Budget, Curves, curve_of, strokes_of
from gradehaul.plan.drawing.dxf.entities import TEXTS, handle_of, label_of, layer_of, mark_of, matches, mended_name
from gradehaul.plan.drawing.dxf.file import check_file, kink_of, load, warnings
from gradehaul.plan.drawing.heights.texts import says_height
from gradehaul.plan.drawing.naming.layers import use_of
from gradehaul.plan.drawing.records import Drawing, Fault, Label, Stroke, option
from gradehaul.plan.names import listed
from gradehaul.quantities import convert

TOLERANCE = 2e-5
"""How far, m, the chords of a curve may lie from it: a fiftieth of a millimeter."""
UNITS = {1: "in", 2: "ft", 3: "mile", 4: "mm", 5: "cm", 6: "m", 7: "km", 10: "yd", 21: "ft", 22: "in", 23: "yd"}
"""$INSUNITS of the header, whose codes are the DXF format's (ezdxf's ``InsertUnits``). The US survey foot, inch and
yard are 2 ppm longer than those of the plan. No layout is drawn in the others: there a unit must be given."""

_MOST_ERRORS = 20
_MOST_LAYERS = 4


def read_drawing(
    path: str | Path,
    *,
    layers: Sequence[str] | None,
    height_layers: Sequence[str] = (),
    unit: str | None = None,
    tolerance: float = TOLERANCE,
    typed: bool = False,
) -> Drawing:
    r"""Return the strokes and labels of a DXF file, from R12 to R2018, as text or binary.

    Parameters
    ----------
    path
        The file, as the builder names it; messages name it the same.
    layers
        Names of the layers to read, or shell patterns such as ``TRACK*``; capitals do not matter. None for all but
        those that show no track by their names.
    height_layers
        Layers of which the texts are read as well.
    unit
        The drawing's unit of length, by its short name, where the file does not say it or says it wrong.
    tolerance
        How far, m, the arcs of ellipses and the chords of splines may lie from them.
    typed
        Whether this was typed on the command line, so that advice names its options and not keys of a plan.

    Returns
    -------
        Lines, arcs and bulges as they are, ellipses as arcs, everything else as chords. Its faults have the codes
        ``zero-length``, ``unknown-entity``, ``missing-block``, ``external-block``, ``unit``, ``encoding``,
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
    ...     path = Path(folder) / "tarn.dxf"
    ...     written = path.write_text("\n".join(text))
    ...     drawing = read_drawing(path, layers=["track*"], unit="in")
    >>> drawing.strokes[0].points.round(4).tolist()
    [[0.0, 0.0], [0.6096, 0.0]]
    """
    file = str(path)
    check_file(Path(path), file)
    try:
        with warnings() as messages:
            document, code = load(Path(path))
            own, about = _unit(code, unit, typed)
            reading = _Reading(document, file, layers, height_layers, convert(1.0, own), tolerance, typed=typed)
            strokes, marks, faults = reading.read()
    except DrawingError as error:
        raise error.at(file=file) from error.__cause__
    warned = [Fault("warned", cut(clean(text)), weight=count) for text, count in Counter(messages).items()]
    faults = [*about, *warned, *faults]
    kink = kink_of(document)
    return Drawing(file, tuple(strokes), tuple(reading.labels), tuple(faults), own, kink, tuple(marks))


def _unit(code: int, given: str | None, typed: bool) -> tuple[str, list[Fault]]:
    """Return the unit of a drawing, and what there is to say about it."""
    header = UNITS.get(code)
    if given is None and header is None:
        each = " or ".join(option("unit", unit, typed=typed) for unit in ("mm", "in"))
        write = f"the drawing's unit, such as {each}"
        if code == 0:
            raise DrawingError("the file does not say in which unit it is drawn", write=write)
        found = f"the code {code}"
        raise DrawingError("the file's unit is none for a layout", place="$INSUNITS", found=found, write=write)
    if given in (None, header) or header is None:
        return given or header or "", []
    return given, [Fault("unit", f'the file gives its unit as "{header}"; it is read as "{given}", as chosen')]


class _Reading:
    """One reading of a document: what was found so far."""

    def __init__(
        self,
        document: Any,  # noqa: ANN401 - a document of the library
        file: str,
        layers: Sequence[str] | None,
        height_layers: Sequence[str],
        per_meter: float,
        tolerance: float,
        *,
        typed: bool,
    ) -> None:
        self.document, self.file, self.patterns = document, file, layers
        self.scale, self.budget = 1 / per_meter, Budget(tolerance * per_meter)
        self.shown = cache(lambda layer: clean(mended_name(layer)))
        """A layer's name in readable characters."""
        self.use = cache(lambda layer: use_of(self.shown(layer)))
        self.lines = cache(
            lambda layer: self.use(layer) in {"track", "notes"} if layers is None else self.chosen(layer, layers)
        )
        """Whether the lines of a layer are read."""
        self.named = cache(lambda layer: typed and self.use(layer) == "names")
        """Whether texts and points of a layer are read, though nobody chose it, since it is called after names."""
        texts = ({"names"} if height_layers and layers is not None else {"names", "heights"}) if typed else set()
        self.texts = cache(
            lambda layer: self.lines(layer) or self.use(layer) in texts or self.chosen(layer, height_layers)
        )
        """Whether all texts of a layer are read."""
        self.any = cache(lambda layer: self.texts(layer) or (typed and self.use(layer) == "notes"))
        """Whether anything of a layer is read: of notes, texts that say that they are heights."""
        self.curves = Curves()
        self.labels: list[Label] = []
        self.points: list[Item] = []
        self.errors: dict[tuple[str, str], DrawingError] = {}
        self.unknown: dict[str, list[Item]] = {}

    def chosen(self, layer: str, patterns: Sequence[str]) -> bool:
        """Return whether a layer is one of those that are named."""
        return matches(self.shown(layer), patterns)

    def read(self) -> tuple[list[Stroke], list[Label], list[Fault]]:
        """Return the strokes, marks and faults of the document; its labels are found on the way."""
        with np.errstate(all="ignore"):  # what is not finite is found when all is known in m
            layers, faults = self.walk()
            passed = self.passed_over(layers)
            strokes, dropped = strokes_of(self.curves, self.scale, self.shown, self.wrong)
        marks = self.marks({label.layer for label in self.labels} - {stroke.layer for stroke in strokes})
        if self.errors:
            raise self.all_errors()
        if not strokes:
            raise self.nothing(layers, bool(dropped))
        return strokes, marks, [*faults, *dropped, *self.not_track(), *passed]

    def walk(self) -> tuple[Counter[str], list[Fault]]:
        """Take every entity; return how much is drawn on each layer, and the faults of blocks."""
        blocks = Blocks(self.document, self.any)
        try:
            for item in blocks.items(self.trouble):
                self.take(item)
        except OverflowError as error:
            wrong = f"its curves and blocks make more than {MOST_POINTS:,} points"
            raise DrawingError(wrong, write="fewer layers, or fewer copies of blocks") from error
        return blocks.layers, blocks.faults

    def trouble(self, entity: Any, layer: str, error: DrawingError) -> None:  # noqa: ANN401
        """Take an error of an entity, once however often it is drawn."""
        self.wrong(entity.dxftype(), handle_of(entity), layer, error)

    def wrong(self, kind: str, handle: str, layer: str, error: DrawingError) -> None:
        """Take an error of an entity of a type, by its handle."""
        name = f"{kind} #{handle}" if handle else kind
        place = f"{name} on layer {quoted(self.shown(layer))}"
        self.errors.setdefault((place, error.wrong), error.at(file=self.file, place=place))

    def take(self, item: Item) -> None:
        """Take one entity."""
        kind = item.entity.dxftype()
        try:
            if kind in TEXTS:
                label = label_of(item.entity, self.scale, self.shown(item.layer), item.handle)
                if label is not None and (self.texts(item.layer) or says_height(label.text)):
                    self.labels.append(label)
            elif kind == "POINT" and (self.lines(item.layer) or self.named(item.layer)):
                self.points.append(item)
            elif not self.lines(item.layer):
                pass
            elif kind in CURVES and (curve := curve_of(item.entity, self.budget)) is not None:
                self.curves.add(curve, item)
            else:
                self.unknown.setdefault(kind, []).append(item)
        except DrawingError as error:
            self.trouble(item.origin, item.layer, error)

    def marks(self, layers: Iterable[str]) -> list[Label]:
        """Return the points that stand with texts on layers of their own; all others are passed over as no track."""
        marks = []
        for item in self.points:
            layer = self.shown(item.layer)
            mark = mark_of(item.entity, self.scale, layer, item.handle) if layer in layers else None
            if mark is not None:
                marks.append(mark)
            else:
                self.unknown.setdefault("POINT", []).append(item)
        return marks

    def not_track(self) -> list[Fault]:
        """Return a fault for each type of entity that cannot be track."""
        found = []
        for kind, items in self.unknown.items():
            layer = self.shown(items[0].layer)
            text = f"{len(items)} {clean(kind)} on the layers to read, such as on {quoted(layer)}: not read as track"
            found.append(Fault("unknown-entity", text, None, items[0].handle, layer, weight=len(items)))
        return found

    def passed_over(self, layers: Iterable[str]) -> list[Fault]:
        """Return what was not read, or only in part."""
        found = []
        if any(mended_name(layer) != layer for layer in layers):
            found.append(Fault("encoding", "names of layers are not in the file's own encoding"))
        model = self.document.modelspace()  # a damaged layout may not know which one it is
        layouts = (layout for layout in self.document.layouts if layout is not model)
        paper = sum(entity.dxftype() != "VIEWPORT" for layout in layouts for entity in layout)
        if paper:
            found.append(Fault("paper-space", f"{paper} entities are on paper, not in the model space: not read"))
        # Names and heights may be among the texts on the other layers, and track among what looks like none.
        left = Counter((layer_of(entity), entity.dxftype() in TEXTS) for entity in model)
        for one, many, is_text in (("text", "texts", True), ("entity", "entities", False))[
            : 2 if self.patterns is None else 1
        ]:
            counts = Counter[str]()
            for (layer, text), count in left.items():
                counts[self.shown(layer)] += count if text == is_text and not self.any(layer) else 0
            counts = +counts
            each = [f"{n} {one if n == 1 else many} on layer {layer}" for layer, n in counts.most_common(_MOST_LAYERS)]
            more = [f"{len(counts) - _MOST_LAYERS} more layers"] if len(counts) > _MOST_LAYERS else []
            names = "the layer's name; to read it," if len(counts) == 1 else "the layers' names; to read one,"
            why = f" because of {names} name it with the others in --layers" if self.patterns is None else ""
            if each:
                found.append(Fault("not-read", f"{', '.join(each + more)} skipped{why}", weight=counts.total()))
        return found

    def all_errors(self) -> DrawingError | Problems:
        """Return what is wrong with entities."""
        errors = list(self.errors.values())
        if len(errors) > _MOST_ERRORS:
            text = f"{len(errors) - _MOST_ERRORS:,} more entities cannot be used"
            errors = [*errors[:_MOST_ERRORS], DrawingError(text, file=self.file)]
        return errors[0] if len(errors) == 1 else Problems(list(errors))

    def nothing(self, layers: Counter[str], dropped: bool) -> DrawingError:
        """Return the error for a drawing that draws no line on the layers to read."""
        if not layers:
            wrong = "the drawing draws nothing in its model space"
            return DrawingError(wrong, write="it again with the track in the model space")
        names = [f"{quoted(self.shown(layer))} ({count:,})" for layer, count in layers.most_common(12)]
        more = f" and {len(layers) - 12} more" if len(layers) > 12 else ""
        if self.patterns is None and not any(map(self.lines, layers)):
            wrong = "no layer looks like track by its name"
            return DrawingError(wrong, found=f"{', '.join(names)}{more}", write="--layers with those of the track")
        patterns = listed(self.patterns or ["*"])
        if self.unknown or self.labels or dropped:
            found = ", ".join(f"{len(items)} {clean(kind)}" for kind, items in list(self.unknown.items())[:6])
            return DrawingError(
                f"nothing on the layers {patterns} can be read as track",
                found=found or ("texts alone" if self.labels else "lines without length"),
            )
        return DrawingError(f"nothing is on the layers {patterns}", write=f"one of {', '.join(names)}{more}")
