"""A simulator that knows only where vehicles stand: cells of track, and strings of vehicles that cannot pass through.

It imports nothing of the package. Track is cut into cells of one unit of length; a string of vehicles stands on
consecutive cells of a path, and moves by one cell at a time onto a free cell that a legal move leads to.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field

Cell = tuple[str, int]
Step = tuple[Cell, bool]
"""A cell, and whether it is passed in its line's own direction."""
Spot = tuple[Step, ...]
"""The cells of a string from its head to its tail, as it would pass them moving forward."""


def turned(step: Step) -> Step:
    return step[0], not step[1]


@dataclass
class Yard:
    """Lines by name: from, to, length in cells and the way trains run; and for each joint the pairs of ends joined."""

    lines: dict[str, tuple[str, str, int, str]] = field(default_factory=dict)
    joined: list[tuple[tuple[str, str], tuple[str, str]]] = field(default_factory=list)

    def onward(self, step: Step) -> Iterator[Step]:
        """Yield the steps that may follow one."""
        (line, cell), forward = step
        length = self.lines[line][2]
        beyond = cell + (1 if forward else -1)
        if 0 <= beyond < length:
            yield (line, beyond), forward
            return
        leaving = (line, "to" if forward else "from")
        for pair in self.joined:
            for one, other in (pair, pair[::-1]):
                if one == leaving:
                    name, end = other
                    enters = ((name, 0), True) if end == "from" else ((name, self.lines[name][2] - 1), False)
                    if self.legal(enters):
                        yield enters

    def both_ways(self) -> Yard:
        """The same yard with every line run both ways."""
        return Yard({name: (*line[:3], "both") for name, line in self.lines.items()}, self.joined)

    def legal(self, step: Step) -> bool:
        runs = self.lines[step[0][0]][3]
        return runs == "both" or (runs == "forward") == step[1]

    def moves(self, spot: Spot, taken: Collection[Cell]) -> Iterator[Spot]:
        """Yield where a string can be one cell on, forward or backward, past cells on which others stand."""
        own = {cell for cell, _ in spot}
        if all(self.legal(step) for step in spot):
            for step in self.onward(spot[0]):
                if step[0] not in taken and step[0] not in own:
                    yield (step, *spot[:-1])
        if all(self.legal(turned(step)) for step in spot):
            for back in self.onward(turned(spot[-1])):
                if back[0] not in taken and back[0] not in own:
                    yield (*spot[1:], turned(back))

    def reach(self, start: Spot, taken: Collection[Cell]) -> set[Spot]:
        """Return every place that a string can get to by itself."""
        seen = {start}
        queue = deque(seen)
        while queue:
            for spot in self.moves(queue.popleft(), taken):
                if spot not in seen:
                    seen.add(spot)
                    queue.append(spot)
        return seen


def cells(spot: Spot) -> set[Cell]:
    return {cell for cell, _ in spot}


def every_spot(yard: Yard, length: int) -> set[Spot]:
    """Return every place where a string of some cells can stand."""
    found: set[Spot] = set()
    for name, (_, _, count, _) in yard.lines.items():
        for cell in range(count):
            for forward in (True, False):
                growing: list[Spot] = [(((name, cell), forward),)]
                for _ in range(length - 1):
                    longer = []
                    for spot in growing:
                        # a string lies over joints as trains run, whichever way a line is run
                        behind = yard.both_ways().onward(turned(spot[-1]))
                        longer += [(*spot, turned(step)) for step in behind if step[0] not in cells(spot)]
                    growing = longer
                found.update(growing)
    return found


Path = list[Step]


@dataclass
class Trip:
    """A train's route: the steps of each leg, from the far end of one berth to that of another."""

    legs: list[Path]
    start: int
    end: int
    """Cells of the berths at the start and at the end."""

    def shared(self, leg: int) -> int:
        """Return how many cells a leg and the next one share in the tail between them."""
        one, other = self.legs[leg], self.legs[leg + 1]
        count = 0
        while count < min(len(one), len(other)) and one[-1 - count] == turned(other[count]):
            count += 1
        return count

    def standing(self, leg: int, head: int, length: int) -> set[Cell]:
        return cells(tuple(self.legs[leg][max(head - length, 0) : head]))

    def swept(self, first: tuple[int, int], last: tuple[int, int], length: int) -> set[Cell] | None:
        """Return the cells over which a train runs from a leg and its head there to another; None if a tail is short.

        It goes no farther into a tail than it must to leave it.
        """
        leg, head = first
        found = self.standing(leg, head, length)
        while leg < last[0]:
            shared = self.shared(leg)
            if shared < length:
                return None
            stop = max(len(self.legs[leg]) - shared + length, head)
            found |= cells(tuple(self.legs[leg][head:stop]))
            head = len(self.legs[leg]) - stop + length
            leg += 1
        return found | cells(tuple(self.legs[leg][head : last[1]]))


