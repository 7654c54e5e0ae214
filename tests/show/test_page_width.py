"""The first screens of all answers but check: no line is wider than a page, in a file and on a terminal."""

from __future__ import annotations

import pytest
from click.testing import CliRunner
from rich.cells import cell_len

from gradehaul.command import main
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan
from gradehaul.show.base.page import FULL, Page
from project import PLANS

DEMOS = sorted(path.stem for path in PLANS.glob("*.toml") if path.stem != "stock-ho")


def widest(text: str) -> int:
    return max(map(cell_len, text.splitlines()))


@pytest.mark.parametrize("name", DEMOS)
@pytest.mark.parametrize("verb", ["treat", "level", "clearance", "map", "readings", "profile"])
def test_first_screens_keep_to_their_width(verb: str, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    path = PLANS / f"{name}.toml"
    pages: list[Page] = []
    text = Page.text

    def kept(page: Page, *, width: int | None = None, color: bool = False) -> str:
        pages.append(page)
        return text(page, width=width, color=color)

    monkeypatch.setattr(Page, "text", kept)
    routes = Layout(load_plan(path)).routes[:2] if verb == "profile" else ()
    for more in [[leg.name] for route in routes for leg in route.legs or (route,)] or [[]]:
        done = CliRunner().invoke(main, [verb, str(path), *more])
        if done.exit_code == 2 and "no train is named" in done.stderr:
            pytest.skip("the plan names no train")
        assert done.exit_code < 2, done.stderr
        assert widest(done.stdout) <= FULL
        assert widest(text(pages.pop(), width=FULL)) <= FULL
    assert pages == []
