"""The verb live as a process: one line with the link, an end with Ctrl-C in one line, and what it refuses."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys

import httpx

from project import PLANS


def test_one_line_with_the_link_and_one_at_the_end():
    command = [sys.executable, "-m", "gradehaul", "live", str(PLANS / "first-hill.toml"), "--no-open"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        line = process.stdout.readline()
        (url,) = re.findall(r"http://127\.0\.0\.1:\d+/[\w-]{20,}/", line)
        assert httpx.get(url, timeout=60).status_code == 200
        with httpx.stream("GET", f"{url}events?page=x", timeout=60) as stream:
            assert next(stream.iter_text())
            process.send_signal(signal.SIGINT)
            rest, errors = process.communicate(timeout=60)
    assert (process.returncode, rest, errors) == (0, "", "stopped\n")


def test_what_it_refuses():
    def run(*arguments: str) -> tuple[int, str]:
        command = [sys.executable, "-m", "gradehaul", "live", *arguments, "--no-open"]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        return done.returncode, done.stderr

    status, words = run("nothing.toml")
    assert (status, words.count("\n")) == (3, 1)
    assert "there is no such file" in words
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        status, words = run(str(PLANS / "first-hill.toml"), "--port", str(port))
    assert (status, words.count("\n")) == (3, 1)
    assert f"127.0.0.1:{port}: cannot listen" in words
