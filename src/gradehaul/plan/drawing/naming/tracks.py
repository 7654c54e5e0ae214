"""Names of single tracks, such as a bend's, by the texts that export writes beside their middles."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate

from gradehaul.errors import quoted
from gradehaul.plan.drawing.elements import height, in_plan
from gradehaul.plan.drawing.nearness import Nearness
from gradehaul.plan.drawing.records import DrawnLine, Fault, Label
from gradehaul.plan.drawing.rows import Rows


def names_of_tracks(
    lines: Sequence[DrawnLine], labels: Sequence[Label], near: float
) -> tuple[list[tuple[str, ...]], list[Fault]]:
    """Return for each line the names of its elements, empty for those without, and a fault for each that names nothing.

    A label names the element that it stands beside, within `near`, m: of several over one another that at its height.
    Where two names stand beside one element, as of two straights that are one as drawn, neither is its name.

    Examples
    --------
    >>> from gradehaul.plan.drawing.records import Element, Spot
    >>> lines = [
    ...     DrawnLine((Element(Spot(0, 0, z), Spot(1, 0, z), 0.0, 0.0, 1.0, "", ""),), 0, 1, "") for z in (0.0, 0.1)
    ... ]
    >>> names_of_tracks(lines, [Label("Upper bend", Spot(0.5, 0.003, 0.1), "", "")], 0.01)
    ([(), ('Upper bend',)], [])
    """
    names = [[""] * len(line.elements) for line in lines]
    if not labels:
        return [()] * len(lines), []
    index = Nearness(Rows.of(line.elements for line in lines))
    nearest: dict[int, tuple[float, int, int]] = {}
    for foot in index.beside(in_plan([label.spot for label in labels]), near).feet():
        there, z = height(index.rows.element(foot.number), foot.on), labels[foot.which].spot.z
        apart = 0.0 if there is None or z is None else abs(there - z)
        stops = list(accumulate(element.length for element in lines[foot.row].elements))
        number = next((each for each, stop in enumerate(stops) if foot.along < stop), len(stops) - 1)
        found = (round(foot.off + apart, 6), foot.row, number)
        nearest[foot.which] = min(found, nearest.get(foot.which, found))
    claims: dict[tuple[int, int], set[str]] = {}
    for which, (_, row, number) in nearest.items():
        claims.setdefault((row, number), set()).add(labels[which].text)
    for (row, number), texts in claims.items():
        names[row][number] = texts.pop() if len(texts) == 1 else ""
    used = {which for which, (_, row, number) in nearest.items() if names[row][number]}
    faults = [
        Fault("text-unused", f"{quoted(each.text)} names nothing: {why}", each.spot, each.handle, each.layer)
        for which, each in enumerate(labels)
        if which not in used
        for why in ["the track beside it has another name, too" if which in nearest else "no track is beside it"]
    ]
    return [tuple(each) if any(each) else () for each in names], faults
