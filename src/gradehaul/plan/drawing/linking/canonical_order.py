"""The order and direction of chains of elements, which follow from where they lie and not from how they were drawn."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from gradehaul.plan.drawing.elements import length_of, order, orders, place, turned
from gradehaul.plan.drawing.records import Element, Spot

Source = tuple[str, str]
"""Handle and layer."""
Ends = tuple[tuple[int, int, int], tuple[int, int, int]]
"""Where a chain begins and ends, in whole micrometers."""


class Canonical(NamedTuple):
    """Chains run from whichever of their ends comes first, which of them that turned, and their order."""

    chains: list[list[Element]]
    turned: set[int]
    ends: list[Ends]
    numbers: list[int]
    """The numbers of the chains in order."""


def source(element: Element) -> Source:
    """Return where an element comes from."""
    return element.handle, element.layer


def canonical(chains: Sequence[list[Element]]) -> Canonical:
    """Return chains by where they lie: by their ends, then by a third of the way, which tells loops apart.

    Examples
    --------
    >>> def straight(x, heading):
    ...     end = Spot(x + round(math.cos(heading)), 0)
    ...     return [Element(Spot(x, 0), end, heading, 0.0, 1.0, "", "")]
    >>> found = canonical([straight(5, 0.0), straight(3, math.pi)])
    >>> [chain[0].start.x for chain in found.chains], found.turned, found.numbers
    ([5, 2], {1}, [1, 0])
    """
    tips = orders([spot for chain in chains for spot in (chain[0].start, chain[-1].end)])
    faced: list[list[Element]] = []
    back: set[int] = set()
    ends: list[Ends] = []
    for number, (chain, start, end) in enumerate(zip(chains, tips[::2], tips[1::2], strict=True)):
        own = chain
        if start >= end:
            other = [turned(element) for element in reversed(chain)]
            if start > end or _third(other) < _third(chain):
                own = other
                back.add(number)
        faced.append(own)
        ends.append((start, end) if start <= end else (end, start))
    often = Counter(ends)

    def key(number: int) -> tuple[object, ...]:
        own = faced[number]
        return (
            ends[number],
            _third(own) if often[ends[number]] > 1 else (),
            own[0].handle,
            own[0].layer,
        )

    return Canonical(faced, back, ends, sorted(range(len(faced)), key=key))


def _third(elements: Sequence[Element]) -> tuple[int, int, int]:
    return order(beyond(elements, length_of(elements) / 3))


def middle(elements: Sequence[Element]) -> Spot:
    """Return the place halfway along elements."""
    return beyond(elements, length_of(elements) / 2)


def beyond(elements: Iterable[Element], along: float) -> Spot:
    """Return the place at a distance along elements, m."""
    last = None
    for element in elements:
        if along <= element.length:
            return place(element, along)
        along -= element.length
        last = element
    assert last is not None
    return last.end


def lengths_drawn(chains: Iterable[Iterable[Element]]) -> dict[Source, float]:
    """Return the length of what comes from each source, m."""
    lengths: dict[Source, list[float]] = {}
    for chain in chains:
        for element in chain:
            lengths.setdefault((element.handle, element.layer), []).append(element.length)
    return {own: found[0] if len(found) == 1 else math.fsum(found) for own, found in lengths.items()}
