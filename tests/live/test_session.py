"""Pages on one plan: how many there may be, what each is sent, and when the server ends by itself."""

from __future__ import annotations

import contextlib
import json
import threading

import httpx
import pytest

from gradehaul.errors import PlanError
from gradehaul.live import app, session
from gradehaul.live.session import MOST_PAGES, Page, Worker
from live.served import Serve


def test_ten_pages_at_once_have_the_answer_and_one_too_many_is_refused(serve: Serve):
    hill = serve()
    with contextlib.ExitStack() as stack:
        streams = []
        for number in range(MOST_PAGES):
            stream = stack.enter_context(httpx.stream("GET", f"{hill.url}events?page=p{number}", timeout=60))
            assert stream.status_code == 200
            streams.append(stream.iter_lines())
            assert next(streams[-1]) == "retry: 500"
        assert hill.request("GET", "events?page=more").status_code == 503
        for lines in streams[:10]:
            first = next(line for line in lines if line.startswith("data: "))
            assert json.loads(first.removeprefix("data: "))["kind"] == "answer"


def test_the_server_ends_some_time_after_its_last_page_and_not_before_the_first(serve: Serve, monkeypatch):
    monkeypatch.setattr(app, "IDLE", 0.0)
    hill = serve()
    ended = threading.Event()
    stop, live = hill.service.stop, hill.service._server.live
    monkeypatch.setattr(live, "_stop", lambda: (ended.set(), stop()))
    assert not live.idle()  # no page was open yet
    with httpx.stream("GET", f"{hill.url}events?page=x", timeout=60) as stream:
        lines = stream.iter_lines()
        next(lines)
        assert not live.idle()
    assert ended.wait(60)


def test_a_plan_that_takes_long_does_not_stop_the_server(serve: Serve, monkeypatch):
    go = threading.Event()
    real = session.stated

    def slow(plan):
        go.wait(60)
        return real(plan)

    monkeypatch.setattr(session, "stated", slow)
    hill = serve()
    with httpx.stream("GET", f"{hill.url}events?page=x", timeout=60) as stream:
        lines = stream.iter_lines()
        next(lines)
        assert hill.request("GET").status_code == 200  # while the plan is still being read
        assert hill.post("diff", {"trial": {"heights": {"joint Top": 0.05}}}).status_code == 200
        go.set()
        first = next(line for line in lines if line.startswith("data: "))
    assert json.loads(first.removeprefix("data: "))["kind"] == "answer"


def test_a_newer_answer_takes_the_place_of_all_that_waits_of_the_older():
    page = Page("x")
    for kind in ("answer", "text", "view", "heights", "chances"):
        page.put(kind, f"{kind} 1")
    page.put("answer", "answer 2")
    assert list(page.waiting.items()) == [("text", "text 1"), ("answer", "answer 2")]


def test_a_newer_request_takes_the_place_of_a_waiting_one_and_goes_before_older_work():
    worker, done, begun, go, ended = Worker(), [], threading.Event(), threading.Event(), threading.Event()

    def slow():
        begun.set()
        go.wait(60)
        yield {"kind": "slow 1"}
        yield {"kind": "slow 2"}

    def quick(name):
        yield {"kind": name}

    def deliver(part):
        done.append(part)
        if len(done) == 3:
            ended.set()

    worker.request("a", slow, deliver)
    assert begun.wait(60)
    for name in ("b 1", "b 2", "b 3"):
        worker.request("b", lambda name=name: quick(name), deliver)
    go.set()
    assert ended.wait(60)
    assert [part["kind"] for part in done] == ["slow 1", "b 3", "slow 2"]
    worker.close()


def test_a_fault_of_the_program_is_shown_and_the_next_request_is_answered():
    worker, done, answered = Worker(), [], threading.Event()

    def failing():
        yield {"kind": "first"}
        raise ZeroDivisionError("by zero")

    def deliver(part):
        done.append(part)
        if len(done) == 3:
            answered.set()

    worker.request("a", failing, deliver)
    worker.request("b", lambda: iter([{"kind": "last"}]), deliver)
    assert answered.wait(60)
    assert sorted(part["kind"] for part in done) == ["fault", "first", "last"]
    assert "ZeroDivisionError" in next(part for part in done if part["kind"] == "fault")["lines"][0]["text"]
    worker.close()


def test_nothing_is_delivered_once_it_is_closed():
    """Whoever closes it ends the server's loop next, which takes no more calls."""
    worker, done, begun, go = Worker(), [], threading.Event(), threading.Event()

    def slow():
        begun.set()
        go.wait(60)
        yield {"kind": "slow"}

    worker.request("a", slow, done.append)
    assert begun.wait(60)
    worker.close()
    go.set()
    worker._thread.join(60)
    assert not worker._thread.is_alive()
    assert not done


@pytest.mark.parametrize(
    ("file", "line"),
    [
        ("hill.toml:12", ("hill.toml", 12)),
        ("hill.toml", ("hill.toml", None)),
        (r"C:\x\hill.toml:12", (r"C:\x\hill.toml", 12)),
        (r"C:\x\hill.toml", (r"C:\x\hill.toml", None)),
        ("", ("", None)),
    ],
)
def test_a_fault_says_its_file_and_its_line_where_that_is_known(file, line):
    said = session._line(PlanError("it is wrong", file=file))
    assert (said["file"], said["line"]) == line
