"""Stopped at any moment: killed while it writes, interrupted from the keyboard, or out of room on the disk."""

from __future__ import annotations

import errno
import inspect
import os
import signal
import subprocess
import sys
from pathlib import Path
from types import FrameType

import pytest
from click.testing import CliRunner

import gradehaul
from gradehaul.command import main
from gradehaul.show.base import whole_file
from hard_use.verbs import DESIGNS, PLANS, PRINTS, ROOT, WRITES, put

pytestmark = pytest.mark.skipif(os.name != "posix", reason="processes and signals as POSIX has them")

OLD = b"what was there before\n" * 100
EVERY = WRITES | DESIGNS
ONE_EACH = tuple({args[0]: name for name, args in EVERY.items()}.values())
"""A file of each verb that writes any."""


def arguments(name: str, out: Path | str) -> list[str]:
    return put(EVERY[name], plan=str(PLANS / "first-hill.toml"), drawing=str(PLANS / "cove.dxf"), out=str(out))


def run(args: list[str]):
    return CliRunner().invoke(main, args)


def old_file(folder: Path, name: str) -> Path:
    """A file that is there already; where a verb writes no plan over another file, none."""
    out = folder / name
    if not name.endswith((".toml", ".dxf")):
        out.write_bytes(OLD)
    return out


def content(path: Path) -> bytes | None:
    return path.read_bytes() if path.exists() else None


# Killed: in a process of its own, which has no threads and so may fork


