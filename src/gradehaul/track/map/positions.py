"""Positions: where every track and joint lies in the plane, and by how much closed figures miss closing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from gradehaul.quantities.si import Meters, Radians
from gradehaul.track.map.plane import Pose

USABLE_MISCLOSURE = 0.01
"""A figure that misses closing by more than this share of its length makes its frame unusable: our own limit."""

USABLE_ANGLE = math.radians(15)
"""A figure whose headings miss by more makes its frame unusable: legs of turnouts are drawn straight up to about so."""


class Step(NamedTuple):
    """A line on the walk round a figure: its name, whether it is walked from its `from`, and a reversal before it.

    The last step of a walk has no line where the walk ends as it began, and the reversal there.
    """

    line: str
    forward: bool
    reverses: bool


@dataclass(frozen=True, slots=True)
class TrackPosition:
    """Where a track starts, in its line's direction; poses compare only within one frame."""

    id: str
    frame: int
    start: Pose


@dataclass(frozen=True, slots=True)
class JointPosition:
    """Where a joint lies, with the heading in which the first line that leaves it leaves it.

    Lines that meet at a turntable, or cross without slips, may lie in frames of their own; then this is the place of
    that first line's end.
    """

    name: str
    frame: int
    pose: Pose


@dataclass(frozen=True, slots=True)
class ClosureError:
    """By how much a closed figure of lines misses closing, or lines whose places are stated miss one another.

    `angle` is between -π and π; None where lines cross at an unknown angle, so that only the distance can be judged.
    """

    lines: tuple[str, ...]
    """In the order of the walk round the figure."""
    frame: int
    distance: Meters
    """m"""
    angle: Radians | None
    """rad"""
    length: Meters
    """Length of the figure, m."""
    joint: str = ""
    """Where it shows."""
    steps: tuple[Step, ...] = ()
    """The walk round the figure; none where lines cross, or whose places are stated."""
    stated: bool = False
    """Whether it is between lines whose places are stated."""

    @property
    def share(self) -> float:
        """The distance over the length of the figure."""
        return self.distance / self.length

    @property
    def severity(self) -> float:
        """By how much it misses over the limits of what is usable: above 1 distances between tracks cannot be taken."""
        return max(self.share / USABLE_MISCLOSURE, abs(self.angle or 0.0) / USABLE_ANGLE)


@dataclass(frozen=True)
class Positions:
    """Every track by id and every joint by name with its place, and every closed figure with its misclosure.

    Frame 0 has the place and heading that the plan's map states; each connected piece of the plan that it does not
    reach has a frame of its own, which starts at its first line.
    """

    tracks: Mapping[str, TrackPosition]
    joints: Mapping[str, JointPosition]
    closures: tuple[ClosureError, ...]

    @cached_property
    def worst(self) -> Mapping[int, ClosureError]:
        """The figure of each frame that misses closing worst: by the largest share of its length, or by its angle."""
        found: dict[int, ClosureError] = {}
        for closure in self.closures:
            if closure.frame not in found or closure.severity > found[closure.frame].severity:
                found[closure.frame] = closure
        return found

    def usable(self, frame: int) -> bool:
        """Return whether distances between tracks of a frame can be taken from the positions.

        They cannot where a figure of the frame misses closing by more than 1 % of its length, or by 15 degrees.
        """
        return frame not in self.worst or self.worst[frame].severity <= 1.0
