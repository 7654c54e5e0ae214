"""What the model space of a DXF file draws, its own entities and those of the blocks it inserts, one after another."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.blocks import BY_INSERT, Block, Blocks
from gradehaul.plan.drawing.dxf.values import Placing, handle_of, layer_of, number_of, point_of, value_of


class Item(NamedTuple):
    """An entity that is drawn: where its block puts it, None in the model space itself, its layer and its handle."""

    entity: Any
    placing: Placing | None
    layer: str
    handle: str


@dataclass(frozen=True, slots=True)
class Expansion:
    """The model space with the blocks that it inserts; `trouble` takes an INSERT that cannot be placed, and its layer.

    The blocks were counted before (`survey`), so the recursion is not deeper than they may stand in one another.
    """

    blocks: Blocks
    wanted: Callable[[str], bool]
    trouble: Callable[[Any, str, DrawingError], None]

    def items(self) -> Iterator[Item]:
        """Yield every entity on a layer to read, those of blocks with the handle of the outermost INSERT."""
        for entity in self.blocks.root.entities:
            layer = layer_of(entity)
            if entity.dxftype() != "INSERT":
                if self.wanted(layer):
                    yield Item(entity, None, layer, handle_of(entity))
                continue
            handle = handle_of(entity)
            for number, (drawn, placing, on) in enumerate(self._of(entity, None, layer, layer)):
                yield Item(drawn, placing, on, f"{handle}/{number + 1}")

    def _of(
        self,
        insert: Any,  # noqa: ANN401 - an INSERT of the library
        outer: Placing | None,
        layer: str,
        context: str,
    ) -> Iterator[tuple[Any, Placing | None, str]]:
        """Yield what one INSERT draws; `layer` is the layer it is on, `context` that of the INSERT which draws it."""
        for text in insert.attribs:
            own = _inherited(layer_of(text), context)
            if self.wanted(own):
                yield text, outer, own
        block = self._block(insert)
        on = self.wanted(layer)
        if block is None or not block.amount(on=on):
            return
        if on not in block.drawn:
            block.drawn[on] = [entity for entity in block.entities if self._draws(entity, on)]
        try:
            placings = _placings(insert)
        except DrawingError as error:
            self.trouble(insert, layer, error)
            return
        for placing in placings:
            inner = placing.within(outer)
            for entity in block.drawn[on]:
                own = _inherited(layer_of(entity), layer)
                if entity.dxftype() == "INSERT":
                    yield from self._of(entity, inner, own, layer)
                else:
                    yield entity, inner, own

    def _block(self, insert: Any) -> Block | None:  # noqa: ANN401 - an INSERT of the library
        return self.blocks.known.get(str(value_of(insert, "name", "")).lower())

    def _draws(self, entity: Any, on: bool) -> bool:  # noqa: ANN401 - an entity of the library
        """Tell whether an entity of a block draws anything to read where its INSERT is `on` such a layer, or not."""

        def read(layer: str) -> bool:
            return on if layer == BY_INSERT else self.wanted(layer)

        here = read(layer_of(entity))
        if entity.dxftype() != "INSERT":
            return here
        block = self._block(entity)
        return any(read(layer_of(text)) for text in entity.attribs) or (block is not None and block.amount(on=here) > 0)


def _inherited(layer: str, context: str) -> str:
    return context if layer == BY_INSERT else layer


def _placings(insert: Any) -> Iterator[Placing]:  # noqa: ANN401 - an INSERT of the library
    """Return where an INSERT puts its block, once for each row and column; a z scale of 0 lays it flat."""
    scales = [number_of(insert, f"{axis}scale", 1.0) for axis in "xyz"]
    if not all(scales[:2]):
        raise DrawingError("a scale must not be 0", found=" × ".join(f"{scale:g}" for scale in scales))
    for name in ("rotation", "column_spacing", "row_spacing"):
        number_of(insert, name, 0.0)
    at, base = point_of(insert, "insert"), insert.block().block.dxf.base_point.xyz
    if not math.isfinite(sum((*at, *base))):
        raise DrawingError("a coordinate must be finite", found=str(at if math.isfinite(sum(base)) else base))
    return (_placing(each) for each in (insert.multi_insert() if insert.mcount > 1 else (insert,)))


def _placing(insert: Any) -> Placing:  # noqa: ANN401 - an INSERT of the library
    matrix = np.array(list(insert.matrix44())).reshape(4, 4)
    return Placing(matrix[:3, :3], matrix[3, :3])