def in_its_own_process(script: str, *args: object) -> str:
    env = {**os.environ, "PYTHONPATH": os.pathsep.join([str(ROOT / "src"), str(ROOT / "tests")])}
    done = subprocess.run(
        [sys.executable, "-c", script, *map(str, args)], env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return done.stdout


KILLED_AT_EACH_LINE = """
import itertools, os, signal, sys
from pathlib import Path
from gradehaul.show.base import whole_file

def before_line(number):
    def trace(frame, event, arg):
        nonlocal number
        if frame.f_code.co_filename != whole_file.__file__:
            return None
        if event == "line":
            number -= 1
            if number < 0:
                os.kill(os.getpid(), signal.SIGKILL)
        return trace
    return trace

out, old, new = Path(sys.argv[1]), b"old" * 99, b"new" * 100_000
seen = []
for number in itertools.count():
    out.write_bytes(old)
    child = os.fork()
    if not child:
        sys.settrace(before_line(number))
        whole_file.write_whole(str(out), new)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    found = out.read_bytes()
    assert found in (old, new), number
    seen.append(found == new)
    if not os.WIFSIGNALED(status):
        break
assert seen == sorted(seen) and number > 15
print(number, seen.count(False))
"""


def test_killed_before_each_line_of_the_writer(tmp_path):
    lines, old = map(int, in_its_own_process(KILLED_AT_EACH_LINE, tmp_path / "out").split())
    assert 10 < old <= lines


# No room, no leave


@pytest.mark.parametrize("name", ONE_EACH)
def test_a_full_disk_and_a_failing_one_leave_the_old_file(tmp_path, monkeypatch, name):
    def full(*_args, **_more):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    out = old_file(tmp_path, name)
    before = content(out)
    monkeypatch.setattr(whole_file.os, "fsync", full)
    done = run(arguments(name, out))
    assert (done.exit_code, done.stderr) == (3, f"{out}: cannot be written: No space left on device\n")
    assert content(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ([name] if before else [])  # no leavings


@pytest.fixture
def small_disk(tmp_path):
    """A disk with room for 64 kB, where the system lets us have one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("this user mounts no disks")
    yield disk
    subprocess.run(["umount", str(disk)], check=True)


def test_a_disk_that_really_fills(small_disk):
    out = small_disk / "report.html"
    out.write_bytes(OLD)
    done = run(arguments("report.html", out))
    assert (done.exit_code, done.stderr) == (3, f"{out}: cannot be written: No space left on device\n")
    assert out.read_bytes() == OLD
    assert [path.name for path in small_disk.iterdir()] == ["report.html"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
@pytest.mark.parametrize("name", ["check.json", "profile.svg", "level.svg"])
def test_a_full_device(tmp_path, name):
    out = tmp_path / f"to-{name}"
    out.symlink_to("/dev/full")
    done = run(arguments(name, out))
    assert (done.exit_code, done.stderr) == (3, f"{out}: cannot be written: No space left on device\n")


def test_a_folder_that_may_not_be_written_to(tmp_path, monkeypatch):
    """As the system refuses it; the superuser, whom it lets write anywhere, is refused by us in its stead."""
    name, folder = "check.json", tmp_path / "kept"
    folder.mkdir()
    folder.chmod(0o555)
    if os.access(folder, os.W_OK):
        real = os.open

        def refused(path, flags, *more, **rest):
            if flags & os.O_CREAT and Path(path).parent == folder:
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return real(path, flags, *more, **rest)

        monkeypatch.setattr(whole_file.os, "open", refused)
    done = run(arguments(name, folder / name))
    folder.chmod(0o755)
    assert (done.exit_code, done.stderr) == (3, f"{folder / name}: cannot be written: Permission denied\n")
    assert not list(folder.iterdir())


# Stopped from the keyboard


PACKAGE = str(Path(gradehaul.__file__).parent) + os.sep


class Calls:
    """Counts the calls of gradehaul's own functions, and interrupts before one of them as the keyboard does.

    Not of generators: Python also calls one to throw it away, and loses whatever is raised there.
    """

    def __init__(self, interrupted: int = -1) -> None:
        self.count, self.interrupted = 0, interrupted

    def __call__(self, frame: FrameType, event: str, _: object) -> None:
        code = frame.f_code
        if event == "call" and code.co_filename.startswith(PACKAGE) and not code.co_flags & inspect.CO_GENERATOR:
            self.count += 1
            if self.count == self.interrupted:
                signal.raise_signal(signal.SIGINT)

    def run(self, args: list[str]):
        handler = signal.signal(signal.SIGINT, signal.default_int_handler)
        sys.setprofile(self)
        try:
            return run(args)
        finally:
            sys.setprofile(None)
            signal.signal(signal.SIGINT, handler)


@pytest.mark.parametrize("name", ONE_EACH)
def test_the_same_bytes_from_run_to_run_and_interrupted_anywhere(tmp_path_factory, tmp_path, name):
    # once without, so that every library is loaded: one whose loading is broken off stays broken in this process
    warm = old_file(tmp_path_factory.mktemp("warm"), name)
    assert run(arguments(name, warm)).exit_code == 0
    every, out = Calls(), tmp_path / name
    whole = every.run(arguments(name, old_file(tmp_path, name)))
    new = content(out)
    assert whole.exit_code == 0
    assert content(warm) == new
    for part in (0.02, 0.6, 1):
        out.unlink(missing_ok=True)
        old = content(old_file(tmp_path, name))
        done = Calls(max(1, int(part * every.count) - 3)).run(arguments(name, out))
        assert (done.exit_code, done.stderr) == (130, "stopped\n")
        assert done.stdout in ("", whole.stdout)
        assert content(out) in (old, new)
        assert [path.name for path in tmp_path.iterdir()] in ([], [name])


def start(args: list[str], **rest) -> subprocess.Popen[bytes]:
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src"), **rest.pop("environment", {})}
    return subprocess.Popen([sys.executable, "-m", "gradehaul", *args], env=env, stderr=subprocess.PIPE, **rest)


INTERRUPTED_AT = """
import signal, sys

wanted = sys.argv.pop(1)

class Keyboard:
    def find_spec(self, name, path=None, target=None):
        if name == wanted:
            sys.meta_path.remove(self)
            signal.raise_signal(signal.SIGINT)

signal.signal(signal.SIGINT, signal.default_int_handler)  # a job in the background has it ignored
sys.meta_path.insert(0, Keyboard())
from gradehaul.__main__ import run
run()
"""


@pytest.mark.parametrize(
    "module",
    [
        "click",
        "gradehaul.command.answers",
        "gradehaul.plan.reader",
        "gradehaul.haulage.answers.check",
        "gradehaul.show.base.page",
    ],
)
def test_interrupted_while_it_loads(module):
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED_AT, module, "check", str(PLANS / "first-hill.toml")],
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        capture_output=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (130, b"", b"stopped\n")


# Nobody listens


@pytest.mark.parametrize("name", ["check", "new", "helix"])
def test_a_reader_that_goes_away(tmp_path, name):
    out = str(tmp_path / "a plan")
    args = {"new": ["new", out], "helix": put(DESIGNS["helix.svg"], out=f"{out}.svg")}.get(name) or put(
        PRINTS[name], plan=str(PLANS / "first-hill.toml")
    )
    read, write = os.pipe()
    os.close(read)
    process = start(args, stdout=write)
    os.close(write)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 0
    assert not err or (name == "helix" and err.startswith(f"{out}.svg: written, ".encode()))
