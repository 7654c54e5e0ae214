"""Railheads found by leveling, for a person: how hard the hill was and is, and every height."""

from __future__ import annotations

from gradehaul.design.level import Leveled
from gradehaul.plan.names import clean
from gradehaul.show.page import Page, Piece
from gradehaul.show.reading_units import Reader

_CAUTION = (
    "Heights say nothing about what carries them, nor about the room over tracks below: run clearance on the plan that "
    "-o writes. Decks bear only as they are built: follow local codes, and ask a qualified person where structure, "
    "mains or stairs are touched. Guard or edge track from which a train can fall, and keep children from open drops."
)


def level_page(found: Leveled, reader: Reader) -> Page:
    """Return the answer as a page."""
    page = Page()
    page.line("Railheads for even effort: ", (found.plan.title, "bold"), f" ({clean(found.plan.file)})")
    page.line("Hardest effective grade, averaged under the locomotives alone or with any number of the train's cars:")
    rows: list[list[Piece]] = [
        [
            each.train,
            reader.grade(each.string),
            reader.grade(each.leveled),
            f"{each.cars}",
            f"{each.track}, head {reader.length(each.head)} along its route",
        ]
        for each in found.hardest
    ]
    page.table(["train", "even>", "leveled>", "with cars>", "where"], rows)
    page.line("Even: heights that run evenly between those that are given.", indent=2)
    page.line("Both without vertical curves, which take a little more from a change of grade.", indent=2)
    page.heading("Railheads")
    page.table(["line", "at>", "even>", "leveled>", "", "grade to next>"], _heights(found, reader))
    page.heading("Caution")
    page.line(_CAUTION, indent=2)
    return page


def _heights(found: Leveled, reader: Reader) -> list[list[Piece]]:
    names = {number: name for name, number in found.stations.joints.items()}
    rows: list[list[Piece]] = []
    for line, (numbers, distance) in found.stations.lines.items():
        for k, number in enumerate(numbers.tolist()):
            here = float(found.heights[number])
            grade = ""
            if k + 1 < numbers.size:
                grade = reader.grade(
                    (float(found.heights[numbers[k + 1]]) - here) / float(distance[k + 1] - distance[k])
                )
            rows.append(
                [
                    line if k == 0 else "",
                    reader.length(float(distance[k])),
                    reader.length(float(found.string[number]), fine=True),
                    reader.length(here, fine=True),
                    names.get(number, "") if found.stations.free[number] else f"{names.get(number, '')} given".strip(),
                    grade,
                ]
            )
    return rows
