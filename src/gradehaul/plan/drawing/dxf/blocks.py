"""The blocks of a DXF file: what they would draw, counted before anything is drawn."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.texts import TEXTS
from gradehaul.plan.drawing.dxf.values import layer_of, value_of
from gradehaul.plan.drawing.records import Fault
from gradehaul.plan.names import clean, cut, quoted

DEEPEST = 16
"""How deep blocks may stand in one another."""
MOST_INSERTED = 250_000
"""The most entities that the blocks of one drawing may put on the layers to read: some ten seconds' work."""
MOST_POINTS = 5_000_000
"""The most points that the curves and the inserted blocks of one drawing may make."""

_EXTERNAL = 4 | 8
BY_INSERT = "0"
"""The layer of a block's entities that take the layer of whatever INSERT draws them."""


@dataclass(slots=True)
class Block:
    """One block of the file, or its model space: its entities, and what it draws with the blocks it inserts.

    `own` counts its own entities by layer, `own_points` their points; `calls` the copies of other blocks, by their key
    and the INSERT's layer. `wanted` counts what is drawn on the layers to read, `inherits` what will be on the layer of
    whatever INSERT draws this block; each is entities and points.
    """

    name: str
    entities: list[Any]
    own: Counter[str] = field(default_factory=Counter)
    own_points: Counter[str] = field(default_factory=Counter)
    calls: Counter[tuple[str, str]] = field(default_factory=Counter)
    wanted: tuple[int, int] = (0, 0)
    inherits: tuple[int, int] = (0, 0)
    depth: int = 0
    drawn: dict[bool, list[Any]] = field(default_factory=dict)
    """Its entities that draw anything to read, where its INSERT is on such a layer or not."""

    def amount(self, *, on: bool, of: int = 0) -> int:
        """Return how many entities, or points, a copy draws, its INSERT's layer being one of those to read or not."""
        return self.wanted[of] + self.inherits[of] if on else self.wanted[of]


@dataclass(slots=True)
class Blocks:
    """The blocks that the model space draws, by key, and the layers of all they draw, with counts."""

    root: Block
    known: dict[str, Block]
    layers: Counter[str] = field(default_factory=Counter)
    texts: Counter[str] = field(default_factory=Counter)
    """How many texts the model space itself has, by layer."""
    faults: list[Fault] = field(default_factory=list)


def survey(document: Any, wanted: Callable[[str], bool]) -> Blocks:  # noqa: ANN401 - a drawing of the library
    """Walk the blocks that the model space draws once, and refuse what would grow out of hand.

    Parameters
    ----------
    document
        The file as ezdxf read it.
    wanted
        Whether a layer is among those to read.

    Raises
    ------
    DrawingError
        Blocks insert one another in a loop, stand in one another more than `DEEPEST` deep, or would put more than
        `MOST_INSERTED` entities or `MOST_POINTS` points on the layers to read; without the file.
    """
    space = document.modelspace()
    root_key = _key(space)
    root = Block("model space", list(space))
    blocks = Blocks(root, {root_key: root})
    blocks.texts.update(layer_of(entity) for entity in root.entities if entity.dxftype() in TEXTS)
    missing: Counter[str] = Counter()
    order = _inner_first(document, root_key, blocks, missing)
    for name, count in missing.items():
        text = f"block {quoted(name)} is inserted {count} times but is nowhere"
        blocks.faults.append(Fault("missing-block", text, weight=count))
    for key in order:
        _sum(blocks.known[key], blocks.known, wanted)
    _check_amounts(root, blocks.known, wanted)
    blocks.layers = _layers(order, root_key, blocks.known)
    return blocks


def grid_of(insert: Any) -> tuple[int, int]:  # noqa: ANN401 - an INSERT of the library
    """Return the rows and columns that an INSERT makes."""
    return max(int(value_of(insert, "row_count", 1)), 1), max(int(value_of(insert, "column_count", 1)), 1)


def _key(layout: Any) -> str:  # noqa: ANN401 - a block or layout of the library
    return str(layout.block_record.dxf.name).lower()


