"""The live page in a real browser with a real server: it follows the plan, tries, undoes, writes, and stays whole."""

from __future__ import annotations

import math
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.judged import judged_trains, worst_of_each
from gradehaul.haulage.answers.layout import Layout, film_rails
from gradehaul.plan import load_plan, read_plan
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.check.outcome_words import outcome_piece
from live.served import HILL, STOCK, Serve, Served

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import Page, expect

from show.browser import Opened, opened

MARK = "</script><img src=x onerror=alert(1)>"


@contextmanager
def live(browser: Any, served: Served, path: str = "", **more: Any) -> Iterator[Opened]:
    """Open the live page, and leave it again; whatever it says on the console is a fault."""
    expect.set_options(timeout=60_000)
    options = {"width": 1280, "height": 800, "ready": "html[data-heights]"} | more
    with opened(browser, served.url + path, **options) as one:
        yield one
        # the browser itself notes an answer of 409, a refusal that the page shows
        assert [words for words in one.said if "status of 409" not in words] == []
        assert all(url.startswith((served.url, "data:")) for url in one.requested)


@pytest.fixture
def hill(serve: Serve) -> Served:
    return serve()


@pytest.fixture
def one(browser: Any, hill: Served) -> Iterator[Opened]:
    with live(browser, hill) as one:
        yield one


def spare(page: Page) -> float:
    """Return what the train has to spare now, gf."""
    shown = page.locator("#outcomes-rows .spare").first.inner_text()
    return float(shown.removesuffix(" gf").replace("\u2212", "-"))


def save(path: Path, change: Callable[[str], str]) -> None:
    """Save a file as editors do: write another one, then rename it."""
    beside = path.with_suffix(".new")
    beside.write_text(change(path.read_text(encoding="utf-8")), encoding="utf-8")
    beside.replace(path)


def eventually(holds: Callable[[], bool]) -> None:
    until = time.monotonic() + 60
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.02)


def test_a_save_shows_the_new_outcome_and_what_it_changed(one, hill):
    page = one.page
    before = spare(page)
    save(hill.plan, lambda text: text.replace("Top  = 60", "Top  = 100"))
    expect(page.locator("#changes")).to_contain_text(f"ore: {before} to ")
    assert spare(page) < before
    assert spare(page) == float(re.search(r"to (-?[\d.]+) gf", one.text("#changes"))[1])
    save(hill.plan.with_name("stock.toml"), lambda text: text.replace('"100 g"', '"290 g"'))
    expect(page.locator("#outcomes-rows td:nth-of-type(1) .outcome")).to_have_text("stalls")
    expect(page.locator("#changes")).to_contain_text("now stalls")
    hill.plan.write_text(HILL, encoding="utf-8")  # in place, as others save
    save(hill.plan.with_name("stock.toml"), lambda text: text.replace('"290 g"', '"100 g"'))
    eventually(lambda: spare(page) == before)


def test_a_typo_shows_its_line_above_the_last_good_answer(one, hill):
    page = one.page
    before = spare(page)
    save(hill.plan, lambda text: text.replace("straight = 1200", "straigt = 1200"))
    expect(page.locator("#faults")).to_contain_text('hill.toml:15: line "Hill", track 1')
    assert "stale" in page.locator("body").get_attribute("class")
    assert spare(page) == before
    page.locator("#faults button").click()  # leads to the line
    assert page.locator("#numbers .fault").inner_text().strip() == "15"
    assert one.run("text.value.slice(text.selectionStart, text.selectionEnd)") == "[line.Hill]"
    page.keyboard.press("Escape")
    save(hill.plan, lambda text: text.replace("straigt", "straight"))
    expect(page.locator("#faults")).to_be_hidden()
    assert "stale" not in page.locator("body").get_attribute("class")


def test_a_line_says_how_many_places_fail_clearance_while_any_does(one, hill):
    line = one.page.locator("#clearance")
    whole = hill.plan.read_text(encoding="utf-8")
    turns = 'from = "Low"\nto = "High"\nrailhead_at = [[0, 0]]\ntrack = [{ left = 600, angle = 720, rise = 90 }]'
    save(hill.plan, lambda text: f"{text}\n[line.Turns]\n{turns}\n")
    expect(line).to_contain_text("1 place fails clearance, the worst Turns:1 at ")
    expect(line).to_contain_text("height 45 mm, wanted ")
    save(hill.plan, lambda _: whole)
    expect(line).to_be_hidden()


def test_every_doubt_that_check_has_stands_above_the_outcomes(browser, serve):
    heavy = '[car.lead]\nmass = "5 kg"\nlength = 130\n'
    flat = HILL.replace("{ straight = 4000 }, { straight = 2500 }", "{ straight = 6500, rise = 0 }")
    served = serve(text=flat.replace("Top  = 60 ", "Top  = 600 ") + heavy)
    doubts = check_layout(Layout(load_plan(served.plan))).doubts
    assert len(doubts) == 2
    with live(browser, served) as one:
        lines = one.page.locator("#doubts li")
        expect(lines).to_have_count(len(doubts))
        assert lines.all_text_contents() == [f"Look at this first: {doubt}" for doubt in doubts]
        box = one.page.locator("#doubts").bounding_box()
        assert box["y"] + box["height"] <= one.page.locator("#outcomes").bounding_box()["y"]
        save(served.plan, lambda _: flat)
        expect(one.page.locator("#doubts")).to_be_hidden()


