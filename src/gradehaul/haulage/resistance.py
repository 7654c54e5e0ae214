"""Resistance: what curves and rolling cost, and how little a car may resist when it should stand."""

from __future__ import annotations

from dataclasses import dataclass

from gradehaul.plan.records import CurveResistance
from gradehaul.quantities import Reading
from gradehaul.quantities.si import Meters, Share
from gradehaul.scales import Scale

DEGREE_COEFFICIENT = 0.0004 * 5729.578 * 0.3048
"""Equivalent grade times radius, m, at full size: 0.04 % of grade per degree of curve (0.8 lb per short ton per degree,
the recommended practice of the American railway engineering association), one degree being 5,729.578 ft of radius by
the arc definition."""

LOWEST_SHARE, HIGHEST_SHARE = 0.4, 1.5
"""The 5th and 95th percentile of a rolling resistance without a spread of its own, as shares of it: 0.8 and 3 % where
2 % is usual (common practice)."""

CURVE_SPREAD = 0.20
"""Spread of a curve coefficient that was not measured, as a share of it: at HO and 24 in the published forms span 0.9
to 1.3 %."""

CURVE_MEASURED = 0.10
"""Spread of a curve coefficient that the builder measured, as a share of it (assumed)."""


NORMAL_95 = 1.6448536269514722
"""Standard deviations from the middle of a normal distribution to its 95th percentile, or down to its 5th."""


@dataclass(frozen=True, slots=True)
class CurveCosts:
    """What curves cost a train: a curve of radius R needs as much as a grade of `coefficient` / R.

    When starting, it is `starting` times that; when it has to be held back downhill, only `lowest` of it can be relied
    on, the 5th percentile. `tension` is the effective friction of flanges pressed by coupler tension, 0 where it is
    left out.
    """

    coefficient: Meters
    starting: Share
    lowest: Share
    tension: Share


def curve_costs(wanted: CurveResistance, scale: Scale) -> CurveCosts:
    """Return what curves cost on a plan."""
    lowest = max(0.0, wanted.least - NORMAL_95 * curve_spread(wanted))
    return CurveCosts(curve_coefficient(wanted, scale), wanted.starting or 1.0, lowest, wanted.tension)


def curve_coefficient(wanted: CurveResistance, scale: Scale) -> float:
    """Return the curve coefficient C, m: a curve of radius R adds as much as a grade of C / R.

    Models: ``degree``, C = 0.69855 m / ratio, full-size practice scaled; ``wheelbase``, C = f (0.72 e + 0.47 a) with e
    the gauge (the distance between rail centers in the original, a few percent more), a the rigid wheelbase and f the
    friction of the model's own wheel on its rail (Protopapadakis, name and constants from memory); ``coefficient``,
    measured by the builder as (pull on the curve - pull on straight) / weight × R.
    """
    if wanted.model == "wheelbase":
        assert wanted.friction is not None
        assert wanted.wheelbase is not None
        return wanted.friction * (0.72 * scale.gauge + 0.47 * wanted.wheelbase)
    if wanted.model == "coefficient":
        assert wanted.coefficient is not None
        return wanted.coefficient
    return DEGREE_COEFFICIENT / scale.ratio


def curve_spread(wanted: CurveResistance) -> float:
    """Return the spread of the curve coefficient as a share of it, by where it comes from."""
    if wanted.spread is not None and wanted.coefficient:
        return wanted.spread / wanted.coefficient
    return CURVE_MEASURED if wanted.model == "coefficient" else CURVE_SPREAD


def lowest(resistance: Reading, drop: float = 0.0) -> float:
    """Return the 5th percentile of a resistance: what to allow for where cars should stay put.

    It may be lower by a `drop`, by the lower of readings that contradict.
    """
    if resistance.spread is None:
        return LOWEST_SHARE * resistance.value
    return max(0.0, resistance.value - drop - NORMAL_95 * resistance.spread)
