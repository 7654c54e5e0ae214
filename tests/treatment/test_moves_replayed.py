"""Doubling and helpers replayed move by move on random layouts by a simulator that knows only where vehicles stand."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.train import build_train
from gradehaul.plan import read_plan
from gradehaul.treatment.helping import HelpedTrain, obstacle
from gradehaul.treatment.ways_over import Doubling, doubling
from treatment.yard_simulator import Trip, Yard, doubled, helped


class Built:
    """A random layout: a berth, a hill and a berth, in one run or over a reversal, with track joined on at random."""

    def __init__(self, seed: int) -> None:
        self.chance = chance = Random(seed)
        self.lines: dict[str, tuple[str, str, int, str]] = {}
        self.turnouts: dict[str, tuple[str, list[str]]] = {}
        self.engine, self.cars = chance.choice([1, 1, 2]), chance.choice([2, 3, 4])
        reverses = chance.random() < 0.35
        short = self.engine + self.cars
        names = ["Yard", "Low", "Mid", "High", "Top"]
        self.add("Yard", "W", "J0", short + chance.choice([0, 0, 1, 3]))
        for number in (1, 2, 3):
            self.add(names[number], f"J{number - 1}", f"J{number}", chance.choice([2, 4, 6, 9]))
        self.add("Top", "J3", "E", short + chance.choice([0, 0, 1, 3]))
        self.legs = [["Yard", "Low", "Mid", "High", "Top"]]
        if reverses:  # the train runs on into a tail and backs up the hill
            self.add("Tail", "J1", "T", short + chance.choice([0, 1, 3]))
            self.turnouts["J1"] = ("Tail", ["Low", "Mid"])
            self.legs = [["Yard", "Low", "Tail"], ["Tail", "Mid", "High", "Top"]]
        self.around("J3", "E", "High", "Top", "X", chance.random() < 0.5)
        self.around("J0", "W", "Low", "Yard", "B", chance.random() < 0.3)
        for number, (before, after) in enumerate(pairwise(names)):
            joint = f"J{number}"
            if joint not in self.turnouts and chance.random() < 0.5:
                spur = f"Spur {joint}"
                self.add(spur, joint, f"S{joint}", chance.choice([1, 2, 3]), chance.choice(["both"] * 5 + ["forward"]))
                toe, leg = chance.choice([(before, after), (after, before)])
                self.turnouts[joint] = (toe, [leg, spur])
        if "B" in self.lines and "X" in self.lines and chance.random() < 0.4:
            start, _, length, _ = self.lines["X"]
            self.lines["X"] = (start, self.lines["B"][1], length, "both")
        if chance.random() < 0.2:
            for name in ("Low", "Mid", "High"):
                first, last, length, _ = self.lines[name]
                self.lines[name] = (first, last, length, "forward")

    def add(self, name: str, start: str, end: str, length: int, runs: str = "both") -> None:
        self.lines[name] = (start, end, length, runs)

    def around(self, near: str, far: str, lead: str, berth: str, beyond: str, loop: bool) -> None:
        """Join track on beyond a berth, and a loop around it."""
        if loop and near not in self.turnouts:
            self.add(f"Side {berth}", near, far, self.lines[berth][2])
            self.turnouts[near] = (lead, [berth, f"Side {berth}"])
            self.add(beyond, far, f"End {beyond}", self.chance.choice([1, 2, 3]))
            self.turnouts[far] = (beyond, [berth, f"Side {berth}"])
        elif self.chance.random() < 0.3:
            self.add(beyond, far, f"End {beyond}", self.chance.choice([1, 2, 5]))

    def text(self) -> str:
        lines = ""
        for name, (start, end, length, runs) in self.lines.items():
            berth = f', berth = "{name} berth", clear = {length}' if name in ("Yard", "Top") else ""
            lines += f'[line."{name}"]\nfrom = "{start}"\nto = "{end}"\nruns = "{runs}"\n'
            lines += f"track = [{{ straight = {length}{berth} }}]\n"
        turnouts = "".join(
            f'[turnout."{joint}"]\ntoe = "{toe}"\nlegs = ["{legs[0]}", "{legs[1]}"]\n'
            for joint, (toe, legs) in self.turnouts.items()
        )
        via = ", ".join(f'"{name}"' for leg in self.legs for name in leg[1:-1])
        return f"""
scale = {{ ratio = 1, gauge = "1435 mm" }}
unit = "m"
railhead.W = 0
{lines}{turnouts}
[loco.engine]
mass = "1000 kg"
length = {self.engine}
pull.clean = "900000 N"
slipping.clean = "900000 N"
[car.ore]
mass = "1000 kg"
length = 1
[train.up]
route = "Up"
consist = ["engine", "{self.cars} ore"]
[route.Up]
from = "Yard berth"
to = "Top berth"
via = [{via}]
reversals = {len(self.legs) - 1}
"""

    def yard(self) -> Yard:
        joined = []
        ends: dict[str, list[tuple[str, str]]] = {}
        for name, (start, end, _, _) in self.lines.items():
            ends.setdefault(start, []).append((name, "from"))
            ends.setdefault(end, []).append((name, "to"))
        for joint, there in ends.items():
            if joint in self.turnouts:
                toe, legs = self.turnouts[joint]
                at = dict(there)
                joined += [((toe, at[toe]), (leg, at[leg])) for leg in legs]
            elif len(there) == 2:
                joined.append((there[0], there[1]))
        return Yard(self.lines, joined)

    def trip(self) -> Trip:
        legs = []
        for leg in self.legs:
            path = []
            for name in leg:
                length = self.lines[name][2]
                forward = not (name == "Tail" and leg[0] == "Tail")
                order = range(length) if forward else reversed(range(length))
                path += [((name, cell), forward) for cell in order]
            legs.append(path)
        return Trip(legs, self.lines["Yard"][2], self.lines["Top"][2])


def test_doubling_is_advised_where_it_can_be_done() -> None:
    can = given = 0
    for seed in range(100):
        built = Built(seed)
        layout = Layout(read_plan(built.text()))
        found = doubling(layout, layout.profile("Up"), build_train(layout.plan, layout.plan.trains["up"]), "clean")
        front = found.front if isinstance(found, Doubling) else built.cars // 2
        done = doubled(built.yard(), built.trip(), built.engine, front, built.cars - front)
        if isinstance(found, Doubling):
            assert done, f"seed {seed}: not to be carried out"
        can, given = can + done, given + (done and isinstance(found, Doubling))
    assert can >= 40
    assert given >= 0.9 * can


@pytest.mark.parametrize("where", ["head", "tail"])
def test_helpers_are_advised_where_they_get_on_and_off(where: str) -> None:
    can = given = 0
    for seed in range(90):
        built = Built(seed)
        layout = Layout(read_plan(built.text()))
        profile, trip, yard = layout.profile("Up"), built.trip(), built.yard()
        train, helper = built.engine + built.cars, built.chance.choice([1, 2])
        number = built.chance.randrange(len(trip.legs))
        leg = profile.legs[number] if profile.legs else profile
        joints = sorted({train, *(round(place) for place in leg.starts.tolist() if place >= train)})
        if len(joints) < 2:
            continue
        on, off = sorted(built.chance.sample(joints, 2))
        found = obstacle(HelpedTrain(layout, profile, leg, float(train), float(helper)), where, float(on), float(off))
        done = helped(yard, trip, train, helper, where, number, on, off)
        if found is None:
            assert done, f"seed {seed}: leg {number}, {on} to {off}, helper {helper}, not to be carried out"
        can, given = can + done, given + (done and found is None)
    assert can >= 40
    assert given >= 0.9 * can
