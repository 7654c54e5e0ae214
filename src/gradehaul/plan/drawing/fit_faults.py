"""What is told of the fitting once the network is known: kinks that are none, and radii that are not well known."""

from __future__ import annotations

import math
from collections.abc import Sequence

from gradehaul.plan.drawing.elements import gap, place
from gradehaul.plan.drawing.nearness import Nearness, dot
from gradehaul.plan.drawing.records import Fault, Linked
from gradehaul.quantities import describe

UNCERTAIN = 0.01
"""A fitted radius whose standard deviation is more than this share of it is told."""


def kinks_left(faults: Sequence[Fault], linked: Linked, snap: float) -> list[Fault]:
    """Return faults of the fitting without the kinks where linking found a turnout or a crossing.

    A loop drawn in one stroke comes back to its beginning from the other side: that is a turnout, whose ends linking
    has judged by their tangents.
    """
    kinks = [number for number, fault in enumerate(faults) if fault.code == "kink" and fault.spot is not None]
    joints = [joint.spot for joint in linked.joints if joint.kind in {"turnout", "crossing"}]
    if not kinks or not joints:
        return list(faults)
    spots = [spot for number in kinks if (spot := faults[number].spot) is not None]
    near = Nearness([dot(joint) for joint in joints], snap / 10).near(spots, 2 * snap).tolist()
    gone = {kinks[row] for row, joint in near if gap(spots[row], joints[joint]) <= 2 * snap}
    return [fault for number, fault in enumerate(faults) if number not in gone]


def uncertain_radii(linked: Linked, tell: str) -> list[Fault]:
    """Return a fault for every radius that was fitted to so short an arc that it is not well known.

    Parameters
    ----------
    linked
        The network.
    tell
        The unit of lengths.
    """
    found: list[Fault] = []
    for line in linked.lines:
        for element in line.elements:
            spread = element.radius_spread
            if spread is None or element.curvature == 0:
                continue
            radius = 1 / abs(element.curvature)
            if spread <= UNCERTAIN * radius:
                continue
            told = describe(radius, "length", tell)
            turn = math.degrees(abs(element.curvature) * element.length)
            if math.isfinite(spread):
                off = describe(spread, "length", tell)
                text = f"an arc of {turn:.0f}° drawn as chords has a radius of {told}, give or take {off}"
            else:
                text = f"an arc of {turn:.0f}° drawn as chords has a radius of {told}, by three points alone"
            share = min(spread / radius, 1e3)
            found.append(
                Fault("radius", text, place(element, element.length / 2), element.handle, element.layer, weight=share)
            )
    return found
