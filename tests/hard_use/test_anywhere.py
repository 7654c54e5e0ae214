"""The same answer anywhere: from run to run, under any hash seed, locale, path or install, and beside another run."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from gradehaul.show.base.whole_file import write_whole
from hard_use.verbs import PLANS, ROOT


def answer(*args: str, source: Path = ROOT / "src", cwd: Path = ROOT, **environment: str) -> bytes:
    env = {"PATH": os.environ["PATH"], "PYTHONPATH": str(source), "PYTHONDONTWRITEBYTECODE": "1", **environment}
    done = subprocess.run(
        [sys.executable, "-m", "gradehaul", *args], env=env, cwd=cwd, capture_output=True, check=False
    )
    assert done.returncode == 0
    assert all(b": written, " in line for line in done.stderr.splitlines())
    return done.stdout


@pytest.mark.parametrize(
    "args",
    [
        ("treat", "plans/two-levels.toml", "--json"),
        ("check", "plans/bench.toml", "--json"),
        ("export", "plans/first-hill.toml", "-o", "-"),
    ],
)
def test_the_same_bytes_under_any_hash_seed(args):
    """Three verbs with sets in them; `tests/hard_use/verbs.py` compares every verb over every plan."""
    first, *others = (answer(*args, PYTHONHASHSEED=seed) for seed in ("0", "1", "7"))
    assert others == [first, first]


def test_in_the_plainest_locale_and_a_path_of_many_scripts(tmp_path):
    folder = tmp_path / "Bärental – my läyout 鉄道 مسار"
    folder.mkdir()
    plan = folder / "hügel 1.toml"
    shutil.copy(PLANS / "first-hill.toml", plan)
    plain = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}
    told = answer("check", str(plan), "-o", str(folder / "antwort ü.txt"), **plain)
    assert told == b""
    written = (folder / "antwort ü.txt").read_text("utf-8")
    expected = answer("check", str(PLANS / "first-hill.toml"), PYTHONUTF8="1").decode()
    assert written.splitlines()[1:] == expected.splitlines()[1:]  # all but the line with the file's name
    assert answer("profile", str(plan), "-o", str(folder / "längs schnitt.svg"), **plain) == b""
    assert (folder / "längs schnitt.svg").read_text("utf-8").startswith("<?xml")
    assert answer("report", plan.name, "-o", "seite.html", cwd=folder, **plain) == b""


def test_from_an_install_that_may_not_be_written_to(tmp_path):
    place = tmp_path / "read only install"
    shutil.copytree(ROOT / "src", place, ignore=shutil.ignore_patterns("__pycache__"))
    before = sorted(path.relative_to(place) for path in place.rglob("*"))
    for path in place.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    home = tmp_path / "home"
    home.mkdir(mode=0o555)
    try:
        for args in (("check", "plans/cove.toml"), ("report", "plans/first-hill.toml", "-o", str(tmp_path / "p.html"))):
            answer(*args, source=place, HOME=str(home))
        # the superuser could have written: nothing did
        assert sorted(path.relative_to(place) for path in place.rglob("*")) == before
    finally:
        for path in place.rglob("*"):
            path.chmod(0o755)


def test_runs_at_once_on_one_output_do_not_mix(tmp_path):
    """Four writers and a reader on one file: whoever looks sees one writer's whole answer, and nothing is left over."""
    out = tmp_path / "answer.json"
    answers = [bytes([65 + number]) * (100_000 + number) for number in range(4)]
    write_whole(str(out), answers[0])
    seen, done = set(), threading.Event()

    def look() -> None:
        while not done.is_set():
            seen.add(out.read_bytes())

    def write(data: bytes) -> None:
        for _ in range(25):
            write_whole(str(out), data)

    looking = threading.Thread(target=look)
    writers = [threading.Thread(target=write, args=[data]) for data in answers]
    for thread in (looking, *writers):
        thread.start()
    for thread in writers:
        thread.join()
    done.set()
    looking.join()
    assert seen | {out.read_bytes()} <= set(answers)
    assert len(seen) > 1
    assert [path.name for path in tmp_path.iterdir()] == ["answer.json"]


def test_two_commands_at_once_on_one_output(tmp_path):
    out = tmp_path / "answer"
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src")}
    plans = [str(PLANS / name) for name in ("first-hill.toml", "switchback.toml")]
    started = [
        subprocess.Popen([sys.executable, "-m", "gradehaul", "check", plan, "--json", "-o", str(out)], env=env)
        for plan in plans
    ]
    assert [process.wait(timeout=300) for process in started] == [0, 0]
    assert out.read_bytes() in [answer("check", plan, "--json") for plan in plans]
    assert [path.name for path in tmp_path.iterdir()] == ["answer"]
