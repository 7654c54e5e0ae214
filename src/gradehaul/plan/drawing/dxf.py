"""A DXF file becomes a drawing: strokes and labels in m, with every doubt about it told."""

from __future__ import annotations

import fnmatch
import logging
import re
import stat
import struct
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import InitVar, dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from gradehaul.errors import DrawingError, Problems, QuantityError
from gradehaul.plan.drawing.dxf_batch import Batch, Origin
from gradehaul.plan.drawing.dxf_blocks import Item, Opening, handle_of, reckon
from gradehaul.plan.drawing.dxf_library import dxf_library
from gradehaul.plan.drawing.dxf_repair import Repaired, repaired
from gradehaul.plan.drawing.dxf_shapes import Shape, shape_of
from gradehaul.plan.drawing.dxf_strokes import MOST_CHORDS, MOST_POINTS, Budget, draw
from gradehaul.plan.drawing.dxf_texts import TEXTS, label_of
from gradehaul.plan.drawing.dxf_units import meters_of, unit_of_header
from gradehaul.plan.drawing.records import Drawing, Fault, Label
from gradehaul.plan.names import clean, cut, listed, quoted
from gradehaul.quantities import convert, length_unit

LARGEST_FILE = 200_000_000
"""The most bytes a drawing may have."""
TOLERANCE = 2e-5
"""How far, m, the chords of a curve may lie from it: a fiftieth of a millimeter."""

_TOLD = 20
_SENTINEL = b" Binary DXF\r\n\x1a\x00"
"""What the first 22 bytes of every binary DXF file end with."""
_OTHER = re.compile(rb"AC1[.0-9]|AC2\.|MC0\.0")
_BOM = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16", b"\xef\xbb\xbf": "UTF-8 with a byte-order mark"}


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
    """Return the strokes and labels of a DXF file, from R12 to R2018, as text or binary.

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
        ``unknown-entity``, ``missing-block``, ``external-block``, ``edge-on``, ``coarse``, ``unit``, ``encoding``,
        ``paper-space``, ``left-out`` and ``repaired``.

    Raises
    ------
    DrawingError
        The file is none of these, is damaged, has no unit, or draws nothing on the layers.
    Problems
        Entities on the layers cannot be used; each is named.
    OSError
        The file cannot be read for a reason of the system.
    """
    file = str(path)
    if not layers:
        raise DrawingError("no layer is named to read", file=file, write='layers = ["..."]')
    given = None if unit is None else _unit_given(unit, file)
    whole = Path(folder or ".") / path
    _check_file(whole, file)
    try:
        with _messages() as messages:
            loaded = _load(whole, file, repair=repair)
        return _drawing(loaded, messages, file, _Wanted(layers, height_layers), given, tolerance)
    except DrawingError as error:
        raise error.at(file=file) from error.__cause__


def _unit_given(unit: str, file: str) -> str:
    try:
        return length_unit(unit)
    except QuantityError as error:
        raise DrawingError(error.wrong, file=file, place="unit", found=error.found, write=error.write) from error


def _check_file(path: Path, file: str) -> None:
    """Refuse what is no DXF file by its first bytes and its size."""
    try:
        about = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:  # ValueError: a NUL in the path
        raise DrawingError("there is no such file", file=clean(file)) from error
    if not stat.S_ISREG(about.st_mode):
        what = "a folder" if stat.S_ISDIR(about.st_mode) else "no ordinary file"
        raise DrawingError("a drawing is a DXF file", file=file, found=what)
    if about.st_size > LARGEST_FILE:
        size = f"{about.st_size / 1e6:,.0f} MB"
        raise DrawingError("a drawing has at most 200 MB", file=file, found=size, write="a file of the track alone")
    with path.open("rb") as stream:
        head = stream.read(4096)
    if not head.strip():
        raise DrawingError("the drawing is empty", file=file, write="it again, saved as DXF")
    if _OTHER.match(head):
        raise DrawingError(
            "only DXF is an open format", file=file, found="a DWG file", write="it again, saved as DXF (2018 or older)"
        )
    for mark, name in _BOM.items():
        if head.startswith(mark):
            raise DrawingError("a DXF file is plain text", file=file, found=name, write="it again, saved as DXF")
    if head[7:22] != _SENTINEL and b"\0" in head:
        raise DrawingError("this is no DXF file", file=file, found="binary data", write="it again, saved as DXF")


@dataclass(slots=True)
class _Loaded:
    """A file as the library read it, its unit's code as the header has it (0 for none), and what was mended."""

    document: Any
    unit_code: int
    repaired: Repaired | None = None


def _load(path: Path, file: str, *, repair: bool) -> _Loaded:
    """Read a file as it stands, or, where that fails and it is wanted, after its repair in another process."""
    try:
        return _plain(path)
    except DrawingError as error:
        if not repair:
            raise
        if _is_binary(path):
            raise DrawingError("a binary DXF file cannot be repaired", file=file, found=error.found) from error
    with repaired(path, file) as mended:
        loaded = _plain(mended.path)
    # The copy is written with a unit, whether the file has one or not.
    return _Loaded(loaded.document, mended.unit_code, mended)