def doubled(yard: Yard, trip: Trip, engine: int, front: int, rear: int) -> bool:
    """Return whether a train can be taken over in two parts, its engine ahead as it starts, and left in a berth."""
    whole, last = engine + front + rear, len(trip.legs) - 1
    path, length = trip.legs[last], len(trip.legs[last])
    waiting = trip.standing(0, rear, rear)
    berth = cells(tuple(path[length - trip.end :]))
    pulled = last % 2 == 0
    for head in range(engine + front, length + 1 + (engine if pulled else 0)):
        # an engine ahead may stand on track beyond the berth, whichever is there
        over = max(head - length, 0)
        for beyond in paths_beyond(yard, path[-1], over):
            spot = (*reversed(beyond), *reversed(path[max(head - engine - front, 0) : length][: engine + front - over]))
            cars = spot[engine:] if pulled else spot[:front]
            mover = spot[:engine] if pulled else spot[front:]
            swept = trip.swept((0, whole), (last, min(head, length)), engine + front)
            if len(spot) < engine + front or not cells(cars) <= berth or swept is None:
                continue
            left = cells(cars)
            if swept & waiting or cells(spot) & waiting:
                continue
            target = trip.standing(0, rear + engine, engine)
            if not any(cells(one) == target for one in yard.reach(mover, left | waiting)):
                continue
            second = (head - engine - front) if pulled else head - front
            again = trip.swept((0, rear + engine), (last, second), engine + rear)
            stands = trip.standing(last, second, engine + rear)
            if again is not None and not again & left and stands <= berth and len(stands) == engine + rear:
                return True
    return False


def paths_beyond(yard: Yard, step: Step, count: int) -> list[Path]:
    found: list[Path] = [[]]
    for _ in range(count):
        found = [[*path, new] for path in found for new in yard.onward(path[-1] if path else step)]
    return found


def helped(yard: Yard, trip: Trip, train: int, helper: int, where: str, leg: int, on: int, off: int) -> bool:
    """Return whether a helper can come on with the train's head at one cell of a leg, and go off at another."""
    path, last = trip.legs[leg], len(trip.legs) - 1
    start = train
    if where == "tail":
        # where both are held, the train starts with its helper behind it, that much farther ahead
        start += helper if train + helper <= trip.start else 0
        held = trip.start if leg == 0 else trip.shared(leg - 1)
        on = max(on, train + helper if train + helper <= held else 0)
    before = trip.swept((0, min(start, on) if leg == 0 else start), (leg, on), train)
    if before is None:
        return False
    stands = trip.standing(leg, on, train)
    waiting = [spot for spot in every_spot(yard, helper) if not cells(spot) & before]
    reached: set[Spot] = set()
    queue = list(waiting)
    reached.update(queue)
    while queue:
        for spot in yard.moves(queue.pop(), stands):
            if spot not in reached:
                reached.add(spot)
                queue.append(spot)
    if where == "head":
        coupled = [spot for spot in reached if cells(spot) == trip.standing(leg, on + helper, helper)]
        ok = on + helper <= len(path) and bool(coupled)
    else:
        tail = path[on - train]
        coupled = [
            spot
            for spot in reached
            if any(tail in yard.both_ways().onward(end) for end in (spot[0], turned(spot[-1])))
            and (on - train < helper or cells(spot) == trip.standing(leg, on - train, helper))
        ]
        ok = bool(coupled)
    if not ok:
        return False
    final = last, len(trip.legs[last])
    if where == "head" and off + helper > len(path) and leg == last:
        return train + helper <= trip.end
    if where == "head":
        spot = tuple(reversed(path[off : off + helper]))
        if len(spot) < helper:  # in the tail: it goes in no farther than they fit
            return trip.shared(leg) >= train + helper and not _again(trip, leg)
        engines = [spot]
    else:
        tail = off - train
        spot = tuple(reversed(path[max(tail - helper, 0) : tail]))
        engines = [
            (*spot, *(turned(step) for step in extra))
            for extra in paths_beyond(yard.both_ways(), turned(path[0]), helper - len(spot))
        ]
    after = trip.swept((leg, off), final, train)
    if after is None:
        return False
    after -= trip.standing(leg, off, train) - _revisited(trip, leg)
    stands = trip.standing(leg, off, train)
    return any(not cells(spot) & (after | stands) for engine in engines for spot in yard.reach(engine, stands))


def _revisited(trip: Trip, leg: int) -> set[Cell]:
    return set().union(*(cells(tuple(path)) for path in trip.legs[leg + 1 :])) if leg + 1 < len(trip.legs) else set()


def _again(trip: Trip, leg: int) -> bool:
    shared = cells(tuple(trip.legs[leg][-trip.shared(leg) :]))
    return any(shared & cells(tuple(path)) for path in trip.legs[leg + 2 :])
