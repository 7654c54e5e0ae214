"""What the model space of a DXF file draws with its blocks: counted first, then one entity after another."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from typing import Any, NamedTuple

from gradehaul.errors import DrawingError, clean, cut, quoted
from gradehaul.plan.drawing.dxf.entities import (
    TEXTS,
    Entity,
    hand_of,
    handle_of,
    layer_of,
    number_of,
    point_of,
    value_of,
)
from gradehaul.plan.drawing.records import Fault

DEEPEST = 16
"""How deep blocks may stand in one another."""
MOST_INSERTED = 250_000
"""The most entities that the blocks of one drawing may put on the layers to read: some ten seconds' work."""

CURVES = frozenset({"LINE", "ARC", "CIRCLE", "ELLIPSE", "LWPOLYLINE", "POLYLINE", "SPLINE", "HELIX"})
"""The types of entity that may be track."""
_POLYLINES = frozenset({"LWPOLYLINE", "POLYLINE"})
_ROUND = _POLYLINES | {"ARC", "CIRCLE"}
_EXTERNAL = 4 | 8
_BY_INSERT = "0"
"""The layer of a block's entities that take the layer of whatever INSERT draws them."""
_ALIKE = 1e-6
"""How far axes may differ in length and from square, as a share, that keep a circle round."""

Matrix = Any
"""A matrix of the library: where a block puts things, None for where they are."""
Trouble = Callable[[Any, str, DrawingError], None]
"""What takes an entity that cannot be used, its layer, and why."""


class Item(NamedTuple):
    """An entity in the coordinates of the model space, its layer and handle, and the entity of the file it shows."""

    entity: Entity
    layer: str
    handle: str
    origin: Entity


class _Block(NamedTuple):
    """A block's entities, how many a copy of it draws by their layers, and how deep blocks stand in it."""

    name: str
    entities: list[Entity]
    content: Counter[str]
    depth: int


class Blocks:
    """The model space of a file with all the blocks that it inserts, on the layers that are `wanted`.

    `layers` counts what is drawn by layer; `faults` name the blocks that are missing, or are other files.

    Raises
    ------
    DrawingError
        Blocks insert one another in a loop, stand in one another more than `DEEPEST` deep, or would put more than
        `MOST_INSERTED` entities on the layers to read; without the file.
    """

    def __init__(self, document: Any, wanted: Callable[[str], bool]) -> None:  # noqa: ANN401 - the library's
        self.faults: list[Fault] = []
        self._document, self._wanted = document, wanted
        self._known: dict[str, _Block] = {}
        self._drawn: dict[tuple[str, bool], list[Entity]] = {}
        self._missing: Counter[str] = Counter()
        self._space = self._counted(document.modelspace(), ())
        self.layers = self._space.content
        for name, count in self._missing.items():
            text = f"block {quoted(name)} is inserted {count} times but is nowhere"
            self.faults.append(Fault("missing-block", text, weight=count))
        self._check_amount()

    def _counted(self, layout: Any, above: tuple[str, ...]) -> _Block:  # noqa: ANN401 - a block or layout
        """Return a block with what it draws, after the blocks that it inserts."""
        name = str(layout.block_record.dxf.name)
        key = name.lower()
        names = [each.lower() for each in above]
        if key in names:
            loop = (*above[names.index(key) :], name)
            raise DrawingError(
                "a block inserts itself",
                place=f"block {quoted(name)}",
                found=" > ".join(cut(clean(each)) for each in loop),
                write="the blocks without that loop",
            )
        if above and int(value_of(layout.block_record.block, "flags", 0)) & _EXTERNAL:
            self.faults.append(Fault("external-block", f"block {quoted(name)} is another file, which is not read"))
        entities, content, depth = list(layout), Counter[str](), 0
        for entity in entities:
            layer = layer_of(entity)
            if entity.dxftype() != "INSERT":
                content[layer] += 1 + len(entity) // 20 if above and entity.dxftype() in _POLYLINES else 1
                continue
            inner = self._of(entity)
            if inner is None:
                of = str(value_of(entity, "name", ""))
                found = self._document.blocks.get(of) if of else None
                if found is None:
                    self._missing[of] += 1
                elif len(above) >= DEEPEST:
                    raise _too_deep(name)
                else:
                    inner = self._counted(found, (*above, name))
            if inner is not None:
                depth = max(depth, inner.depth + 1)
            content.update(self._by_layer(entity, layer, inner))
        if depth > DEEPEST:
            raise _too_deep(name)
        self._known[key] = _Block(name, entities, content, depth)
        return self._known[key]

    def _of(self, insert: Entity) -> _Block | None:
        """Return the block of an INSERT where it was counted."""
        return self._known.get(str(value_of(insert, "name", "")).lower())

    def _by_layer(self, insert: Entity, layer: str, block: _Block | None) -> Counter[str]:
        """Return how many entities an INSERT draws, by layer."""
        found = Counter(_inherited(layer_of(text), layer) for text in insert.attribs)
        for inner, count in () if block is None else block.content.items():
            found[_inherited(inner, layer)] += count * max(insert.mcount, 1)
        return found

    def _check_amount(self) -> None:
        """Refuse blocks that draw too much on the layers to read, and name the one of which the most is drawn."""
        drawn: Counter[str] = Counter()
        for entity in self._space.entities:
            block = self._of(entity) if entity.dxftype() == "INSERT" else None
            if block is not None:
                layers = self._by_layer(entity, layer_of(entity), block)
                drawn[block.name] += sum(count for layer, count in layers.items() if self._wanted(layer))
        if drawn.total() <= MOST_INSERTED:
            return
        ((name, count),) = drawn.most_common(1)
        raise DrawingError(
            f"inserted blocks put more than {MOST_INSERTED:,} entities on these layers",
            place=f"block {quoted(name)}",
            found=f"{count:,} of it" if count < 10**15 else "more than can be counted",
            write="fewer layers, or fewer copies of it",
        )

    def items(self, trouble: Trouble) -> Iterator[Item]:
        """Yield every entity on a layer to read, those of blocks with the handle of the outermost INSERT."""
        for entity in self._space.entities:
            handle, count = handle_of(entity), 0
            for origin, place, layer in self._draws(entity, None, layer_of(entity), trouble):
                try:
                    copies = _placed(origin, place)
                except DrawingError as error:
                    trouble(origin, layer, error)
                    continue
                for copy in copies:
                    count += 1
                    of = f"{handle}/{count}" if entity.dxftype() == "INSERT" else handle
                    yield Item(copy, layer, of, origin)

    def _draws(
        self, entity: Entity, place: Matrix, layer: str, trouble: Trouble
    ) -> Iterable[tuple[Entity, Matrix, str]]:
        """Return what an entity on a layer draws, itself or what it inserts: each with its placing and its layer."""
        if entity.dxftype() == "INSERT":
            return self._inserted(entity, place, layer, trouble)
        return ((entity, place, layer),) if self._wanted(layer) else ()

    def _inserted(
        self, entity: Entity, place: Matrix, layer: str, trouble: Trouble
    ) -> Iterator[tuple[Entity, Matrix, str]]:
        block = self._of(entity)
        within = [] if block is None else self._within(block, layer)
        try:
            placings = _placings(entity, place) if within else []
        except DrawingError as error:
            trouble(entity, layer, error)
            placings = []
        texts = ((text, place) for text in entity.attribs)
        for inner, at in chain(texts, ((inner, at) for at in placings for inner in within)):
            yield from self._draws(inner, at, _inherited(layer_of(inner), layer), trouble)

    def _within(self, block: _Block, layer: str) -> list[Entity]:
        """Return a block's entities that draw anything to read where its INSERT is on a layer."""
        key = block.name, self._wanted(layer)
        if key not in self._drawn:
            own = [(entity, _inherited(layer_of(entity), layer)) for entity in block.entities]
            self._drawn[key] = [
                entity
                for entity, on in own
                if (
                    any(map(self._wanted, self._by_layer(entity, on, self._of(entity))))
                    if entity.dxftype() == "INSERT"
                    else self._wanted(on)
                )
            ]
        return self._drawn[key]


