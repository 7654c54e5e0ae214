"""The INSERTs of a DXF file opened up: every entity that is drawn, and where the blocks around it put it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf_blocks import BY_INSERT, Blocks, grid_of, handle_of, layer_of
from gradehaul.plan.drawing.dxf_shapes import number_of, plane, point_of
from gradehaul.plan.drawing.dxf_strokes import Placing
from gradehaul.plan.drawing.records import FloatArray


class Item(NamedTuple):
    """An entity where it is drawn: its layer there, and the handle of what drew it in the model space."""

    entity: Any
    placing: Placing | None
    layer: str
    handle: str


_OUTERMOST = Placing(np.eye(3), np.zeros(3))


@dataclass(slots=True)
class Opening:
    """The opening up of INSERTs: the blocks as reckoned, the layers asked for, and what to do about a bad INSERT."""

    blocks: Blocks
    wanted: Callable[[str], bool]
    trouble: Callable[[Any, str, DrawingError], None]

    def items(self) -> Iterator[Item]:
        """Give every entity on a layer asked for, in drawing order, with the texts of INSERTs."""
        for entity in self.blocks.root.entities:
            layer = layer_of(entity)
            if entity.dxftype() != "INSERT":
                if self.wanted(layer):
                    yield Item(entity, None, layer, handle_of(entity))
                continue
            handle, number = handle_of(entity), 0
            stack: list[Iterator[Any]] = [self._opened(entity, _OUTERMOST, layer, None)]
            while stack:
                step = next(stack[-1], None)
                if step is None:
                    stack.pop()
                elif isinstance(step, tuple):
                    number += 1
                    drawn, place, on = step
                    yield Item(drawn, place, on, f"{handle}/{number}")
                else:
                    stack.append(step)

    def _opened(self, insert: Any, outer: Placing, layer: str, context: str | None) -> Iterator[Any]:  # noqa: ANN401
        """Give what one INSERT draws: steps, and for each INSERT inside an iterator like this one.

        `layer` is the layer it is on, `context` that of the INSERT which draws it, None in the model space.
        """
        for text in insert.attribs:
            own = _resolved(layer_of(text), context)
            if self.wanted(own):
                yield text, outer, own
        block = self.blocks.known.get(str(insert.dxf.__dict__.get("name", "")).lower())
        on = self.wanted(layer)
        if block is None or not block.amount(wanted=on):
            return
        if on not in block.drawn:
            block.drawn[on] = [entity for entity in block.entities if self._draws(entity, on)]
        entities = block.drawn[on]
        try:
            places = _places(insert, block.base, outer)
        except DrawingError as error:
            self.trouble(insert, layer, error)
            return
        for place in places:
            for entity in entities:
                own = _resolved(layer_of(entity), layer)
                if entity.dxftype() == "INSERT":
                    yield self._opened(entity, place, own, layer)
                else:
                    yield entity, place, own

    def _draws(self, entity: Any, on: bool) -> bool:  # noqa: ANN401
        """Tell whether an entity of a block draws anything asked for where its INSERT is `on` a layer asked for."""
        own = layer_of(entity)
        here = on if own == BY_INSERT else self.wanted(own)
        if entity.dxftype() != "INSERT":
            return here
        texts = (layer_of(text) for text in entity.attribs)
        if any(on if layer == BY_INSERT else self.wanted(layer) for layer in texts):
            return True
        block = self.blocks.known.get(str(entity.dxf.__dict__.get("name", "")).lower())
        return block is not None and block.amount(wanted=here) > 0


def _resolved(layer: str, context: str | None) -> str:
    return context if layer == BY_INSERT and context is not None else layer


def _places(insert: Any, base: FloatArray, outer: Placing) -> Iterator[Placing]:  # noqa: ANN401
    """Return where an INSERT puts its block: once, or for each row and column.

    The block is moved by its base point, scaled, rotated and moved again in the INSERT's own plane; rows and columns
    are rotated but not scaled.
    """
    values = insert.dxf.__dict__
    scales = np.array([number_of(values, f"{axis}scale", 1.0) for axis in "xyz"])
    if not scales.all():
        raise DrawingError("a scale must not be 0", found=" × ".join(f"{scale:g}" for scale in scales))
    turn = math.radians(number_of(values, "rotation", 0.0))
    spacing = number_of(values, "column_spacing", 0.0), number_of(values, "row_spacing", 0.0)
    at, axes = np.array(point_of(values, "insert")), plane(values.get("extrusion"))
    if not (np.isfinite(at).all() and np.isfinite(base).all()):
        raise DrawingError("a coordinate must be finite", found=str(at if np.isfinite(base).all() else base))
    cos, sin = math.cos(turn), math.sin(turn)
    rotation = np.array(((cos, sin, 0.0), (-sin, cos, 0.0), (0.0, 0.0, 1.0)))
    to_outer = outer.linear if axes is None else axes @ outer.linear
    linear = scales[:, None] * rotation @ to_outer
    shift = at @ to_outer + outer.shift - base @ linear
    across = rotation @ to_outer
    rows, columns = grid_of(insert)
    if rows == columns == 1:
        return iter((Placing(linear, shift),))
    return (
        Placing(linear, shift + column * spacing[0] * across[0] + row * spacing[1] * across[1])
        for row in range(rows)
        for column in range(columns)
    )