def test_a_plan_that_is_deleted_or_becomes_a_folder_is_shown_and_comes_back(one, hill):
    page = one.page
    hill.plan.unlink()
    expect(page.locator("#faults")).to_contain_text("there is no such file")
    hill.plan.mkdir()
    expect(page.locator("#faults")).to_contain_text("a folder")
    hill.plan.rmdir()
    hill.plan.write_text(HILL, encoding="utf-8")
    expect(page.locator("#faults")).to_be_hidden()
    expect(page.locator("#outcomes-rows td:nth-of-type(1) .outcome")).to_have_text("climbs")


def test_by_keyboard_alone_from_the_start_to_a_written_railhead(one, hill):
    page = one.page
    before = spare(page)

    def to(selector: str) -> None:
        for _ in range(120):
            page.keyboard.press("Tab")
            if one.run("s => document.activeElement.matches(s)", selector):
                return
        raise AssertionError(selector)

    to(".handle[aria-label='Railhead at Top']")
    assert one.run("document.activeElement.getAttribute('aria-valuetext')") == "60.0 mm"
    page.keyboard.press("Shift+ArrowDown")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert one.run("document.activeElement.getAttribute('aria-valuetext')") == "51.0 mm"
    eventually(lambda: "…" not in one.text("#outcomes"))
    assert spare(page) > before
    page.keyboard.press("Control+z")
    page.keyboard.press("Control+y")
    page.keyboard.press("Control+s")
    expect(page.locator("#diff")).to_contain_text("+Top  = 51     # the summit")
    to("#write")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_have_text("Written.")
    assert hill.plan.read_text(encoding="utf-8") == HILL.replace("Top  = 60", "Top  = 51")
    expect(page.locator("#state")).to_contain_text("as saved")
    assert "#" not in page.url


def test_dragging_shows_at_once_what_python_then_decides(one):
    page = one.page
    handle = page.get_by_role("slider", name="Railhead at Top")
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    answers = int(one.run("document.documentElement.dataset.answer"))
    page.mouse.move(x, y)
    page.mouse.down()
    for k in range(1, 12):
        page.mouse.move(x, y - k)
    one.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    moving, height = spare(page), handle.get_attribute("aria-valuetext")
    expect(page.locator(".handle-height")).to_have_text(f"Top: {height}")
    assert page.locator("#railhead-of").input_value() == "joint Top"
    assert page.locator("#railhead").input_value() == height.removesuffix(".0 mm")
    assert int(one.run("document.documentElement.dataset.answer")) == answers  # the script alone
    page.mouse.up()
    eventually(lambda: int(one.run("document.documentElement.dataset.answer")) > answers)
    assert height != "60.0 mm"
    assert (spare(page), handle.get_attribute("aria-valuetext")) == (moving, height)
    page.get_by_role("button", name="Undo").click()
    eventually(lambda: handle.get_attribute("aria-valuetext") == "60.0 mm")


def test_the_handle_that_has_the_focus_says_its_joint_and_height_in_the_box_too(one):
    page, tag = one.page, one.page.locator(".handle-height")
    expect(tag).to_be_hidden()
    for name, height in (("Top", "60"), ("Foot", "0")):
        page.get_by_role("slider", name=f"Railhead at {name}").focus()
        expect(tag).to_have_text(f"{name}: {height}.0 mm")
        assert page.locator("#railhead-of").input_value() == f"joint {name}"
        assert page.locator("#railhead").input_value() == height
        box = tag.bounding_box()
        assert box["x"] >= 640
        assert box["x"] + box["width"] <= 1280
    page.locator("#undo").evaluate("() => document.activeElement.blur()")
    expect(tag).to_be_hidden()


def test_of_handles_that_cover_one_another_a_pointer_takes_the_nearest(browser, serve):
    close = HILL.replace('to = "Top"\ntrack', 'to = "Top"\nrailhead_at = [[1040, 26], [1080, 27], [1120, 28]]\ntrack')
    with live(browser, serve(text=close)) as one:
        middles = []
        for handle in one.page.locator(".handle").all():
            box = handle.bounding_box()
            middles.append((box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, handle))
        assert any(0 < math.dist(a[:2], b[:2]) < 8 for a, b in pairwise(sorted(middles, key=lambda each: each[:2])))
        for x, y, handle in middles:
            one.page.mouse.move(x, y)
            one.page.mouse.down()
            expect(handle).to_be_focused()
            one.page.mouse.up()


def test_on_a_phone_what_a_handle_says_and_what_is_written_are_seen_whole(browser, serve):
    name = "Upper yard lead, west of the coaling tower, spur"
    text = HILL.replace('name = "Bend"', f'name = "{name}"').replace("angle = 90 }", "angle = 90, railhead = 60 }")
    text = text.replace("Top  = 60     # the summit\n", "")
    with live(browser, serve(text=text), width=390, height=844) as one:
        page = one.page
        handle = page.get_by_role("slider", name=f"Railhead at {name}")
        handle.focus()
        box = page.locator(".handle-height").bounding_box()
        assert 0 <= box["x"] < box["x"] + box["width"] <= 390
        page.keyboard.press("ArrowDown")
        page.get_by_role("button", name="Write to plan").click()
        expect(page.locator("#diff")).to_contain_text("railhead = 59")
        assert one.run("document.querySelector('#diff').scrollWidth <= document.querySelector('#diff').clientWidth")


