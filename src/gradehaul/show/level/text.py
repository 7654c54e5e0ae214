"""Railheads found by leveling, for a person: how hard the hill was and is, and every height."""

from __future__ import annotations

from collections.abc import Sequence

from gradehaul.design.level.hills import GAIN
from gradehaul.design.level.railheads import ActiveLimit, Hardest, Leveled
from gradehaul.plan.names import clean
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.reading_units import Reader

_CAUTION = (
    "Heights say nothing about what carries them, nor about the room over tracks below: run clearance on the plan that "
    "-o writes. Decks bear only as they are built: follow local codes, and ask a qualified person where structure, "
    "mains or stairs are touched. Guard or edge track from which a train can fall, and keep children from open drops."
)

_MOST_NAMES = 3
_STILL = 1e-6
"""A rise that is no more is level, m."""


def level_page(found: Leveled, reader: Reader) -> Page:
    """Return the answer as a page."""
    page = Page()
    page.line("Railheads for even effort: ", (found.plan.title, "bold"), f" ({clean(found.plan.file)})")
    page.line("Hardest effective grade, averaged under the locomotives alone or with any number of the train's cars:")
    rows: list[list[Piece]] = [
        [
            each.train,
            reader.grade(each.even),
            reader.grade(each.leveled),
            f"{each.cars}",
            f"{each.track}, head {reader.length(each.head)} along its route",
        ]
        for each in found.hardest
    ]
    page.table(["train", "even>", "leveled>", "with cars>", "where"], rows)
    page.line("Even: heights that run evenly between those that are given.", indent=2)
    page.line("Both without vertical curves, which take a little more from a change of grade.", indent=2)
    page.line(
        f"Heights stay even where no train pulls, and where no more than {reader.grade(GAIN)} is to be had.", indent=2
    )
    bound = [each for each in found.hardest if each.binds]
    if bound:
        page.heading("What keeps the hardest grade from being lower")
        words = [(each.train, binding_words(each, reader)) for each in bound]
        page.table(["train", ""], [[name * (k == 0), line] for name, lines in words for k, line in enumerate(lines)])
    page.heading("Railheads")
    page.table(["line", "at>", "even>", "leveled>", "", "grade to next>"], _heights(found, reader))
    page.heading("Caution")
    page.line(_CAUTION, indent=2)
    return page


def binding_words(hardest: Hardest, reader: Reader) -> list[str]:
    """Return what keeps a train's hardest grade from being lower, in words, one line for each rule."""
    return [_words(binding, reader) for binding in hardest.binds]


def _words(binding: ActiveLimit, reader: Reader) -> str:
    where = _listed(binding.where)
    lower = None if binding.lower is None else reader.grade(binding.lower)
    if binding.rule == "change":
        assert binding.limit is not None
        words = f"the change of grade of {reader.grade(binding.limit)} at {where}"
        wider = None if binding.wider is None else reader.grade(binding.wider)
        return words if lower is None else f"{words}; with --change {wider} it would be {lower}"
    if binding.rule in ("at least", "at most"):
        assert binding.limit is not None
        words = f"{binding.rule} {reader.length(binding.limit, fine=True)} at {where}"
        return words if lower is None else f"{words}; without that it would be {lower}"
    return {
        "given": f"the heights given at {where}",
        "rise": f"the rise or grade given at {where}",
        "direction": f"no climb turned into a fall, nor a fall into a climb, at {where}",
        "train": f"no harder grade than with even heights for {where}",
    }[binding.rule]


def _listed(names: Sequence[str]) -> str:
    """Return names in words, those beyond the third as a count."""
    shown = [clean(name) for name in names[:_MOST_NAMES]]
    more = len(names) - len(shown)
    if more:
        return f"{', '.join(shown)} and {more} more"
    return " and ".join(filter(None, [", ".join(shown[:-1]), shown[-1]]))


def _heights(found: Leveled, reader: Reader) -> list[list[Piece]]:
    names = {number: name for name, number in found.stations.joints.items()}
    rows: list[list[Piece]] = []
    for line, (numbers, distance) in found.stations.lines.items():
        for k, number in enumerate(numbers.tolist()):
            here = float(found.heights[number])
            grade = ""
            if k + 1 < numbers.size:
                rise = float(found.heights[numbers[k + 1]]) - here
                grade = reader.grade(rise / float(distance[k + 1] - distance[k]) if abs(rise) > _STILL else 0.0)
            rows.append(
                [
                    line if k == 0 else "",
                    reader.length(float(distance[k])),
                    reader.length(float(found.even[number]), fine=True),
                    reader.length(here, fine=True),
                    names.get(number, "") if found.stations.free[number] else f"{names.get(number, '')} given".strip(),
                    grade,
                ]
            )
    return rows
