"""The page: its size, how soon it is ready, how fast its slider repaints, and the verb against bare figures."""

from __future__ import annotations

from pathlib import Path
from statistics import median

from layouts import loco, long_hill
from processes import processor_time, run

from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.report.page import report_page
from gradehaul.treatment.ways_over import ways_over
from project import ROOT

TWO_LEVELS = ROOT / "plans" / "two-levels.toml"

BARE = """
import io
from matplotlib.figure import Figure
for _ in range({count}):
    axes = Figure(figsize=(11.69, 8.27)).add_subplot()
    axes.plot(range(50))
    axes.figure.savefig(io.BytesIO(), format="svg")
"""


def written(layout: Layout, path: Path) -> Path:
    answer = check_layout(layout)
    path.write_text(report_page(layout, answer, ways_over(layout, answer), units_of("mm")), encoding="utf-8")
    return path


def test_size_and_readiness_of_the_demo_page(browser, tmp_path, figure):
    path = written(Layout(load_plan(str(TWO_LEVELS))), tmp_path / "page.html")
    size = path.stat().st_size
    times = []
    for _ in range(7):
        page = browser.new_page(viewport={"width": 1200, "height": 900})
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-ready]", state="attached")
        timing = (
            "performance.timeOrigin && performance.getEntriesByType('mark').find(m => m.name === 'ready').startTime"
        )
        times.append(page.evaluate(timing))
        page.close()
    figure("the page of two levels", size / 1e6, "MB", most=1.5)
    figure("the page of two levels is ready after", median(times), "ms", most=1000)


SLIDE = """async () => {
  const slider = document.getElementById('bench-head');
  slider.scrollIntoView();
  const frame = () => new Promise(done => requestAnimationFrame(done));
  await frame(); await frame();
  const times = [];
  for (let k = 0; k < 120; k++) {
    slider.value = (k * 37) % 1000;
    const start = performance.now();
    slider.dispatchEvent(new Event('input'));
    document.documentElement.getBoundingClientRect();
    times.push(performance.now() - start);
    await frame();
  }
  return times;
}"""
"""The work of one move: script, style and layout; what is left is painting."""


def test_slider_on_a_route_of_500_tracks(browser, tmp_path, figure):
    text = long_hill(500, 150.0) + loco("big", pull=200.0)
    text += '[train.long]\nroute = "Up"\nconsist = ["big", "20 hopper", "big", "20 hopper"]\n'
    path = written(Layout(read_plan(text)), tmp_path / "page.html")
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready]", state="attached")
    moves = page.evaluate(SLIDE)
    # frames while the slider moves at every one of them: no faster than the screen, and slower where a frame is missed
    frames = page.evaluate(
        """async () => {
          const slider = document.getElementById('bench-head'), times = [];
          let last = await new Promise(requestAnimationFrame);
          for (let k = 0; k < 120; k++) {
            slider.value = (k * 37) % 1000;
            slider.dispatchEvent(new Event('input'));
            const now = await new Promise(requestAnimationFrame);
            times.push(now - last); last = now;
          }
          return times;
        }"""
    )
    page.close()
    figure("a move of the slider on 500 tracks, script and layout", median(moves), "ms", most=16)
    # a screen of 60 Hz has a frame every 16.7 ms
    figure("a move of the slider on 500 tracks, from frame to frame", median(frames), "ms", most=17.5)


def test_report_as_a_whole_process(ratio, tmp_path):
    routes = len(Layout(load_plan(str(TWO_LEVELS))).routes)
    # a long section for each route, the plan view, and the section with the train
    count = routes + 2

    def report() -> None:
        run("-m", "gradehaul", "report", str(TWO_LEVELS), "-o", str(tmp_path / "page.html"))

    def against(what: str, fast: tuple[str, ...], most: float) -> None:
        ratio(f"report of two levels over {what}", report, lambda: run(*fast), clock=processor_time, most=most)

    report()
    against(f"{count} bare figures", ("-c", BARE.format(count=count)), 2)
    against("check of it", ("-m", "gradehaul", "check", str(TWO_LEVELS)), 1.5)