def test_a_typed_figure_and_the_address_keeps_it(one, hill):
    page = one.page
    handle = page.locator(".handle[aria-label='Railhead at Top']")
    page.locator("#railhead-of").select_option("joint Top")
    for written, height in (("45 1/2", "45.5 mm"), ("50 mm", "50.0 mm"), ("three", "50.0 mm"), ("45.5", "45.5 mm")):
        page.get_by_label("Height").fill(written)
        page.keyboard.press("Enter")
        expect(handle).to_have_attribute("aria-valuetext", height)
        assert one.run("document.querySelector('#railhead').validity.valid") == (written != "three")
    flat = spare(page)
    page.get_by_label("How many of vehicle 2").fill("9")
    verdict = one.text("#bench-verdict")
    page.reload()
    page.wait_for_selector("html[data-heights]", state="attached")
    eventually(lambda: spare(page) == flat)
    assert page.get_by_label("How many of vehicle 2").input_value() == "9"
    assert one.text("#bench-verdict") == verdict
    expect(page.locator("#state")).to_contain_text("with your changes")
    # while it is tried, the file changes elsewhere: both count
    save(hill.plan, lambda text: text.replace("straight = 4000", "straight = 4500"))
    eventually(lambda: "4500" in one.run("document.getElementById('text').value"))
    assert spare(page) == flat


def test_a_height_as_it_is_typed(one):
    numbers = {
        "3.5": 3.5, "3,5": 3.5, " -.25 ": -0.25, "3 13/32": 3.40625, "3-1/2": 3.5, "-3 1/2 in": -3.5, '7/8"': 0.875,
        "": None, "3 13": None, "3 1/0": None, "1/2/3": None, "3 mm": None, "1,000.5": None, "1,000": None, "1e3": None,
    }  # fmt: skip
    read = one.page.evaluate("texts => texts.map((text) => UnitFormat.typed(text, { name: 'in' }))", list(numbers))
    assert dict(zip(numbers, read, strict=True)) == numbers


def test_a_height_that_cannot_be_tried_is_said_once_and_the_outcomes_are_not_called_as_saved(one):
    page = one.page
    page.locator("#railhead-of").select_option("joint Top")
    page.get_by_label("Height").fill("31332")
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("This cannot be tried")
    expect(page.locator("#state")).to_contain_text("cannot be tried")
    assert page.locator("#said").inner_text().count("100 %") <= 1


def test_a_plan_that_only_begins_gets_its_train_as_it_is_written(browser, serve):
    track_alone = HILL[: HILL.index("[rail.film]")].replace('include = ["stock.toml"]', "")
    hill = serve(text=track_alone)
    with live(browser, hill) as one:
        assert one.page.locator("#outcomes-rows tr").count() == 0
        save(hill.plan, lambda _: HILL)
        expect(one.page.locator("#outcomes-rows td:nth-of-type(1) .outcome")).to_have_text("climbs")
        expect(one.page.locator("#bench-verdict")).to_contain_text("climbs")
        expect(one.page.locator(".handle[aria-label='Railhead at Top']")).to_be_visible()


def test_a_joint_without_a_height_gets_one(one, hill):
    page = one.page
    handle = page.locator(".handle[aria-label^='Railhead at End']")
    assert handle.get_attribute("class") == "handle free"
    handle.press("Shift+ArrowUp")
    expect(handle).to_have_attribute("class", "handle")
    assert handle.get_attribute("aria-valuetext") == "10.0 mm"
    page.get_by_role("button", name="Write to plan").click()
    page.get_by_role("button", name="Write these lines").click()
    expect(page.locator("#state")).to_contain_text("as saved")
    assert "End = 10\n" in hill.plan.read_text(encoding="utf-8")
    assert set(HILL.splitlines()) <= set(hill.plan.read_text(encoding="utf-8").splitlines())


def test_film_by_click_on_the_plan_and_by_choice(one):
    page = one.page
    expect(page.locator("#film-toggle")).to_have_text("Put film on")
    clean = spare(page)
    spot = one.run(
        "(() => { const path = [...document.querySelectorAll('.plan .track')].pop(); "
        "const at = path.getPointAtLength(path.getTotalLength() / 2).matrixTransform(path.getScreenCTM()); "
        "return [at.x, at.y]; })()"
    )
    page.mouse.click(*spot)
    expect(page.locator(".plan .track-film")).to_have_count(1)
    expect(page.locator("#film-spreads")).to_have_text(re.compile("Wheels spread film"))
    eventually(lambda: spare(page) < clean)
    assert page.locator("#film-track").input_value().startswith("Hill:")
    page.locator("#film-track").focus()
    page.keyboard.press("Enter")
    expect(page.locator(".plan .track-film")).to_have_count(0)
    expect(page.locator("#film-spreads")).to_be_hidden()
    eventually(lambda: spare(page) == clean)


def words_at(text: str, hours: float | None = None) -> list[str]:
    """Return the outcome of the train and its pull to spare, as judged and with film everywhere, by the package."""
    layout = Layout(read_plan(text), hours=hours)
    units = units_of("mm")
    return [
        f"{outcome_piece(each.outcome, each.verdict)[0].lower()} {units.force(each.verdict.spare)}".replace(
            "-", "\u2212"
        )
        for rails in (layout.judged(), film_rails(layout.rails))
        for each in worst_of_each(judged_trains(layout, rails))
    ]


