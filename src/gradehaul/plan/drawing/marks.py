"""Points drawn on the side of track: joints where the track would otherwise run through."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.plan.drawing.beside import Beside, Index
from gradehaul.plan.drawing.elements import micro, order
from gradehaul.plan.drawing.records import Spot
from gradehaul.plan.drawing.sides import Cut, Tolerance, apply


def cut_at_marks(index: Index, marks: Sequence[Spot], tolerance: Tolerance) -> tuple[list[int], int]:
    """Cut the ways of an index at marks that lie on them, at a plain joint each.

    Parameters
    ----------
    index
        The ways as they are now.
    marks
        The points, m; one without a z marks the track that lies against it best.
    tolerance
        How far off the track a mark may lie, and how much higher or lower.

    Returns
    -------
        The nodes of the joints, and how many marks lie on no track. A mark at an end of a way needs no joint.
    """
    spots = sorted(marks, key=order)
    best: dict[int, tuple[int, Beside]] = {}
    near = index.near(spots, tolerance.snap)
    for which, one in index.beside(near, spots, [0.0] * len(spots), tolerance.snap, tolerance.level):
        worth = micro(one.off)
        if which not in best or worth < best[which][0]:
            best[which] = worth, one
    cuts = [Cut(one.way, one.along, index.ways.node()) for _, (_, one) in sorted(best.items())]
    apply(index.ways, cuts, tolerance.snap)
    return [cut.node for cut in cuts], len(spots) - len(best)
