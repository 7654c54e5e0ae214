"""Spacing of tracks: what two of them side by side need between their centers, on straight track and on curves."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, NamedTuple, TypeVar

import numpy as np

from gradehaul.plan.records import Plan
from gradehaul.quantities import INCH
from gradehaul.quantities.si import Meters
from gradehaul.scales import Practice, Scale, track_centers
from gradehaul.track.piecewise import FloatArray, distinct

_NARROW = 1.1
"""Gauges up to this, m at full size, are 3 ft or near it."""
_TIE = 1e-9
_CLASSES: tuple[Literal["II", "I", "Ia"], ...] = ("II", "I", "Ia")
_Name = TypeVar("_Name", bound=str)


class _Curve(NamedTuple):
    """A figure by curvature: curvatures, 1/m, rising from 0, and figures, m, 0 on straight track."""

    bends: FloatArray
    figures: FloatArray

    def at(self, bend: FloatArray) -> FloatArray:
        """Return the figure for curvatures; in proportion to them beyond the sharpest curve of the table."""
        sharpest, most = self.bends[-1], self.figures[-1]
        found: FloatArray = np.where(bend > sharpest, most * bend / sharpest, np.interp(bend, self.bends, self.figures))
        return found


@dataclass(frozen=True, slots=True)
class Spacing:
    """What tracks need between their centers in one plan, m; curvatures are 1/m, without sign.

    Centers pass from `wanted` on, which is `straight` on straight track; under `least` stock fouls. `group` is the
    group of stock by NEM 103, `stock_class` that by NMRA S-8.
    """

    fouling: Meters
    straight: Meters
    straight_source: str
    curve_source: str
    group: Literal["A", "B", "C"]
    stock_class: Literal["II", "I", "Ia"]
    _tangent: float
    """Centers on straight track of the table of curves, and no less than `fouling`, m."""
    _centers: _Curve
    _overhang: _Curve
    _overhang_counts: bool

    def overhang(self, bend: FloatArray) -> FloatArray:
        """Return by how much the clear space is wider on either side of a curve, m (NEM 103)."""
        return self._overhang.at(bend)

    def on_curves(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Return what two tracks of these curvatures need more than straight ones, m.

        Tables of curve spacing are for tracks about one center, by the radius of the inner one, so the sharper counts.
        Under NEM tracks also pass where each keeps clear what NEM 103 wants on its own side of both.
        """
        found = self._centers.at(np.maximum(one, other))
        if self._overhang_counts:
            found = np.minimum(found, self._overhang.at(one) + self._overhang.at(other))
        return found

    def wanted(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Return the centers from which on two tracks of these curvatures pass, m."""
        found: FloatArray = np.maximum(self.straight, self._tangent + self.on_curves(one, other))
        return found

    def least(self, one: FloatArray, other: FloatArray) -> FloatArray:
        """Return the centers under which stock on one fouls stock on the other, m."""
        return self.fouling + self.on_curves(one, other)

    def beyond(self, bend: float) -> bool:
        """Return whether a curve is sharper than any that the table of curve spacing has."""
        return bend > float(self._centers.bends[-1]) * (1 + _TIE)


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("gradehaul.track.proximity").joinpath("spacing.toml").read_text(encoding="utf-8"))


def stock_group(full_size: float) -> Literal["A", "B", "C"]:
    """Return the group of NEM 103 for stock of a length over couplers at full size, m; the longest counts with C."""
    return _first_that_holds("stock_group", ("A", "B", "C"), full_size)


def _first_that_holds(table: str, names: tuple[_Name, ...], full_size: float) -> _Name:
    """Return the first group with stock of a length or longer, the last where none has."""
    return next((name for name in names if full_size <= _table()[table][name] + _TIE), names[-1])


def longest_stock(plan: Plan) -> float | None:
    """Return the length of a plan's longest vehicle over couplers, m; None where it has none."""
    lengths = [loco.length for loco in plan.locos.values()] + [car.length for car in plan.cars.values()]
    return max(lengths, default=None)


def spacing_of(plan: Plan) -> Spacing:
    """Return what tracks need between their centers in a plan, by its practice and its longest stock."""
    longest = longest_stock(plan)
    return spacing_for(plan.scale, plan.practice, None if longest is None else longest * plan.scale.ratio)


def spacing_for(scale: Scale, practice: Practice, full_size: float | None = None) -> Spacing:
    """Return what tracks need between their centers.

    NEM: NEM 112 [1]_, of H0 over the ratio where a scale has no figure of its own, or NEM 103 [2]_ on both sides where
    that is less. NMRA: S-8 [3]_ by class; scales without a table have the greater of O and S over the ratio.

    `full_size` is the length of the longest stock over couplers at full size, m; the longest of all where None.

    References
    ----------
    .. [1] NEM 112, distances between tracks.
    .. [2] NEM 103, clear space on curves, edition 2016.
    .. [3] NMRA S-8, track centers.
    """
    table = _table()
    group = "C" if full_size is None else stock_group(full_size)
    own_class = _first_that_holds("stock_class", _CLASSES, math.inf if full_size is None else full_size)
    centers, source = track_centers(scale, practice)
    by_nem = practice == "NEM"
    curve, tangent = _nem_112(scale) if by_nem else _nmra_s_8(scale, own_class)
    overhang = _nem_103(scale, group)
    curve_source: str = table["nem_112" if by_nem else "nmra_s_8"]["source"]
    if by_nem:
        curve_source += f"; or {table['nem_103']['source']}, on both sides"
    else:
        curve_source += f"; {table['stock_class']['source']}: {own_class}"
    fits = centers >= scale.fouling_distance
    straight = max(centers, scale.fouling_distance)
    return Spacing(
        fouling=scale.fouling_distance,
        straight=straight,
        straight_source=source if fits else f"{scale.source('stock_width')}; {scale.source('side_clearance')}",
        curve_source=curve_source,
        group=group,
        stock_class=own_class,
        _tangent=straight if by_nem else max(tangent, scale.fouling_distance),
        _centers=curve,
        _overhang=overhang,
        _overhang_counts=by_nem,
    )


def _curve(pairs: Sequence[Sequence[float]], unit: float, straight: float = 0.0) -> _Curve:
    """Return pairs of a radius and a figure, sharpest first, as what they have more than straight track."""
    radius, figure = np.array(pairs[::-1], dtype=float).T * unit
    return _Curve(np.append(0.0, 1.0 / radius), np.append(0.0, figure - straight * unit))


def _scaled(curve: _Curve, factor: float) -> _Curve:
    """Return a curve of figures for track that is larger by a factor."""
    return _Curve(curve.bends / factor, curve.figures * factor)


def _nem_112(scale: Scale) -> tuple[_Curve, float]:
    table = _table()["nem_112"]
    curve = _scaled(_curve(table["curves"], 1e-3, table["straight"]), table["ratio"] / scale.ratio)
    return curve, table["straight"] / 1000 * table["ratio"] / scale.ratio


def _nem_103(scale: Scale, group: str) -> _Curve:
    table = _table()["nem_103"]
    if scale.name in table:
        return _curve(table[scale.name][group], 1e-3)
    return _scaled(_curve(table["H0"][group], 1e-3), 87 / scale.ratio)


def _nmra_s_8(scale: Scale, own_class: str) -> tuple[_Curve, float]:
    """Return the table of a scale, or the greater of those of two scales over the ratio."""
    table = _table()["nmra_s_8"]
    name = "HO" if scale.name == "H0" else scale.name
    own = table.get(name, {})
    key = own_class if own_class in own else "any"
    if key in own:
        return _curve(own[key], INCH, own["straight"]), own["straight"] * INCH
    narrow = scale.gauge * scale.ratio <= _NARROW
    curves, tangents = [], []
    for other, ratio in (("On3", 48.0), ("Sn3", 64.0)) if narrow else (("O", 48.0), ("S", 64.0)):
        row = table[other]
        curves.append(_scaled(_curve(row["any" if narrow else own_class], INCH, row["straight"]), ratio / scale.ratio))
        tangents.append(row["straight"] * INCH * ratio / scale.ratio)
    sharpest = min(curve.bends[-1] for curve in curves)
    bends = distinct(np.concatenate([curve.bends for curve in curves]))
    bends = bends[bends <= sharpest]
    return _Curve(bends, np.max([curve.at(bends) for curve in curves], axis=0)), max(tangents)