def test_what_each_train_was_stands_under_each_condition_and_film_has_the_age_that_is_set(one, hill):
    page = one.page
    text = HILL.replace('include = ["stock.toml"]', "").replace("[railhead]", f"{STOCK}\n[railhead]")
    before = words_at(text)

    def shown(part: str) -> list[str]:
        cells = page.locator(f"#outcomes-rows tr:first-child td:not(.hardest) {part}").all_inner_texts()
        return [" ".join(cell.split()).replace("-", "\u2212") for cell in cells]

    def now() -> list[str]:
        return [f"{outcome} {spare}" for outcome, spare in zip(shown(".outcome"), shown(".spare"), strict=True)]

    assert now() == before
    assert shown(".was") == []
    page.locator("#film-age").fill("6")
    page.locator("#film-age").press("Enter")
    for hours in (6.0, 30.0):
        page.locator("#film-age").fill(f"{hours:g}")
        page.locator("#film-age").press("Enter")
        expect(page.locator("#outcomes thead")).to_contain_text(f"film everywhere at {hours:g} h")
        young = words_at(text, hours)
        eventually(lambda right=young: now() == right)
    assert before[1] != young[1]
    assert shown(".was") == [f"was {before[1]}"]  # on clean rail nothing changed
    assert page.get_by_role("button", name="Write to plan").is_disabled()
    page.reload()
    expect(page.locator("#outcomes thead")).to_contain_text("film everywhere at 30 h")
    save(hill.plan, lambda old: old.replace("Top  = 60", "Top  = 100"))
    eventually(lambda: shown(".was")[-1:] == [f"was {words_at(text.replace('Top  = 60', 'Top  = 100'))[1]}"])
    page.locator("#film-age").fill("")
    page.locator("#film-age").press("Enter")
    page.locator("#railhead-of").select_option("joint Top")
    page.locator("#railhead").fill("20")
    page.locator("#railhead").press("Enter")
    steep, flat = (words_at(text.replace("Top  = 60", f"Top  = {top}")) for top in (100, 20))
    eventually(lambda: shown(".was") == [f"was {each}" for each in steep])
    eventually(lambda: now() == flat)
    page.get_by_role("button", name="Pin to compare").click()
    page.locator("#railhead").fill("90")
    page.locator("#railhead").press("Enter")
    eventually(lambda: shown(".was") == [f"pinned {each}" for each in flat])


def test_the_plan_view_has_a_key_and_every_scale_two_figures(one):
    page = one.page
    assert "3 to 4 %" in one.text("#plan-key")
    box, figure = (page.locator(each).bounding_box() for each in ("#plan-key", "figure.plan"))
    assert box["y"] >= figure["y"] + figure["height"] - 1
    for high, low in ((4.2, -2.6), (0.9, 0), (17, -0.1)):
        for about in (2, 3, 4):
            assert len(one.run(f"Drawing.nice({low}, {high}, {about})")) > 1


def test_what_treat_finds_is_taken_over_and_compared(one, hill):
    page = one.page
    page.get_by_role("button", name="Where film may go").click()
    expect(page.locator("#treat-words")).to_contain_text("of track may be treated")
    page.get_by_role("button", name="Pin to compare").evaluate("button => button.click()")
    page.get_by_role("button", name="Try this").click()
    expect(page.locator("#outcomes-rows td:nth-of-type(1) .outcome")).to_have_text("climbs")
    eventually(lambda: page.locator(".plan .track-film").count() > 0)
    assert hill.plan.read_text(encoding="utf-8") == HILL


def test_the_text_is_saved_whole_and_refused_where_the_file_has_changed(one, hill):
    page = one.page
    page.get_by_role("button", name="Text", exact=True).click()
    pane = page.get_by_role("textbox", name="Text of the plan")
    assert pane.input_value() == HILL
    pane.fill(HILL.replace("Top  = 60", "Top  = 30"))
    page.keyboard.press("Control+s")
    expect(page.locator("#text-state")).to_have_text("Saved.")
    eventually(lambda: "Top  = 30" in hill.plan.read_text(encoding="utf-8"))
    pane.fill("mine")
    theirs = HILL + "# theirs\n"
    save(hill.plan, lambda _: theirs)
    expect(page.locator("#text-state")).to_contain_text("has changed on the disk")
    page.keyboard.press("Control+s")
    expect(page.locator("#text-state")).to_contain_text("nothing was written")
    assert hill.plan.read_text(encoding="utf-8") == theirs
    page.get_by_role("button", name="Use the file's text").click()
    assert pane.input_value() == theirs


def test_a_save_of_this_page_is_no_change_by_others_though_typing_went_on(one, hill):
    page = one.page
    one.run(
        "(() => { const send = window.fetch; window.held = new Promise(done => { window.release = done; }); "
        "window.fetch = async (...what) => { const got = await send(...what); await window.held; return got; }; })()"
    )
    answers = int(one.run("document.documentElement.dataset.heights"))
    page.get_by_role("button", name="Text", exact=True).click()
    pane = page.get_by_role("textbox", name="Text of the plan")
    pane.fill(HILL.replace("Top  = 60", "Top  = 30"))
    page.keyboard.press("Control+s")
    pane.fill(HILL.replace("Top  = 60", "Top  = 31"))
    eventually(lambda: int(one.run("document.documentElement.dataset.heights")) > answers)  # the file's text has come
    assert one.text("#text-state") == ""
    one.run("window.release()")
    expect(page.locator("#text-state")).to_have_text("Saved.")
    page.keyboard.press("Control+s")
    eventually(lambda: "Top  = 31" in hill.plan.read_text(encoding="utf-8"))