def _too_deep(name: str) -> DrawingError:
    wrong = f"blocks stand more than {DEEPEST} deep in one another"
    return DrawingError(wrong, place=f"block {quoted(name)}", write="them exploded")


def _inherited(layer: str, insert: str) -> str:
    return insert if layer == _BY_INSERT else layer


def _placings(insert: Entity, outer: Matrix) -> list[Matrix]:
    """Return where an INSERT puts its block, once for each row and column; a z scale of 0 lays it flat."""
    scales = [number_of(insert, f"{axis}scale", 1.0) for axis in "xyz"]
    if not all(scales[:2]):
        raise DrawingError("a scale must not be 0", found=" × ".join(f"{scale:g}" for scale in scales))
    for name in ("rotation", "column_spacing", "row_spacing"):
        number_of(insert, name, 0.0)
    at, base = point_of(insert, "insert"), insert.block().block.dxf.base_point.xyz
    if not math.isfinite(sum((*at, *base))):
        raise DrawingError("a coordinate must be finite", found=str(at if math.isfinite(sum(base)) else base))
    each = insert.multi_insert() if insert.mcount > 1 else (insert,)
    return [one.matrix44() if outer is None else one.matrix44() * outer for one in each]


def _placed(entity: Entity, matrix: Matrix) -> list[Entity]:
    """Return copies of an entity where a matrix puts it, None for where it is.

    Arcs that do not stay round, or lie askew, become ellipses; a polyline with such arcs becomes its segments. The
    library takes axes of the same length for square to one another, and would keep an arc round that is sheared.
    """
    kind = entity.dxftype()
    flat = kind not in _ROUND or hand_of(entity) != 0
    if (matrix is None and flat) or not (kind in CURVES or kind in TEXTS or kind == "POINT"):
        return [entity]
    from ezdxf.entities.circle import Circle
    from ezdxf.entities.ellipse import Ellipse
    from ezdxf.math import Matrix44, TransformError

    try:
        round_still = kind not in _ROUND or (flat and _stays_round(matrix))
        apart = not round_still and kind in _POLYLINES and entity.has_arc
        copies = [
            Ellipse.from_arc(part) if isinstance(part, Circle) and not round_still else part.copy()
            for part in (entity.virtual_entities() if apart else (entity,))
        ]
        return [copy.transform(matrix or Matrix44()) for copy in copies]
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError, TransformError) as error:
        raise DrawingError("it cannot be put where it belongs", found=cut(clean(str(error)))) from error


def _stays_round(matrix: Matrix) -> bool:
    """Return whether a circle that is flat in its block is round and flat in the plan."""
    ux, uy = matrix.ux, matrix.uy
    size = ux.magnitude
    alike = abs(uy.magnitude - size) <= _ALIKE * size and abs(ux.dot(uy)) <= _ALIKE * size * size
    return bool(alike and abs(ux.z) + abs(uy.z) <= _ALIKE * size)
