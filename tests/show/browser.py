"""A page in a real browser without a window, and all that it says and asks for while it is open."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
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


@contextmanager
def opened(browser: Browser, path: Path, *, width: int = 1000, scheme: Any = "light") -> Iterator[Opened]:
    """Open a page file, and close it again."""
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.set_default_timeout(60_000)
    one = Opened(page)
    page.on("console", lambda message: one.said.append(message.text))
    page.on("pageerror", lambda error: one.said.append(str(error)))
    page.on("dialog", lambda dialog: (one.said.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: one.requested.append(request.url))
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]", state="attached")
    try:
        yield one
    finally:
        page.close()