def test_two_pages_on_one_plan_try_apart_and_follow_one_file(browser, hill):
    with live(browser, hill) as one, live(browser, hill) as other:
        before = spare(other.page)
        one.page.get_by_role("slider", name="Railhead at Top").press("Shift+ArrowDown")
        eventually(lambda: spare(one.page) > before)
        assert spare(other.page) == before
        one.page.get_by_role("button", name="Write to plan").click()
        one.page.get_by_role("button", name="Write these lines").click()
        eventually(lambda: spare(other.page) == spare(one.page))
        expect(other.page.locator("#changes")).to_contain_text(f"ore: {before} to {spare(one.page)}")


def test_a_diff_that_is_out_of_date_is_refused_and_nothing_is_lost(one, hill):
    page = one.page
    page.get_by_role("slider", name="Railhead at Top").press("Shift+ArrowDown")
    page.get_by_role("button", name="Write to plan").click()
    expect(page.locator("#diff")).to_contain_text("+Top  = 50")
    theirs = HILL + "# theirs\n"
    save(hill.plan, lambda _: theirs)
    page.get_by_role("button", name="Write these lines").click()
    expect(page.locator("#write-words")).to_contain_text("has changed since it was read: nothing was written")
    assert hill.plan.read_text(encoding="utf-8") == theirs
    assert "0.05" in page.url


def test_many_saves_a_third_broken_end_with_the_last_good_state(one, hill):
    page = one.page
    good = ""
    for number in range(40):
        text = HILL.replace("Top  = 60", f"Top  = {40 + number}")
        broken = number % 3 == 2
        save(
            hill.plan, lambda _, text=text, broken=broken: text.replace("[line.Hill]", "[line.Hill") if broken else text
        )
        good = good if broken else text
        time.sleep(0.01)
    save(hill.plan, lambda _: good)
    eventually(lambda: one.run("document.getElementById('text').value") == good)
    expect(page.locator("#faults")).to_be_hidden()
    expect(page.locator(".handle[aria-label='Railhead at Top']")).to_have_attribute("aria-valuetext", "79.0 mm")


def test_a_stream_that_drops_comes_back(one, hill):
    page = one.page
    page.context.set_offline(True)
    page.context.set_offline(False)
    save(hill.plan, lambda text: text.replace("Top  = 60", "Top  = 20"))
    expect(page.locator(".handle[aria-label='Railhead at Top']")).to_have_attribute("aria-valuetext", "20.0 mm")
    one.said.clear()


def test_when_the_program_ends_the_page_says_so(browser, hill):
    with live(browser, hill) as one:
        hill.service.stop()
        expect(one.page.locator("#state")).to_contain_text("has ended")
        one.said.clear()  # the browser's own note of the lost connection


HOSTILE = f"""
title = "{MARK}"
scale = "HO"
unit = "mm"
[railhead]
"{MARK}" = 0
"${{alert(1)}}" = 60
[line."{MARK} line"]
from = "{MARK}"
to = "${{alert(1)}}"
track = [{{ name = "{MARK}", straight = 3000 }}, {{ left = 600, angle = 90 }}]
[rail."{MARK}"]
metal = {{ fresh = 0.75, settled = 0.85 }}
tyred = {{ fresh = 0.50, settled = 0.65 }}
[loco."{MARK}"]
mass = "300 g"
length = 150
[car.constructor]
length = 130
[route.__proto__]
from = "{MARK}"
to = "${{alert(1)}}"
[train."{MARK}"]
route = "__proto__"
consist = ["{MARK}", "4 constructor"]
[train.toString]
route = "__proto__"
consist = ["{MARK}"]
"""


def test_hostile_names_run_nothing_and_work_like_any_other(browser, serve):
    hostile = serve(text=HOSTILE)
    with live(browser, hostile) as one:
        page = one.page
        assert page.locator("img").count() == 0
        assert MARK in one.text("#outcomes")
        page.get_by_role("slider", name="${alert(1)}").press("Shift+ArrowDown")
        page.locator("#film-toggle").click()
        page.get_by_role("button", name="Write to plan").click()
        expect(page.locator("#diff")).to_contain_text("= 50")
        page.get_by_role("button", name="Write these lines").click()
        expect(page.locator("#said")).to_have_text("Written.")
        save(hostile.plan, lambda text: text.replace("straight", MARK))
        expect(page.locator("#faults")).to_be_visible()
        page.get_by_role("button", name="Text", exact=True).click()
        assert page.locator("img").count() == 0


BOX = """selector => {
  const box = document.querySelector(selector)?.getBoundingClientRect();
  return box?.height && { y: box.y, height: box.height };
}"""
"""Where an element stands; an answer that arrives late draws it anew."""


