"""Make the picture of the live page for the handbook: ``python tests/handbook/live_picture.py``; needs Chromium."""

from __future__ import annotations

import io
import shutil
import sys
import threading
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "src"))

from gradehaul.live.app import Shown  # noqa: E402 - behind the path
from gradehaul.live.serving import Service  # noqa: E402


def main() -> None:
    """Serve a copy of a demo plan, try a railhead on it, and take the picture."""
    with TemporaryDirectory() as folder, sync_playwright() as playwright:
        plans = shutil.copytree(ROOT / "plans", Path(folder) / "plans")
        service = Service(Shown(plans, "two-levels.toml"))
        up = threading.Event()
        threading.Thread(target=service.run, args=(up.set,), daemon=True).start()
        up.wait()
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"))
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.goto(service.url)
        page.wait_for_selector("html[data-whole]", state="attached")
        page.locator("#railhead-of").select_option("joint West switch")
        for _ in range(6):
            page.get_by_role("slider", name="Railhead at West switch").press("Shift+ArrowUp")
        page.wait_for_function("() => !document.getElementById('outcomes').textContent.includes('…')")
        page.wait_for_timeout(1500)
        shot = Image.open(io.BytesIO(page.screenshot()))
        shot.convert("RGB").quantize(96).save(ROOT / "docs" / "live.png", optimize=True)
        browser.close()
        service.stop()


if __name__ == "__main__":
    main()
