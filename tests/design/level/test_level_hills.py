"""Leveling hill by hill, against linear programs solved one after the other by code that knows nothing of ours."""

from __future__ import annotations

from unittest.mock import patch

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from gradehaul.design.level import hills
from gradehaul.design.level.hills import GAIN
from gradehaul.design.level.railheads import leveled
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan

CURVE = 0.008
LOCO = (0.4, 0.2)
CARS = {"ore": (0.1, 0.1), "flat": (0.03, 0.17)}
"""Masses, kg, and lengths, m."""


def layout_of(tracks, given_heights, trains) -> Layout:
    """Tracks of a length and a radius, m, with the heights of some of their ends, and trains of a car and a count."""
    rows = []
    for k, (length, radius) in enumerate(tracks[:-1]):
        own = f"left = {radius}, length = {length}" if radius else f"straight = {length}"
        rows.append(f"{{ {own}{f', railhead = {given_heights[k + 1]!r}' if k + 1 in given_heights else ''} }}")
    length, radius = tracks[-1]
    rows.append(f"{{ left = {radius}, length = {length} }}" if radius else f"{{ straight = {length} }}")
    text = (
        'scale = { ratio = 87.1, gauge = "16.5 mm" }\nunit = "m"\n'
        f"railhead = {{ A = {given_heights[0]!r}, B = {given_heights[len(tracks)]!r} }}\n"
        f'curve_resistance = {{ model = "coefficient", coefficient = {CURVE} }}\n'
        f'[line.Hill]\nfrom = "A"\nto = "B"\ntrack = [{", ".join(rows)}]\n'
        f'[loco.mule]\nmass = "{LOCO[0]} kg"\nlength = {LOCO[1]}\npull.clean = "100 gf"\n'
        + "".join(f'[car.{car}]\nmass = "{mass} kg"\nlength = {long}\n' for car, (mass, long) in CARS.items())
        + '[route.Up]\nfrom = "A"\nto = "B"\n[route.Down]\nfrom = "B"\nto = "A"\n'
    )
    for k, (car, count, route) in enumerate(trains):
        text += f'[train.t{k}]\nroute = "{route}"\nconsist = ["mule", "{count} {car}"]\n'
    return Layout(read_plan(text))


class Walked:
    """The same layout by brute force: every spot's rows, what heights must keep, and the even heights."""

    def __init__(self, tracks, given_heights, trains, change: float) -> None:
        lengths = np.array([length for length, _ in tracks])
        self.ends = np.concatenate([[0.0], np.cumsum(lengths)])
        count = self.ends.size
        known = sorted(given_heights)
        self.even = np.interp(self.ends, self.ends[known], [given_heights[k] for k in known])
        self.bounds = [(h, h) if k in given_heights else (None, None) for k, h in enumerate(self.even)]
        bend = np.concatenate([[0.0], np.cumsum([CURVE * ln / r if r else 0.0 for ln, r in tracks])])
        self.spots: list[tuple[np.ndarray, np.ndarray]] = []
        self.train: list[int] = []
        for number, (car, most, route) in enumerate(trains):
            turned = route == "Down"
            at = self.ends[-1] - self.ends[::-1] if turned else self.ends
            added = bend[-1] - bend[::-1] if turned else bend
            found: dict[int, list[tuple[np.ndarray, float]]] = {k: [] for k in range(count - 1)}
            for cars in range(most + 1):
                edges = [0.0, LOCO[1], LOCO[1] + cars * CARS[car][1]]
                heavy = [LOCO[0], cars * CARS[car][0]]
                if edges[-1] > at[-1]:
                    continue
                heads = np.unique(np.concatenate([at + edge for edge in edges]))
                for head in heads[heads <= at[-1] + 1e-12]:
                    parts, own = np.zeros(count), 0.0
                    for front, back, mass in zip(edges, edges[1:], heavy, strict=False):
                        if mass:
                            for edge, sign in ((front, 1.0), (back, -1.0)):
                                weight = sign * mass / sum(heavy) / (back - front)
                                unit = [np.interp(head - edge, at, row) for row in np.eye(count)]
                                parts += weight * np.array(unit)
                                own += weight * np.interp(head - edge, at, added)
                    spot = max(0, int(np.sum(at < head - 1e-9)) - 1)
                    found[spot].append((parts[::-1] if turned else parts, own))
            self.spots += [tuple(map(np.array, zip(*rows, strict=True))) for rows in found.values() if rows]
            self.train += [number for rows in found.values() if rows]
        even = self.hard(self.even)
        self.most = [max(e for e, t in zip(even, self.train, strict=True) if t == own) for own in self.train]
        rows = []
        for k in range(count - 1):
            rise = self.even[k + 1] - self.even[k]
            row = np.eye(count)[k + 1] - np.eye(count)[k]
            if rise <= 1e-12:
                rows.append((row, 0.0))
            if rise >= -1e-12:
                rows.append((-row, 0.0))
        for k in range(1, count - 1):
            turn = (np.eye(count)[k + 1] - np.eye(count)[k]) / lengths[k]
            turn = turn - (np.eye(count)[k] - np.eye(count)[k - 1]) / lengths[k - 1]
            most = max(change, abs(turn @ self.even))
            rows += [(turn, most), (-turn, most)]
        self.limits = np.array([row for row, _ in rows]), np.array([most for _, most in rows])

    def hard(self, heights) -> np.ndarray:
        return np.array([(parts @ heights + own).max() for parts, own in self.spots])

    def lowest(self, free: list[int], fixed: dict[int, float], top: float | None = None, slack: int | None = None):
        """The least top of the free spots, else by how much one of them can be below the top."""
        rows, most = list(self.limits[0]), list(self.limits[1])
        rows = [np.append(row, 0.0) for row in rows]
        for k, (parts, own) in enumerate(self.spots):
            for part, bend in zip(parts, own, strict=True):
                rows.append(np.append(part, 0.0))
                most.append(min(self.most[k], fixed.get(k, np.inf) if k in fixed else 10.0) - bend)
                if k in free:
                    unit = -1.0 if top is None else float(k == slack)
                    rows.append(np.append(part, unit))
                    most.append((0.0 if top is None else top) - bend)
        sign = 1.0 if top is None else -1.0
        done = linprog(
            np.append(np.zeros(self.even.size), sign),
            A_ub=np.array(rows),
            b_ub=np.array(most),
            bounds=[*self.bounds, (-10.0, 10.0)],
            options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
        )
        assert done.status == 0, done.message
        return float(done.x[-1])

    def leximin(self) -> np.ndarray:
        """What each spot comes to: those that cannot be lower at each stage are found one by one."""
        free, fixed = list(range(len(self.spots))), {}
        while free:
            top = self.lowest(free, fixed)
            tight = [k for k in free if self.lowest(free, fixed, top + 1e-9, k) < 1e-7]
            assert tight
            for k in tight:
                fixed[k] = top + 2e-9
            free = [k for k in free if k not in tight]
        return np.array([fixed[k] for k in range(len(self.spots))])