def _inner_first(document: Any, root_key: str, blocks: Blocks, missing: Counter[str]) -> list[str]:  # noqa: ANN401
    """Find all blocks that are drawn, each once; return their keys, the inserted before those that insert them."""
    known = blocks.known
    _count(document, blocks.root, missing)
    order: list[str] = []
    path = [root_key]
    stack = [iter(dict.fromkeys(key for key, _ in blocks.root.calls))]
    while stack:
        key = next(stack[-1], None)
        if key is None:
            block = known[path[-1]]
            block.depth = 1 + max((known[inner].depth for inner, _ in block.calls), default=-1)
            order.append(path.pop())
            stack.pop()
        elif key in path:
            loop = [known[each].name for each in path[path.index(key) :]]
            raise DrawingError(
                "a block inserts itself",
                place=f"block {quoted(known[key].name)}",
                found=" > ".join(cut(clean(name)) for name in (*loop, loop[0])),
                write="the blocks without that loop",
            )
        elif key not in known:
            layout = document.blocks.get(key)
            block = known[key] = Block(layout.block_record.dxf.name, list(layout))
            if int(value_of(layout.block, "flags", 0)) & _EXTERNAL:
                text = f"block {quoted(block.name)} is another file, which is not read"
                blocks.faults.append(Fault("external-block", text))
            _count(document, block, missing)
            path.append(key)
            stack.append(iter(dict.fromkeys(inner for inner, _ in block.calls)))
        if len(path) - 1 > DEEPEST or (key is None and block.depth > DEEPEST):
            raise DrawingError(
                f"blocks may stand {DEEPEST} deep in one another",
                place=f"block {quoted(block.name)}",
                found="more",
                write="them exploded",
            )
    return order


def _count(document: Any, block: Block, missing: Counter[str]) -> None:  # noqa: ANN401
    """Count a block's own entities and points by layer, and its INSERTs by the block they draw and their layer."""
    for entity in block.entities:
        layer = layer_of(entity)
        kind = entity.dxftype()
        if kind != "INSERT":
            block.own[layer] += 1
            if kind in {"LWPOLYLINE", "POLYLINE"}:
                block.own_points[layer] += len(entity)
            continue
        block.own.update(layer_of(text) for text in entity.attribs)
        name = str(value_of(entity, "name", ""))
        layout = document.blocks.get(name) if name else None
        if layout is None:
            missing[name] += 1
        else:
            block.calls[_key(layout), layer] += math.prod(grid_of(entity))


def _sum(block: Block, known: Mapping[str, Block], wanted: Callable[[str], bool]) -> None:
    """Count what a block draws on the layers to read, from the counts of the blocks it inserts."""

    def on(layer: str) -> bool:
        return layer != BY_INSERT and wanted(layer)

    def drawn(of: int, own: Counter[str]) -> int:
        inner = (copies * known[key].amount(on=on(layer), of=of) for (key, layer), copies in block.calls.items())
        return sum(count for layer, count in own.items() if on(layer)) + sum(inner)

    def inherited(of: int, own: Counter[str]) -> int:
        calls = block.calls.items()
        return own[BY_INSERT] + sum(n * known[key].inherits[of] for (key, layer), n in calls if layer == BY_INSERT)

    block.wanted = drawn(0, block.own), drawn(1, block.own_points)
    block.inherits = inherited(0, block.own), inherited(1, block.own_points)


def _check_amounts(root: Block, known: Mapping[str, Block], wanted: Callable[[str], bool]) -> None:
    def drawn_by(block: Block, on: bool, of: int) -> list[tuple[int, str, bool]]:
        """Return what each block that this one inserts draws, with its key and whether it is on a layer to read."""
        calls = (
            (copies, key, on if layer == BY_INSERT else wanted(layer)) for (key, layer), copies in block.calls.items()
        )
        return [(copies * known[key].amount(on=inner, of=of), key, inner) for copies, key, inner in calls]

    if sum(each[0] for each in drawn_by(root, wanted(BY_INSERT), 1)) > MOST_POINTS:
        raise DrawingError(
            f"its curves and blocks make more than {MOST_POINTS:,} points",
            write="fewer layers, or fewer copies of blocks",
        )
    choices = drawn_by(root, wanted(BY_INSERT), 0)
    if sum(each[0] for each in choices) <= MOST_INSERTED:
        return
    # Down to the block that is too much: either by itself, or because it is inserted so often.
    found, key, on = max(choices)
    while known[key].amount(on=on) > MOST_INSERTED and known[key].calls:
        found, key, on = max(drawn_by(known[key], on, 0))
    raise DrawingError(
        f"inserted blocks may put {MOST_INSERTED:,} entities on these layers",
        place=f"block {quoted(known[key].name)}",
        found=f"{found:,} of its" if found < 10**15 else "more than can be counted",
        write="fewer layers, or fewer copies of it",
    )


def _layers(order: list[str], root_key: str, known: Mapping[str, Block]) -> Counter[str]:
    """Count all that is drawn, by layer, from the model space down; each block once, times its copies."""
    times: Counter[str] = Counter({root_key: 1})
    counts: Counter[str] = Counter()
    for key in reversed(order):  # those that insert before the inserted
        block, copies = known[key], times[key]
        for layer, count in block.own.items():
            if layer != BY_INSERT or key == root_key:
                counts[layer] += copies * count
        for (inner, layer), calls in block.calls.items():
            times[inner] += copies * calls
            if layer != BY_INSERT or key == root_key:
                counts[layer] += copies * calls * known[inner].inherits[0]
    return +counts
