"""The answers for a person: no line is wider than a usual terminal, and no figure is parted from its unit."""

from __future__ import annotations

import re
import shlex

import pytest
from rich.cells import cell_len

from command_line import run
from demos import DEMOS, answer_of, layout_of, leveled_of, plan_of, ways_of
from gradehaul.show import CHECK, LEVEL
from gradehaul.show.base.page import FULL, Columns, Page, words_of
from gradehaul.show.base.unit_format import units_for
from gradehaul.show.check.text import check_page
from gradehaul.show.level.text import level_page
from project import PLANS

SCREENS = {
    "try": "try {path} '{route}' '{train}'",
    "treat": "treat {path} --more all",
    "clearance": "clearance {path} --more all",
    "map": "map {path} --more all",
    "readings": "readings {path} --more all",
    "profile": "profile {path} '{leg}' --more all",
    "risers": "risers {path} --line '{line}' --every 2ft --datum 42in --show imperial",
    "risers along a route": "risers {path} --route '{leg}' --every 400mm",
    "helix": "helix --plan {path} --radius 700mm --rise-per-turn 90mm --turns 3 --more all",
    "incline": "incline --plan {path} --rise 100mm --grade 2% --show imperial --more all",
}
PARTED = re.compile(r"(?:mm|cm|m|km|in|ft|yd|mile|g|kg|oz|lb|gf|kgf|ozf|lbf|N|mN|deg|%|permille|\d+/\d+)(?!\w)")
"""What a line of a cell begins with whose figure has lost its fraction or its unit."""


def widest(text: str) -> int:
    return max(map(cell_len, text.splitlines()))


def parted(page: Page) -> list[str]:
    """Return lines of cells, at the width of a page, that begin with the unit or fraction of a figure above them."""
    found = []
    for part in page.parts:
        if isinstance(part, Columns):
            whole = {head.removesuffix(">") for head in part.heads} | {words_of(x) for row in part.rows for x in row}
            alone = Page()
            alone.parts.append(part)
            cells = re.split(r"\n|  +", alone.text(width=FULL))
            found += [cell for cell in cells if PARTED.match(cell) and _goes_on(cell, whole)]
    return found


def apart(page: Page) -> list[str]:
    """Return tables that have no room, so that each of their cells has a line of its own."""
    found = []
    for part in page.parts:
        if isinstance(part, Columns) and any(part.heads):
            alone = Page()
            alone.parts.append(part)
            top = alone.text().splitlines()[0]
            found += [top for head in part.heads if head.strip(" >").split(" ")[0] not in top]
    return found


def _goes_on(cell: str, whole: set[str]) -> bool:
    """Return whether the line of a cell follows a number there, and no whole cell begins so."""
    follows = re.compile(rf"\d {re.escape(cell)}")
    return any(map(follows.search, whole)) and not any(each.startswith(cell) for each in whole)


def keeps_its_width(page: Page, text: str) -> None:
    assert widest(text) <= FULL
    assert (parted(page), apart(page)) == ([], [])


@pytest.mark.parametrize("name", DEMOS)
def test_check_and_level_keep_to_their_width_and_figures_to_their_units(name: str) -> None:
    units = units_for(plan_of(name))
    pages = [check_page(answer_of(name), units, ways_of(name), CHECK)]
    if name not in ("full-size-example", "yard"):  # no train, or longer than the hill
        pages.append(level_page(leveled_of(name), units, LEVEL))
    for page in pages:
        keeps_its_width(page, page.text())


@pytest.mark.parametrize(
    ("verb", "name"),
    [(verb, name) for verb in SCREENS for name in (DEMOS[::3] if verb in ("helix", "incline") else DEMOS)],
)
def test_screens_keep_to_their_width_and_figures_to_their_units(
    verb: str, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    pages: list[Page] = []
    text = Page.text

    def kept(page: Page, *, width: int = FULL, color: bool = False) -> str:
        pages.append(page)
        return text(page, width=width, color=color)

    if verb in ("helix", "risers along a route") and name == "full-size-example":
        pytest.skip("a helix of the radius of a model is none for full size, and risers so near are too many")
    layout, given = layout_of(name), {"path": str(PLANS / f"{name}.toml")}
    given["line"] = next(iter(layout.plan.lines))
    given["route"] = layout.routes[0].name
    given["train"] = next((train.name for train in layout.plan.trains.values() if train.route == given["route"]), "")
    if verb == "try" and not given["train"]:
        pytest.skip("no train runs over the first route")
    legs = [leg.name for each in layout.routes[:2] for leg in each.legs or (each,)]
    for leg in legs if verb == "profile" else legs[:1]:
        words = SCREENS[verb].format(**given, leg=leg)
        monkeypatch.setattr(Page, "text", kept)
        done = run(*shlex.split(words))
        monkeypatch.setattr(Page, "text", text)
        if done.exit_code == 2 and ("no train is named" in done.stderr or "has no room" in done.stderr):
            pytest.skip("the plan names no train, or its cars are longer than the hill")
        assert done.exit_code < 2, done.stderr
        keeps_its_width(pages.pop(), done.stdout)