@pytest.mark.parametrize(("name", "scheme"), [("yard", "light"), ("n-mountain", "dark")])
def test_one_screen_without_scrolling_or_accessibility_violations(browser, serve, name, scheme):
    from axe_playwright_python.sync_playwright import Axe

    with live(browser, serve(name), color_scheme=scheme, reduced_motion="reduce") as one:
        assert one.run("document.documentElement.scrollHeight") <= 800
        assert one.run("document.documentElement.scrollWidth") <= 1280
        for selector in (
            "#outcomes",
            "figure.plan svg",
            "#bench-section svg",
            "#bench-verdict",
            "#bench-head",
            "#film-toggle",
        ):
            box = one.page.wait_for_function(BOX, arg=selector).json_value()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 801, selector
        assert one.run("getComputedStyle(document.querySelector('main')).transitionDuration") == "0s"
        violations = Axe().run(one.page).response["violations"]
        assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in violations] == []


DRAG = "A long ore drag with far too many hoppers"
FIVE = f"""{HILL}
[train."{DRAG}"]
route = "Up"
consist = ["tank", "20 hopper"]
""" + "".join(f'[train.cars{cars}]\nroute = "Up"\nconsist = ["tank", "{cars} hopper"]\n' for cars in (1, 2, 3))


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (800, 900), (390, 844)])
def test_five_trains_are_all_seen_the_worst_first_and_nothing_is_cut(browser, serve, width, height):
    with live(browser, serve(text=FIVE), width=width, height=height) as one:
        page = one.page
        assert one.run("[...document.querySelectorAll('#outcomes-rows button')].map(each => each.innerText)") == [
            DRAG,
            "ore",
            "cars1",
            "cars2",
            "cars3",
        ]
        for selector in ("#top", "#top .scroll", "#at-place"):
            cut = "node => [node.scrollWidth > node.clientWidth, node.scrollHeight > node.clientHeight]"
            assert page.locator(selector).evaluate(cut) == [False, False], selector
        assert one.run("document.documentElement.scrollWidth") <= width
        expect(page.locator("#film-row")).to_contain_text("A film does not come off")


def test_railheads_have_names_of_their_own_with_the_place_along_the_track(browser, serve):
    heights = (
        'to = "Top"\nrailhead_at = [[300, 5], [1200, 25], [1500, 30]]\ntrack = [ { name = "Bend", straight = 1200 }'
    )
    with live(browser, serve(text=HILL.replace('to = "Top"\ntrack = [ { straight = 1200 }', heights))) as one:
        assert one.page.locator("#railhead-of option").all_text_contents() == [
            "Foot",
            "Top",
            "Hill:1, 300.0 mm along it",
            "Bend, at its end",
            "Hill:2, 300.0 mm along it",
            "End",
        ]


def test_on_a_phone_outcomes_come_first_and_nothing_is_wider(browser, serve):
    with live(browser, serve("two-levels"), width=390, height=844) as one:
        assert one.run("document.documentElement.scrollWidth") <= 390
        tops = [
            one.page.locator(each).first.bounding_box()["y"] for each in ("#outcomes", "#bench-section", "figure.plan")
        ]
        assert tops == sorted(tops)


def test_a_folder_without_a_plan_says_so_until_a_drawing_is_imported(browser, serve):
    folder = serve(whole_folder=True)
    folder.plan.unlink()
    page = browser.new_page()
    try:
        page.goto(folder.url)
        expect(page.locator("#no-plans")).to_have_text("There is no plan in this folder yet.")
        page.locator("#drawing").set_input_files(Path(__file__).parents[2] / "plans" / "hollow.dxf")
        page.locator("#drawing-scale").select_option("HO")
        page.locator("#import").click()
        expect(page.locator("#open-drawn a")).to_have_text("Open hollow.toml", timeout=60_000)
        assert page.locator("#no-plans").count() == 0
    finally:
        page.close()


def test_the_start_page_lists_begins_and_takes_a_drawing(browser, serve, tmp_path):
    folder = serve(whole_folder=True)
    page = browser.new_page()
    page.set_default_timeout(60_000)
    try:
        page.goto(folder.url)
        expect(page.locator(".headline")).to_contain_text("ore gets through on clean rail.")
        assert page.locator(".plans li").count() == 1  # stock alone is no plan
        drawing = page.locator("#drawing")
        page.locator("#drawing-scale").select_option("N")
        drawing.set_input_files(Path(__file__).parents[2] / "plans" / "hollow.dxf")
        expect(page.locator("#drawing-said")).to_have_text("hollow.dxf, in scale N.")
        drawing.set_input_files(Path(__file__).parents[2] / "plans" / "cove.dxf")  # another drawing, another scale
        drawing.set_input_files(Path(__file__).parents[2] / "plans" / "hollow.dxf")
        expect(page.locator("#drawing-said")).to_have_text("hollow.dxf: choose its scale.")
        assert page.locator("#import").is_disabled()
        page.locator("#drawing-scale").select_option("HO")
        page.locator("#import").click()
        expect(page.locator("#open-drawn a")).to_have_text("Open hollow.toml")
        expect(page.locator("#drawing-said")).to_contain_text("was read in scale HO")
        assert page.locator("#report").inner_text().startswith("hollow.dxf: imported into hollow.toml")
        assert "--" not in page.locator("#report").inner_text()
        assert (folder.plan.parent / "hollow.toml").exists()
        assert os.fspath(folder.plan.parent) not in page.locator("#report").inner_text()
        page.get_by_label("Name").fill("my hill")
        page.get_by_role("button", name="Create it").click()
        page.wait_for_selector("html[data-heights]", state="attached")
        assert (folder.plan.parent / "my hill.toml").exists()
        expect(page.locator("#outcomes-rows .outcome").first).to_be_visible()
    finally:
        page.close()
    assert folder.request("GET", "?plan=../hill.toml").status_code == 404
    assert folder.request("GET", "events?plan=stock.toml").status_code == 404
    again = folder.post("new", {"name": "hill", "layout": "hill", "scale": "HO", "unit": "mm"})
    assert again.status_code == 409
    assert "this file already exists" in again.json()["wrong"]
    bad = folder.request("POST", "drawing?name=x.dxf&scale=HO", content=b"no drawing")
    assert bad.status_code == 409
    assert str(tmp_path) not in bad.text
    assert "/tmp" not in bad.text
    drawing = (Path(__file__).parents[2] / "plans" / "hollow.dxf").read_bytes()
    unknown = folder.request("POST", "drawing?name=x.dxf&scale=QQ", content=drawing)
    assert "no such scale" in unknown.json()["wrong"]
    assert "--" not in unknown.text


