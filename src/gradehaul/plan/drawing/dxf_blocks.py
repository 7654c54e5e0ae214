"""The blocks of a DXF file: what they would draw, reckoned before anything is drawn."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.records import Fault, FloatArray
from gradehaul.plan.names import clean, cut, quoted

DEEPEST = 16
"""How deep blocks may stand in one another."""
MOST_INSERTED = 250_000
"""The most entities that the blocks of one drawing may put on the layers asked for: some five seconds' work."""

_EXTERNAL = 4 | 8
BY_INSERT = "0"
"""The layer of a block's entities that take the layer of whatever INSERT draws them."""


@dataclass(slots=True)
class Block:
    """One block of the file, or its model space: its entities, and what was reckoned of them.

    `wanted` counts entities on the layers asked for, those of inserted blocks included; `inherits` those that will be
    on the layer of whatever INSERT draws this block.
    """

    name: str
    entities: list[Any]
    base: FloatArray
    layers: Counter[str] = field(default_factory=Counter)
    calls: Counter[tuple[str, str]] = field(default_factory=Counter)
    wanted: int = 0
    inherits: int = 0
    depth: int = 0
    drawn: dict[bool, list[Any]] = field(default_factory=dict)

    def amount(self, *, wanted: bool) -> int:
        """Return how many entities a copy puts on the layers asked for, its INSERT's layer being one of them or not."""
        return self.wanted + self.inherits if wanted else self.wanted


@dataclass(slots=True)
class Blocks:
    """The blocks that the model space draws, by key, and the layers of all they draw, with counts."""

    root: Block
    known: dict[str, Block]
    layers: Counter[str]
    faults: list[Fault]


def layer_of(entity: Any) -> str:  # noqa: ANN401 - an entity of the library
    """Return the layer an entity says it is on; none is layer 0, as the format has it."""
    layer = entity.dxf.__dict__.get("layer", BY_INSERT)
    return layer if isinstance(layer, str) else str(layer)


def handle_of(entity: Any) -> str:  # noqa: ANN401 - an entity of the library
    """Return an entity's handle, empty where it has none."""
    handle = str(entity.dxf.__dict__.get("handle") or "")
    return handle if handle.isalnum() else clean(handle)


def reckon(document: Any, wanted: Callable[[str], bool]) -> Blocks:  # noqa: ANN401 - a drawing of the library
    """Walk the blocks that the model space draws once, and refuse what would grow out of hand.

    Parameters
    ----------
    document
        The file as ezdxf read it.
    wanted
        Whether a layer is among those asked for.

    Raises
    ------
    DrawingError
        Blocks insert one another in a loop, stand in one another more than `DEEPEST` deep, or would put more than
        `MOST_INSERTED` entities on the layers asked for; without the file.
    """
    space = document.modelspace()
    root_key = _key(space)
    root = Block("model space", list(space), np.zeros(3))
    blocks = Blocks(root, {root_key: root}, Counter(), [])
    missing: Counter[str] = Counter()
    order = _walk(document, root_key, blocks, missing)
    for name, count in missing.items():
        blocks.faults.append(
            Fault("missing-block", f"block {quoted(name)} is inserted {count} times but is nowhere", weight=count)
        )
    for key in order:
        _sum(blocks.known[key], blocks.known, wanted)
    _check_amount(root, blocks.known, wanted)
    blocks.layers.update(_layers(order, root_key, blocks.known))
    return blocks


def _key(layout: Any) -> str:  # noqa: ANN401 - a block or layout of the library
    return str(layout.block_record.dxf.name).lower()


