"""The joints that a route passes, and where."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.profile import RouteProfile
from gradehaul.quantities.si import Meters


@dataclass(frozen=True, slots=True)
class JointPlace:
    """A joint where a route passes it, m from where the route begins."""

    at: Meters
    name: str
    kind: Literal["end", "plain", "turnout", "crossing", "table"]


def joints_along(layout: Layout, profile: RouteProfile) -> Iterator[JointPlace]:
    """Yield the joints that a route passes, in running order, with those at its ends."""
    ways, joints = profile.route.ways, layout.plan.joints
    ahead = layout.movements.joint_ahead
    met = [ahead.get(ways[0].turned()), *(ahead.get(way) for way in ways)]
    for at, name in zip(profile.starts, met, strict=True):
        if name is not None:
            yield JointPlace(float(at), name, joints[name].kind)