LEFT, RIGHT = "\u2190", "\u2192"


def stretch(one: Opened) -> list[float]:
    """Return the stretch of the route that the section shows, mm; nothing while it shows the whole."""
    return [
        float(each) for each in re.findall(r"[\d.]+", one.run("document.querySelector('.zoom output').textContent"))
    ]


def shows(one: Opened, wanted: list[float], within: float = 1.0) -> None:
    eventually(lambda: stretch(one) == pytest.approx(wanted, abs=within))
    one.run("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")


def middle_of(handle: Any) -> tuple[float, float]:
    box = handle.bounding_box()
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2


WHOLE = 4000 + 2500 + 1200 + 600 * math.pi / 2
"""The length of the route of the small hill, mm."""


def test_the_section_zooms_by_buttons_and_the_address_keeps_it(one):
    page, handles = (
        one.page,
        {name: one.page.get_by_role("slider", name=f"Railhead at {name}") for name in ("End", "Top")},
    )
    assert stretch(one) == []
    page.locator("#to-worst").click()
    whole = [middle_of(handles[name])[0] for name in ("End", "Top")]
    dots = (whole[1] - whole[0]) / WHOLE
    for _ in range(2):
        page.get_by_role("button", name="Zoom in").click()
    low, high = stretch(one)
    assert high - low == pytest.approx(WHOLE / 4, abs=1)
    expect(page.locator(".long-section")).to_have_attribute(
        "aria-label", re.compile(f"from {low:.0f} mm to {high:.0f} mm")
    )
    # what was seen is drawn four times as large, and what is not seen takes no pointer
    page.get_by_role("button", name="Move right").click()
    shows(one, [WHOLE * 3 / 4, WHOLE])
    left = whole[1] - dots * WHOLE
    assert middle_of(handles["Top"])[0] == pytest.approx(whole[1], abs=0.6)
    assert middle_of(handles["End"])[0] == pytest.approx(left, abs=0.6)
    expect(handles["End"]).to_have_class("handle free beyond")
    expect(handles["Top"]).to_have_class("handle")
    eventually(lambda: "stretch" in one.run("location.hash"))
    page.reload()
    page.wait_for_selector("html[data-heights]", state="attached")
    shows(one, [WHOLE * 3 / 4, WHOLE])
    page.get_by_role("button", name="Show the whole section").click()
    assert stretch(one) == []
    eventually(lambda: "stretch" not in one.run("location.hash"))
    assert middle_of(handles["End"])[0] == pytest.approx(whole[0], abs=0.6)


def test_the_section_zooms_and_moves_by_keys_and_shows_the_handle_that_gets_the_focus(one):
    page = one.page
    page.locator("#bench-section").focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    page.keyboard.press("Home")
    shows(one, [0, WHOLE / 4])
    page.keyboard.press("ArrowRight")
    shows(one, [WHOLE / 16, WHOLE * 5 / 16])
    page.keyboard.press("End")
    shows(one, [WHOLE * 3 / 4, WHOLE])
    page.keyboard.press("Home")
    shows(one, [0, WHOLE / 4])
    foot = page.get_by_role("slider", name="Railhead at Foot")
    foot.focus()
    shows(one, [6500 - WHOLE / 8, 6500 + WHOLE / 8])
    expect(foot).to_have_class("handle")
    page.keyboard.press("ArrowUp")  # the handle's own key: a height, not the view
    expect(foot).to_have_attribute("aria-valuetext", "1.0 mm")
    shows(one, [6500 - WHOLE / 8, 6500 + WHOLE / 8])
    page.keyboard.press("-")
    eventually(lambda: stretch(one)[1] - stretch(one)[0] == pytest.approx(WHOLE / 2, abs=1))
    page.keyboard.press("0")
    assert stretch(one) == []
    for _ in range(12):
        page.keyboard.press("+")
    eventually(lambda: stretch(one)[1] - stretch(one)[0] == pytest.approx(WHOLE / 64, abs=1))
    assert page.get_by_role("button", name="Zoom in").get_attribute("aria-disabled") == "true"