tracks = st.lists(
    st.tuples(st.sampled_from([0.3, 0.5, 0.8, 1.3]), st.sampled_from([0.0, 0.0, 0.4, 0.6, 1.0])), min_size=3, max_size=6
)
trains = st.lists(
    st.tuples(st.sampled_from(["ore", "flat"]), st.integers(1, 4), st.sampled_from(["Up", "Up", "Down"])),
    min_size=1,
    max_size=2,
)


@st.composite
def cases(draw):
    own = draw(tracks)
    heights = {0: 0.0, len(own): draw(st.sampled_from([0.01, 0.03, 0.08, -0.04]))}
    if draw(st.booleans()):
        heights[draw(st.integers(1, len(own) - 1))] = draw(st.sampled_from([0.0, 0.01, 0.03]))
    return own, heights, draw(trains), draw(st.sampled_from([0.005, 0.02, 0.2]))


@settings(max_examples=15, deadline=None, derandomize=True)
@given(cases())
def test_what_each_stretch_comes_to_is_the_leximin(case) -> None:
    tracks, heights, trains, change = case
    if len(heights) > len(tracks):
        return
    walked = Walked(*case)
    with patch.object(hills, "GAIN", 1e-7):
        found = leveled(layout_of(tracks, heights, trains), change=change)
    ours = walked.hard(found.heights[found.stations.lines["Hill"][0]])
    best = np.sort(np.maximum(walked.leximin(), 0.0))[::-1]
    assert np.sort(np.maximum(ours, 0.0))[::-1] == pytest.approx(best, abs=3e-6)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(cases())
def test_nothing_gets_harder_than_even_unless_that_lowers_something_harder(case) -> None:
    tracks, heights, trains, change = case
    walked = Walked(*case)
    found = leveled(layout_of(tracks, heights, trains), change=change)
    leveled_heights = found.heights[found.stations.lines["Hill"][0]]
    ours, even = walked.hard(leveled_heights), walked.hard(walked.even)
    for k in np.flatnonzero(ours > np.maximum(even, 0.0) + 1e-6):
        assert ((ours >= ours[k] - GAIN) & (ours < even - 1e-6)).any()
    if (ours > even - 1e-6).all():
        assert leveled_heights == pytest.approx(walked.even, abs=1e-9)
    best = np.sort(np.maximum(walked.leximin(), 0.0))[::-1]
    assert np.sort(np.maximum(ours, 0.0))[::-1] == pytest.approx(best, abs=5e-4)