def _is_binary(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(22)[7:] == _SENTINEL


def _plain(path: Path) -> _Loaded:
    """Read a file as it stands; all that the library raises over a damaged one ends here."""
    ezdxf = dxf_library()
    from ezdxf.lldxf.validator import binary_dxf_info, dxf_info

    try:
        if _is_binary(path):
            info = binary_dxf_info(path.read_bytes())
        else:
            with path.open(encoding="utf-8", errors="ignore") as stream:
                info = dxf_info(stream)
        return _Loaded(ezdxf.readfile(path), int(info.insert_units))
    except (
        ezdxf.DXFError,
        OSError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        LookupError,  # IndexError and KeyError
        MemoryError,
        RecursionError,
        StopIteration,
        TypeError,
        ValueError,  # UnicodeDecodeError too
        struct.error,
    ) as error:
        why = cut(clean(" ".join(str(error).replace(str(path), "the file").split()))) or type(error).__name__
        raise DrawingError(
            "the file is damaged or cut short", found=why, write="it again, saved as DXF, or ask for its repair"
        ) from error


@contextmanager
def _messages() -> Iterator[list[str]]:
    """Collect what the library warns of while it reads: content that it leaves out."""
    found: list[str] = []
    handler = logging.Handler(logging.WARNING)
    handler.emit = lambda record: found.append(record.getMessage())  # type: ignore[method-assign]
    logger = logging.getLogger("ezdxf")
    logger.addHandler(handler)
    try:
        yield found
    finally:
        logger.removeHandler(handler)


class _Wanted:
    """The layers asked for: whether a layer is one whose lines are read, or one whose texts are."""

    def __init__(self, layers: Sequence[str], height_layers: Sequence[str]) -> None:
        self.patterns = tuple(layers)
        self._lines = _matcher(layers)
        self._texts = _matcher(height_layers)
        self._known: dict[str, tuple[bool, bool, str]] = {}

    def _of(self, layer: str) -> tuple[bool, bool, str]:
        known = self._known.get(layer)
        if known is None:
            name = clean(mended_name(layer))
            lines = self._lines(name.casefold())
            known = self._known[layer] = (lines, lines or self._texts(name.casefold()), name)
        return known

    def told(self, layer: str) -> str:
        """Return a layer's name as it is told: mended, and without control characters."""
        return self._of(layer)[2]

    def lines(self, layer: str) -> bool:
        """Tell whether the lines of a layer are read."""
        return self._of(layer)[0]

    def any(self, layer: str) -> bool:
        """Tell whether anything of a layer is read."""
        return self._of(layer)[1]


def _matcher(patterns: Sequence[str]) -> Callable[[str], bool]:
    compiled = [re.compile(fnmatch.translate(pattern.casefold())) for pattern in patterns]
    return lambda name: any(pattern.match(name) for pattern in compiled)


def mended_name(text: str) -> str:
    r"""Return a name or text with bytes that are not of the file's own encoding read as what they most likely are.

    Examples
    --------
    >>> mended_name("Wei\udcdfe"), mended_name("Track")
    ('Weiße', 'Track')
    """
    if text.isascii() or not any("\udc80" <= sign <= "\udcff" for sign in text):
        return text
    data = text.encode("utf-8", "surrogateescape")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return re.sub("[\udc80-\udcff]+", lambda found: _western(found[0]), text)


def _western(text: str) -> str:
    return text.encode("utf-8", "surrogateescape").decode("cp1252", "replace")


@dataclass(slots=True)
class _Reading:
    """One reading of a drawing: what was found so far."""

    file: str
    wanted: _Wanted
    budget: Budget
    batch: Batch = field(init=False)
    scale: InitVar[float]
    labels: list[Label] = field(default_factory=list)
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
    loaded: _Loaded, messages: list[str], file: str, wanted: _Wanted, unit: str | None, tolerance: float
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
        file, tuple(reading.batch.strokes), tuple(reading.labels), tuple(reading.faults), MappingProxyType(dict(counts))
    )


def _scale(code: int, unit: str | None) -> tuple[float, list[Fault]]:
    """Return how many m the drawing's unit is, and what there is to say about it."""
    header = unit_of_header(code)
    if unit is None:
        return meters_of(code), []
    scale = 1 / convert(1.0, unit)
    if header is None or abs(header.meters - scale) <= 1e-5 * scale:
        return scale, []
    text = f"the file says that it is drawn in {header.name}, and is read in {unit} as asked"
    return scale, [Fault("unit", text)]


def _about_file(loaded: _Loaded, messages: list[str]) -> list[Fault]:
    """Return the faults that are of the file, not of an entity."""
    faults = [Fault("left-out", cut(clean(text)), weight=count) for text, count in Counter(messages).items()]
    if loaded.repaired is not None:
        faults += [Fault("repaired", clean(text)) for text in loaded.repaired.changes]
    paper = sum(
        entity.dxftype() != "VIEWPORT"
        for layout in loaded.document.layouts
        if not layout.is_modelspace
        for entity in layout
    )
    if paper:
        faults.append(Fault("paper-space", f"{paper} entities are on paper, not in the model space: not read"))
    return faults


def _nothing(counts: Counter[str], wanted: _Wanted, reading: _Reading) -> DrawingError:
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
