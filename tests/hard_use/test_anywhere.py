"""The same answer anywhere: from run to run, under any hash seed, locale, path or install, and beside another run."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

from command_line import run
from gradehaul.show.base.whole_file import write_whole
from hard_use.verbs import PLANS, ROOT

ONE_AFTER_THE_OTHER = """
import json, sys
from gradehaul.command import main
for args in map(json.loads, sys.argv[1:]):
    assert main(args, standalone_mode=False) in (None, 0)
"""


def answers(*commands: tuple[str, ...], source: Path = ROOT / "src", cwd: Path = ROOT, **environment: str) -> bytes:
    """Return what some commands print, one after the other, in a process of their own."""
    env = {"PATH": os.environ["PATH"], "PYTHONPATH": str(source), "PYTHONDONTWRITEBYTECODE": "1", **environment}
    done = subprocess.run(
        [sys.executable, "-c", ONE_AFTER_THE_OTHER, *(json.dumps(each, ensure_ascii=False) for each in commands)],
        env=env,
        cwd=cwd,
        capture_output=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert all(b": written, " in line for line in done.stderr.splitlines())
    return done.stdout


def test_the_same_bytes_under_any_hash_seed_and_clock(tmp_path):
    """Three verbs with sets in them, and a picture; `tests/hard_use/verbs.py` compares every verb over every plan."""
    picture = tmp_path / "profile.svg"
    commands = [
        ("treat", "plans/two-levels.toml", "--json"),
        ("check", "plans/bench.toml", "--json"),
        ("export", "plans/first-hill.toml", "-o", "-"),
        ("profile", "plans/first-hill.toml", "-o", str(picture)),
    ]
    one, other = (
        (answers(*commands, PYTHONHASHSEED=seed, TZ=zone), picture.read_bytes())
        for seed, zone in (("1", "UTC"), ("7", "Asia/Tokyo"))
    )
    assert one == other


def test_in_the_plainest_locale_and_a_path_of_many_scripts(tmp_path):
    folder = tmp_path / "Bärental – my läyout 鉄道 مسار"
    folder.mkdir()
    plan = folder / "hügel 1.toml"
    shutil.copy(PLANS / "first-hill.toml", plan)
    told = answers(
        ("check", str(plan), "-o", str(folder / "antwort ü.txt")),
        ("profile", str(plan), "-o", str(folder / "längs schnitt.svg")),
        ("report", plan.name, "-o", "seite.html"),
        cwd=folder,
        LC_ALL="C",
        PYTHONCOERCECLOCALE="0",
        PYTHONUTF8="0",
    )
    assert told == b""
    written = (folder / "antwort ü.txt").read_text("utf-8")
    expected = run("check", PLANS / "first-hill.toml").stdout
    assert written.splitlines()[1:] == expected.splitlines()[1:]  # all but the line with the file's name
    assert (folder / "längs schnitt.svg").read_text("utf-8").startswith("<?xml")


def test_from_an_install_that_may_not_be_written_to(tmp_path):
    place = tmp_path / "read only install"
    shutil.copytree(ROOT / "src", place, ignore=shutil.ignore_patterns("__pycache__"))
    before = sorted(path.relative_to(place) for path in place.rglob("*"))
    for path in place.rglob("*"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    home = tmp_path / "home"
    home.mkdir(mode=0o555)
    try:
        page = str(tmp_path / "page.html")
        commands = (("check", "plans/cove.toml"), ("report", "plans/first-hill.toml", "-o", page))
        answers(*commands, source=place, HOME=str(home))
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
