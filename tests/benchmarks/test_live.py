"""The live page: from a save to the screen, the frames of a drag, and a thousand saves, a third of them broken."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import pytest
from layouts import long_hill

from project import ROOT

MORE_TRAINS = """
[train.second]
route = "Up by the siding"
consist = ["consolidation", "6 hopper", "caboose"]
[train.third]
route = "Up by the main"
consist = ["double header", "8 coach"]
[train.fourth]
route = "Quarry down"
consist = ["consolidation", "9 hopper"]
"""
WATCH_FRAMES = """
window.frames_ = [];
const real = window.requestAnimationFrame.bind(window);
window.requestAnimationFrame = (call) => real((now) => {
  const begun = performance.now();
  call(now);
  document.body.getBoundingClientRect();
  window.frames_.push(performance.now() - begun);
});
"""


@contextmanager
def served(plan: Path) -> Iterator[tuple[str, int]]:
    """Serve a plan by the command and yield the link and the number of the process."""
    command = [sys.executable, "-m", "gradehaul", "live", str(plan), "--no-open", "--stay"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            line = process.stdout.readline()
            yield next(word for word in line.split() if word.startswith("http")), process.pid
        finally:
            process.terminate()
            process.wait(10)


@pytest.fixture
def two_levels(tmp_path) -> Path:
    shutil.copytree(ROOT / "plans", tmp_path / "plans")
    plan = tmp_path / "plans" / "two-levels.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + MORE_TRAINS, encoding="utf-8")
    return plan


@pytest.fixture
def long_plan(tmp_path) -> Path:
    plan = tmp_path / "long.toml"
    plan.write_text(long_hill(500, 300), encoding="utf-8")
    return plan


def save(plan: Path, text: str) -> None:
    beside = plan.with_suffix(".new")
    beside.write_text(text, encoding="utf-8")
    beside.replace(plan)


def opened(browser, url: str):
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.add_init_script(WATCH_FRAMES)
    page.goto(url)
    page.wait_for_selector("html[data-heights]", state="attached", timeout=60_000)
    return page


def from_save_to_screen(page, plan: Path, texts: list[str]) -> list[float]:
    """Return how long each save took to be on the screen, ms, as the page's own marks say."""
    took = []
    for text in texts:
        answer = page.evaluate("document.documentElement.dataset.answer")
        begun = 1000 * time.time()
        save(plan, text)
        page.wait_for_function(
            "([n]) => document.documentElement.dataset.answer !== n",
            arg=[answer],
        )
        page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
        took.append(
            page.evaluate("performance.timeOrigin + performance.getEntriesByName('outcomes').at(-1).startTime") - begun
        )
        page.wait_for_timeout(700)
    return took


@pytest.mark.parametrize(("name", "most"), [("two_levels", 150), ("long_plan", 400)])
def test_from_a_save_to_the_screen(browser, request, figure, name, most):
    plan = request.getfixturevalue(name)
    text = plan.read_text(encoding="utf-8")
    old = '"Upper terminus" = 376' if name == "two_levels" else "straight = "
    with served(plan) as (url, _):
        page = opened(browser, url)
        page.wait_for_timeout(2000)
        texts = [
            text.replace(old, f'"Upper terminus" = {377 + n}') if name == "two_levels" else f"{text}# {n}\n"
            for n in range(15)
        ]
        took = from_save_to_screen(page, plan, texts)
        page.close()
    what = "two-levels" if name == "two_levels" else "500 tracks"
    figure(f"live, {what}: from a save to the screen", median(took), "ms", most=most)


def joints_with_heights(lines: int, tracks: int) -> str:
    """Lines in a row, each of so many tracks between two joints whose railheads are fixed; three trains over all."""
    heights = "\n".join(f"J{k} = {12 * k + 5 * (k % 3)}" for k in range(lines + 1))
    shape = ", ".join("{ straight = 30 }" if k % 2 else "{ left = 800, length = 30 }" for k in range(tracks))
    rows = "\n".join(f'[line.L{k}]\nfrom = "J{k}"\nto = "J{k + 1}"\ntrack = [{shape}]' for k in range(lines))
    trains = "\n".join(f'[train.t{n}]\nroute = "Up"\nconsist = ["tank", "{n} ore"]' for n in (3, 5, 7))
    stock = '[loco.tank]\nmass = "400 g"\nlength = 200\n[car.ore]\nmass = "90 g"\nlength = 130'
    route = f'[route.Up]\nfrom = "J0"\nto = "J{lines}"'
    return f'scale = "HO"\nunit = "mm"\n[railhead]\n{heights}\n{rows}\n{route}\n{stock}\n{trains}\n'


@pytest.mark.parametrize("tracks", [47, 500])
def test_frames_while_dragging(browser, two_levels, figure, tracks):
    plan, joint, step, what = two_levels, "Quarry switch", 0.5, "two-levels with six trains"
    if tracks == 500:
        plan, joint, step, what = plan.with_name("many.toml"), "J12", 0.3, "500 tracks"
        plan.write_text(joints_with_heights(25, 20), encoding="utf-8")
    with served(plan) as (url, _):
        page = opened(browser, url)
        page.wait_for_timeout(3000)
        box = page.get_by_role("slider", name=f"Railhead at {joint}").bounding_box()
        x, y = box["x"] + 13, box["y"] + 13
        page.mouse.move(x, y)
        page.mouse.down()
        page.evaluate("window.frames_.length = 0")
        for k in range(60):
            page.mouse.move(x, y - step * k)
        frames = page.evaluate("window.frames_")
        page.mouse.up()
        page.close()
    assert len(frames) > 10
    figure(f"live, {what}: script and layout of a frame while dragging", median(frames), "ms", most=16)


def memory(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text(encoding="utf-8")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1000


def test_a_thousand_saves_a_third_of_them_broken(browser, two_levels, figure):
    text = two_levels.read_text(encoding="utf-8")
    with served(two_levels) as (url, process):
        page = opened(browser, url)
        page.wait_for_selector("html[data-whole]", state="attached")  # all libraries are loaded
        for n in range(1100):
            if n == 100:
                before = memory(process)
            good = text.replace('"Upper terminus" = 376', f'"Upper terminus" = {350 + n % 40}')
            save(two_levels, good.replace("[line.Helix]", "[line.Helix") if n % 3 == 2 else good)
            time.sleep(0.05)
        save(two_levels, text.replace('"Upper terminus" = 376', '"Upper terminus" = 371'))
        page.wait_for_selector('.handle[aria-label="Railhead at Upper terminus"][aria-valuetext="371.0 mm"]')
        page.wait_for_timeout(2000)
        grown = memory(process) - before
        page.close()
    figure("live, memory after 1,000 saves, a third of them broken", grown, "MB", most=20)
