"""A page in a real browser without a window, and all that it says and asks for while it is open."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from playwright.sync_api import Browser, Page


@dataclass
class Opened:
    """A page that is open, what it wrote to the console, and the addresses it requested."""

    page: Page
    said: list[str] = field(default_factory=list)
    requested: list[str] = field(default_factory=list)

    def text(self, selector: str) -> str:
        return self.page.locator(selector).inner_text()

    def show_all(self) -> None:
        """Open whatever can be opened, and draw what is drawn only when it comes into sight."""
        self.run("document.querySelectorAll('details').forEach(d => { d.open = true })")
        self.run("dispatchEvent(new Event('beforeprint'))")

    def run(self, script: str, argument: Any = None) -> Any:
        return self.page.evaluate(script, argument)


_kept: list[Page] = []
"""Tabs for the next page: to begin one takes longer than most tests."""


@contextmanager
def opened(
    browser: Browser,
    address: str,
    *,
    width: int = 1000,
    height: int = 900,
    touch: bool = False,
    ready: str = "html[data-ready]",
    **media: Any,
) -> Iterator[Opened]:
    """Open a page, and leave it again."""
    page = browser.new_page(has_touch=touch) if touch or not _kept else _kept.pop()
    page.set_default_timeout(60_000)
    page.set_viewport_size({"width": width, "height": height})
    page.emulate_media(**{"media": "screen", "color_scheme": "light", "reduced_motion": "no-preference"} | media)
    one = Opened(page)
    listeners = {
        "console": lambda message: one.said.append(message.text),
        "pageerror": lambda error: one.said.append(str(error)),
        "dialog": lambda dialog: (one.said.append(dialog.message), dialog.dismiss()),
        "request": lambda request: one.requested.append(request.url),
    }
    for event, listener in listeners.items():
        page.on(event, listener)
    try:
        page.goto(address)
        page.wait_for_selector(ready, state="attached")
        yield one
    except BaseException:
        page.close()
        raise
    for event, listener in listeners.items():
        page.remove_listener(event, listener)
    if touch:
        page.close()
        return
    page.mouse.move(0, 0)
    page.goto("about:blank")
    _kept.append(page)
