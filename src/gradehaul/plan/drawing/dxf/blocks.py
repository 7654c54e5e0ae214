"""What the model space of a DXF file draws with its blocks: counted first, then one entity after another."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.values import Placing, handle_of, layer_of, number_of, point_of, value_of
from gradehaul.plan.drawing.records import Fault, FloatArray
from gradehaul.plan.names import clean, cut, quoted

DEEPEST = 16
"""How deep blocks may stand in one another."""
MOST_INSERTED = 250_000
"""The most entities that the blocks of one drawing may put on the layers to read: some ten seconds' work."""

_EXTERNAL = 4 | 8
_BY_INSERT = "0"
"""The layer of a block's entities that take the layer of whatever INSERT draws them."""


class Item(NamedTuple):
    """An entity that is drawn: where its block puts it, None in the model space itself, its layer and its handle."""

    entity: Any
    placing: Placing
    layer: str
    handle: str


class _Block(NamedTuple):
    """A block's entities, how many a copy of it draws by their layers, and how deep blocks stand in it."""

    name: str
    entities: list[Any]
    content: Counter[str]
    depth: int


class Blocks:
    """The model space of a file, with all the blocks that it inserts.

    Parameters
    ----------
    document
        The file as ezdxf read it.
    wanted
        Whether a layer is among those to read.

    Attributes
    ----------
    layers
        How many entities are drawn, by layer.
    faults
        Blocks that are missing, or are other files.

    Raises
    ------
    DrawingError
        Blocks insert one another in a loop, stand in one another more than `DEEPEST` deep, or would put more than
        `MOST_INSERTED` entities on the layers to read; without the file.
    """

    def __init__(self, document: Any, wanted: Callable[[str], bool]) -> None:  # noqa: ANN401
        self.faults: list[Fault] = []
        self._document, self._wanted = document, wanted
        self._known: dict[str, _Block] = {}
        self._drawn: dict[tuple[str, bool], list[Any]] = {}
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
        if len(above) > DEEPEST:
            raise _too_deep(name)
        if above and int(value_of(layout.block_record.block, "flags", 0)) & _EXTERNAL:
            text = f"block {quoted(name)} is another file, which is not read"
            self.faults.append(Fault("external-block", text))
        entities, content, depth = list(layout), Counter[str](), 0
        for entity in entities:
            layer = layer_of(entity)
            if entity.dxftype() != "INSERT":
                content[layer] += _weight(entity) if above else 1
                continue
            inner = self._of(entity)
            if inner is None:
                of = str(value_of(entity, "name", ""))
                found = self._document.blocks.get(of) if of else None
                if found is None:
                    self._missing[of] += 1
                else:
                    inner = self._counted(found, (*above, name))
            if inner is not None:
                depth = max(depth, inner.depth + 1)
            content.update(self._by_layer(entity, layer, inner))
        if depth > DEEPEST:
            raise _too_deep(name)
        self._known[key] = _Block(name, entities, content, depth)
        return self._known[key]

    def _of(self, insert: Any) -> _Block | None:  # noqa: ANN401 - an INSERT of the library
        """Return the block of an INSERT where it was counted."""
        return self._known.get(str(value_of(insert, "name", "")).lower())

    def _by_layer(self, insert: Any, layer: str, block: _Block | None) -> Counter[str]:  # noqa: ANN401 - an INSERT
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
            f"inserted blocks may put {MOST_INSERTED:,} entities on these layers",
            place=f"block {quoted(name)}",
            found=f"{count:,} of it" if count < 10**15 else "more than can be counted",
            write="fewer layers, or fewer copies of it",
        )

    def items(self, trouble: Callable[[Any, str, DrawingError], None]) -> Iterator[Item]:
        """Yield every entity on a layer to read, those of blocks with the handle of the outermost INSERT.

        `trouble` takes an INSERT that cannot be placed, and its layer.
        """
        for entity in self._space.entities:
            layer, handle = layer_of(entity), handle_of(entity)
            if entity.dxftype() == "INSERT":
                drawn = self._inserted(entity, None, layer, trouble)
                for number, (inner, placing, on) in enumerate(drawn, 1):
                    yield Item(inner, placing, on, f"{handle}/{number}")
            elif self._wanted(layer):
                yield Item(entity, None, layer, handle)

    def _inserted(
        self,
        insert: Any,  # noqa: ANN401 - an INSERT of the library
        outer: Placing,
        layer: str,
        trouble: Callable[[Any, str, DrawingError], None],
    ) -> Iterator[tuple[Any, Placing, str]]:
        """Yield what one INSERT on a layer draws, with its placing and layer."""
        for text in insert.attribs:
            if self._wanted(own := _inherited(layer_of(text), layer)):
                yield text, outer, own
        block = self._of(insert)
        within = [] if block is None else self._within(block, layer)
        try:
            placings = _placings(insert) if within else ()
        except DrawingError as error:
            trouble(insert, layer, error)
            return
        for placing in placings:
            inner = placing if outer is None else placing @ outer
            for entity in within:
                own = _inherited(layer_of(entity), layer)
                if entity.dxftype() == "INSERT":
                    yield from self._inserted(entity, inner, own, trouble)
                else:
                    yield entity, inner, own

    def _within(self, block: _Block, layer: str) -> list[Any]:
        """Return a block's entities that draw anything to read where its INSERT is on a layer."""
        key = block.name, self._wanted(layer)
        if key not in self._drawn:
            self._drawn[key] = [entity for entity in block.entities if self._draws(entity, layer)]
        return self._drawn[key]

    def _draws(self, entity: Any, layer: str) -> bool:  # noqa: ANN401 - an entity of the library
        own = _inherited(layer_of(entity), layer)
        if entity.dxftype() != "INSERT":
            return self._wanted(own)
        return any(self._wanted(each) for each in self._by_layer(entity, own, self._of(entity)))


def _weight(entity: Any) -> int:  # noqa: ANN401 - an entity of the library
    """Return as how many entities one of a block counts: a long polyline as one for each 20 points."""
    return 1 + len(entity) // 20 if entity.dxftype() in {"LWPOLYLINE", "POLYLINE"} else 1


def _too_deep(name: str) -> DrawingError:
    wrong, place = f"blocks may stand {DEEPEST} deep in one another", f"block {quoted(name)}"
    return DrawingError(wrong, place=place, found="more", write="them exploded")


def _inherited(layer: str, insert: str) -> str:
    return insert if layer == _BY_INSERT else layer


def _placings(insert: Any) -> Iterator[FloatArray]:  # noqa: ANN401 - an INSERT
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
    return (np.array(list(one.matrix44())).reshape(4, 4) for one in each)