def test_the_wheel_zooms_at_the_pointer_and_a_drag_moves_the_section_but_a_click_the_train(one):
    page = one.page
    page.locator("#to-worst").click()
    head = one.text("#at-place")
    box = page.locator("#bench-section svg").bounding_box()
    x, y = round(box["x"] + 0.3 * box["width"]), round(box["y"] + 0.7 * box["height"])
    page.mouse.move(x, y)
    page.mouse.wheel(0, -100)  # without Ctrl the page scrolls, and the section stays
    assert stretch(one) == []
    page.keyboard.down("Control")
    for _ in range(4):
        page.mouse.wheel(0, -100)
    page.keyboard.up("Control")
    eventually(lambda: stretch(one) and stretch(one)[1] - stretch(one)[0] == pytest.approx(WHOLE / 4, abs=1))
    assert one.run("visualViewport.scale") == 1
    low, high = stretch(one)
    left, right = box["x"] + 52, box["x"] + box["width"] - 10
    dot = WHOLE / (right - left)  # mm
    share = (x - left) / (right - left)
    assert low + share * (high - low) == pytest.approx(share * WHOLE, abs=dot)
    page.mouse.down()
    for k in range(1, 9):
        page.mouse.move(x - 10 * k, y)
    page.mouse.up()
    by = 80 / (right - left) * (high - low)
    shows(one, [low + by, high + by], dot)
    assert one.text("#at-place") == head
    page.mouse.click(x, y)
    low, high = stretch(one)
    place = float(one.text("#at-place").split(" mm")[0])
    assert place == pytest.approx(low + (x - left) / (right - left) * (high - low), abs=dot / 4 + 1)
    page.mouse.move(x, y)  # the train itself is dragged, and the section stays
    page.mouse.down()
    for k in range(1, 9):
        page.mouse.move(x + 10 * k, y)
    page.mouse.up()
    assert stretch(one) == [low, high]
    assert float(one.text("#at-place").split(" mm")[0]) == pytest.approx(place + by, abs=2)
    page.locator("#to-worst").click()  # wherever the train is sent, the section goes along
    eventually(lambda: stretch(one)[0] - 1 <= float(one.text("#at-place").split(" mm")[0]) <= stretch(one)[1] + 1)


def test_on_a_phone_two_fingers_zoom_the_section_and_one_moves_it(browser, serve):
    from axe_playwright_python.sync_playwright import Axe

    with live(browser, serve(), width=390, height=844, touch=True) as one:
        page = one.page
        page.locator("#bench-section").scroll_into_view_if_needed()
        box = page.locator("#bench-section svg").bounding_box()
        y, left, right = box["y"] + 0.6 * box["height"], box["x"] + 42, box["x"] + box["width"] - 10
        touch = page.context.new_cdp_session(page)

        def fingers(kind: str, *across: float) -> None:
            points = [{"x": x, "y": y, "id": k} for k, x in enumerate(across)]
            touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

        centre = left + 0.5 * (right - left)
        fingers("touchStart", centre - 20, centre + 20)
        for k in range(1, 11):
            fingers("touchMove", centre - 20 - 6 * k, centre + 20 + 6 * k)
        fingers("touchEnd")
        dot = WHOLE / (right - left)  # mm
        shows(one, [WHOLE * 3 / 8, WHOLE * 5 / 8], dot)
        head = one.text("#at-place")
        fingers("touchStart", centre)
        for k in range(1, 11):
            fingers("touchMove", centre + 5 * k)
        fingers("touchEnd")
        by = 50 / (right - left) * WHOLE / 4
        shows(one, [WHOLE * 3 / 8 - by, WHOLE * 5 / 8 - by], dot)
        assert one.text("#at-place") == head
        assert one.run("visualViewport.scale") == 1
        assert one.run("document.documentElement.scrollWidth") <= 390
        violations = Axe().run(page).response["violations"]
        assert [(each["id"], [node["target"] for node in each["nodes"]][:3]) for each in violations] == []


def test_a_stretch_in_the_address_that_is_none_is_harmless(browser, hill):
    for part in ("[1, 1]", "[0, 1e999]", '"x"', "[5]", "null", "[-9, 4000]", "[7, 7.0001]"):
        look = f'{{"look":{{"named":"ore","own":false,"route":"Up","rail":"clean","consist":[],"stretch":{part}}}}}'
        with live(browser, hill, path=f"#{look}") as one:
            expect(one.page.locator("#bench-verdict")).to_contain_text("climbs")
            seen = stretch(one)
            assert seen == [] or 0 <= seen[0] < seen[1] <= WHOLE + 0.1, part


def test_a_route_that_gets_shorter_or_another_one_is_shown_within_its_length(one, hill):
    page = one.page
    page.locator("#bench-section").focus()
    page.keyboard.press("+")
    page.keyboard.press("End")
    shows(one, [WHOLE / 2, WHOLE])
    save(hill.plan, lambda text: text.replace("straight = 4000", "straight = 400"))
    short = WHOLE - 3600
    eventually(lambda: stretch(one) == [] or stretch(one)[1] <= short + 0.1)
    whole = hill.plan.read_text(encoding="utf-8")
    save(hill.plan, lambda _: f'{whole}\n[route.Yard]\nfrom = "End"\nto = "Foot"\n')
    page.wait_for_selector("#bench-route option[value=Yard]", state="attached")
    page.locator("#bench-route").select_option("Yard")
    eventually(lambda: stretch(one) == [])
