"""Which ends of track meet: those near one another in plan, and level where their heights are known."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.plan.drawing.elements import gap, level_with, orders
from gradehaul.plan.drawing.nearness import near_pairs
from gradehaul.plan.drawing.records import Spot


def meet(spots: Sequence[Spot], *, snap: float, level: float) -> list[int]:
    """Return a number for each end, the same for ends that meet.

    Ends meet where they are within `snap` of one another in plan, and so on from end to end; nearest ends first, and
    never so that heights more than `level` apart come together.

    Examples
    --------
    >>> meet([Spot(0.0, 0.0), Spot(1.0, 0.0), Spot(1.001, 0.0)], snap=0.002, level=0.01)
    [0, 1, 1]
    """
    first: dict[tuple[int, int, float | None], int] = {}
    places = orders(spots)
    leader = [
        first.setdefault((x, y, spot.z), number)
        for number, (spot, (x, y, _)) in enumerate(zip(spots, places, strict=True))
    ]
    own = sorted(first.values())
    group = {number: number for number in own}
    low = {number: spots[number].z for number in own}
    high = dict(low)

    def find(number: int) -> int:
        while group[number] != number:
            group[number] = group[group[number]]
            number = group[number]
        return number

    pairs = [(own[one], own[other]) for one, other in near_pairs([spots[number] for number in own], snap).tolist()]

    def turn(pair: tuple[int, int]) -> tuple[int, tuple[int, int, int], tuple[int, int, int]]:
        """Return what decides whose turn it is to be joined: nearest first, then by where they are."""
        low, high = sorted((places[pair[0]], places[pair[1]]))
        return round(gap(spots[pair[0]], spots[pair[1]]) * 1e9), low, high

    for one, other in sorted(pairs, key=turn):
        mine, theirs = find(one), find(other)
        if mine == theirs:
            continue
        if not (level_with(low[mine], high[theirs], level) and level_with(high[mine], low[theirs], level)):
            continue
        group[theirs] = mine
        lows = [z for z in (low[mine], low[theirs]) if z is not None]
        highs = [z for z in (high[mine], high[theirs]) if z is not None]
        low[mine], high[mine] = min(lows, default=None), max(highs, default=None)
    return [find(number) for number in leader]
