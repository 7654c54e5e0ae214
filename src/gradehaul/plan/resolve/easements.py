"""Easements and their neighbors: each stands beside a curve that it eases."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gradehaul.errors import PlanError
from gradehaul.plan.records import Joint, Line, LineEnd, Track

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from gradehaul.plan.text.faults import Faults


def check_easements(
    lines: Mapping[str, Line], joints: Mapping[str, Joint], files: Mapping[str, str], faults: Faults
) -> None:
    """Take the errors of easements that stand in a row or have no curve to ease.

    Parameters
    ----------
    lines, joints
        The lines and joints of the plan; an easement runs on across plain joints.
    files
        The file of each line, for the messages.
    faults
        Where errors go.
    """
    reported: set[frozenset[str]] = set()
    for line in lines.values():
        for index, track in enumerate(line.tracks):
            if track.kind != "easement":
                continue
            before = line.tracks[index - 1] if index else _across(line, "from", lines, joints)
            after = line.tracks[index + 1] if index + 1 < len(line.tracks) else _across(line, "to", lines, joints)
            beside = [other for other in (before, after) if other is not None]
            twins = [other for other in beside if other.kind == "easement"]
            for other in twins:
                pair = frozenset({track.id, other.id})
                if pair not in reported:
                    reported.add(pair)
                    twin = PlanError("two easements in a row", found=f"another in {other.place}", write="one easement")
                    faults.add(twin, file=files[line.name], place=track.place)
            if not twins and (error := _idle(beside)):
                faults.add(error, file=files[line.name], place=track.place)


def _idle(beside: Sequence[Track]) -> PlanError | None:
    """Return the error of an easement whose neighbors leave it nothing to ease."""
    if any(other.kind == "curve" and not other.ease for other in beside):
        return None
    if any(other.ease for other in beside):
        return PlanError(
            "nothing to ease here: the curve beside this easement has an ease of its own", write="one of them"
        )
    return PlanError("nothing to ease here: an easement belongs beside a curve", write="straight = ... instead")


def _across(line: Line, side: str, lines: Mapping[str, Line], joints: Mapping[str, Joint]) -> Track | None:
    """Return the track that goes on beyond an end of a line, None where a plain joint does not join it to one."""
    own = LineEnd(line.name, "from" if side == "from" else "to")
    joint = joints.get(line.joint(own.end))
    if joint is None or joint.kind != "plain":
        return None
    first, second = joint.ends
    other = second if first == own else first
    tracks = lines[other.line].tracks
    return tracks[0] if other.end == "from" else tracks[-1]