def _walk(document: Any, root_key: str, blocks: Blocks, missing: Counter[str]) -> list[str]:  # noqa: ANN401
    """Find all blocks that are drawn, each once; return their keys, the inserted before those that insert them."""
    names: dict[str, str | None] = {}
    _survey(document, blocks.root, names, missing)
    order: list[str] = []
    path = [root_key]
    on_path = {root_key}
    stack = [iter(dict.fromkeys(key for key, _ in blocks.root.calls))]
    while stack:
        key = next(stack[-1], None)
        if key is None:
            done = path.pop()
            on_path.discard(done)
            stack.pop()
            block = blocks.known[done]
            block.depth = 1 + max((blocks.known[inner].depth for inner, _ in block.calls), default=-1)
            if block.depth > DEEPEST:
                raise DrawingError(
                    f"blocks may stand {DEEPEST} deep in one another",
                    place=f"block {quoted(block.name)}",
                    found="more",
                    write="them exploded",
                )
            order.append(done)
        elif key in on_path:
            loop = [blocks.known[each].name for each in path[path.index(key) :]]
            shown = [*loop[:3], "…", loop[-1]] if len(loop) > 5 else loop
            raise DrawingError(
                "a block inserts itself",
                place=f"block {quoted(blocks.known[key].name)}",
                found=" > ".join(cut(clean(name)) for name in (*shown, loop[0])),
                write="the blocks without that loop",
            )
        elif key not in blocks.known:
            layout = document.blocks.get(key)
            base = layout.block.dxf.__dict__.get("base_point")
            block = Block(
                layout.block_record.dxf.name, list(layout), np.zeros(3) if base is None else np.array(base.xyz)
            )
            blocks.known[key] = block
            if int(layout.block.dxf.__dict__.get("flags", 0)) & _EXTERNAL:
                text = f"block {quoted(block.name)} is another file, which is not read"
                blocks.faults.append(Fault("external-block", text))
            _survey(document, block, names, missing)
            path.append(key)
            on_path.add(key)
            stack.append(iter(dict.fromkeys(inner for inner, _ in block.calls)))
    return order


def _survey(document: Any, block: Block, names: dict[str, str | None], missing: Counter[str]) -> None:  # noqa: ANN401
    """Count a block's own entities by layer, and its INSERTs by the block they draw and their layer."""
    for entity in block.entities:
        if entity.dxftype() != "INSERT":
            block.layers[layer_of(entity)] += 1
            continue
        block.layers.update(layer_of(text) for text in entity.attribs)
        name = str(entity.dxf.__dict__.get("name", ""))
        if name not in names:
            layout = document.blocks.get(name) if name else None
            names[name] = None if layout is None else _key(layout)
        key = names[name]
        if key is None:
            missing[name] += 1
        else:
            block.calls[key, layer_of(entity)] += math.prod(grid_of(entity))


def grid_of(insert: Any) -> tuple[int, int]:  # noqa: ANN401 - an INSERT of the library
    """Return the rows and columns that an INSERT makes."""
    values = insert.dxf.__dict__
    return max(int(values.get("row_count", 1)), 1), max(int(values.get("column_count", 1)), 1)


def _sum(block: Block, known: dict[str, Block], wanted: Callable[[str], bool]) -> None:
    """Count what a block draws on the layers asked for, from the counts of the blocks it inserts."""
    own = sum(count for layer, count in block.layers.items() if layer != BY_INSERT and wanted(layer))
    block.wanted = own + sum(
        copies * known[key].amount(wanted=layer != BY_INSERT and wanted(layer))
        for (key, layer), copies in block.calls.items()
    )
    block.inherits = block.layers[BY_INSERT] + sum(
        copies * known[key].inherits for (key, layer), copies in block.calls.items() if layer == BY_INSERT
    )


def _check_amount(root: Block, known: dict[str, Block], wanted: Callable[[str], bool]) -> None:
    amounts = {call: copies * known[call[0]].amount(wanted=wanted(call[1])) for call, copies in root.calls.items()}
    if sum(amounts.values()) <= MOST_INSERTED:
        return
    # Down to the block that is too much: either by itself, or because it is inserted so often.
    (key, layer), found = max(amounts.items(), key=lambda each: each[1])
    block, on = known[key], wanted(layer)
    while block.amount(wanted=on) > MOST_INSERTED and block.calls:
        choices = [
            (copies * known[inner].amount(wanted=inner_on), inner, inner_on)
            for (inner, layer), copies in block.calls.items()
            for inner_on in ((on if layer == BY_INSERT else wanted(layer)),)
        ]
        found, key, on = max(choices)
        block = known[key]
    raise DrawingError(
        f"inserted blocks may put {MOST_INSERTED:,} entities on these layers",
        place=f"block {quoted(block.name)}",
        found=f"{found:,} of its" if found < 10**15 else "more than can be counted",
        write="fewer layers, or fewer copies of it",
    )


def _layers(order: list[str], root_key: str, known: dict[str, Block]) -> Counter[str]:
    """Count all that is drawn, by layer, from the model space down; each block once, times its copies."""
    times: Counter[str] = Counter({root_key: 1})
    counts: Counter[str] = Counter()
    for key in reversed(order):  # those that insert before the inserted
        block, copies = known[key], times[key]
        for layer, count in block.layers.items():
            if layer != BY_INSERT or key == root_key:
                counts[layer] += copies * count
        for (inner, layer), calls in block.calls.items():
            times[inner] += copies * calls
            if layer != BY_INSERT or key == root_key:
                counts[layer] += copies * calls * known[inner].inherits
    return +counts
