"""Quiet standard output: a library that prints by itself does not get into the answer."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

PRINTING = """
import ctypes, functools, os, sys
import scipy.optimize
def noisy(real, *args, **more):
    libc = ctypes.cdll.ucrtbase if sys.platform == "win32" else ctypes.CDLL(None)
    libc.printf(b"a line that stays in the C library's buffer\\n")
    os.write(1, b"a line of the solver's own\\n")
    return real(*args, **more)
scipy.optimize.milp, scipy.optimize.linprog = (
    functools.partial(noisy, real) for real in (scipy.optimize.milp, scipy.optimize.linprog)
)
"""
PROGRAM = Path(__file__).with_name("printing_program.json")
COMMAND = "from gradehaul.command import main\nmain()"
TRADE = """
scale = "HO"
unit = "mm"
railhead.A = 0
line.Main = { from = "A", to = "B", track = [
  { straight = 300, grade = "2.6 %" }, { straight = 1900, grade = "2.6 %" }, { straight = 400, grade = "2.6 %" },
] }
loco.mule = { mass = "300 g", length = 200, pull = { clean = "75 gf", treated = "52 gf", "treated fresh" = "46 gf" } }
car.ore = { mass = "100 g", length = 140, rolling = "2.0 %", starting = "9 %" }
route.Up = { from = "A", to = "B" }
train.up = { route = "Up", consist = ["mule", "16 ore", "mule"] }
"""


def run(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}  # C buffers, too
    return subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True, env=environment
    )


@pytest.mark.parametrize(
    "arguments",
    [("treat", "trade.toml", "--json", "--need", "marginal", "--carry", "0"), ("level", "hill.toml", "--json")],
    ids=lambda arguments: arguments[0],
)
def test_a_solver_that_prints_leaves_the_answer_json(arguments: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "trade.toml").write_text(TRADE)
    (tmp_path / "hill.toml").write_text(
        TRADE.replace(', grade = "2.6 %"', "")
        .replace("{ straight = 1900 }", "{ left = 600, angle = 180 }")
        .replace("A = 0", "A = 0\nrailhead.B = 50")
    )
    spoken = run(PRINTING + "\nscipy.optimize.milp([1.0])").stdout
    assert "solver's own" in spoken
    assert "C library's buffer" in spoken
    called = PRINTING + "\nimport atexit\natexit.register(lambda: sys.stderr.write(f'{calls} calls'))\ncalls = 0\n"
    called = called.replace("    libc = ", "    global calls\n    calls += 1\n    libc = ")
    verb, plan, *options = arguments
    done = run(called + COMMAND, verb, str(tmp_path / plan), *options)
    assert int(done.stderr.split()[-2]) > 0
    assert json.loads(done.stdout)["plan"] is not None


def test_a_program_on_which_the_solver_prints_is_solved_in_silence() -> None:
    """Found among random film programs; another release of the solver may be silent on it."""
    code = f"""
import contextlib, json, sys
from pathlib import Path
import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array
from gradehaul.quiet import quietly
told = json.loads(Path({str(PROGRAM)!r}).read_text(encoding="utf-8"))
shape = len(told["most"]), len(told["cost"])
matrix = coo_array((told["entries"], (told["rows"], told["columns"])), shape=shape).tocsr()
with quietly() if sys.argv[1] == "quiet" else contextlib.nullcontext():
    found = milp(
        np.array(told["cost"]),
        integrality=np.array(told["integrality"]),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix, -np.inf, np.array(told["most"])),
        options={{"mip_rel_gap": 0.0}},
    )
assert found.success
"""
    if not run(code, "loud").stdout:
        pytest.skip("this release of the solver prints nothing here")
    assert not run(code, "quiet").stdout


def test_what_was_written_before_and_after_stays_in_order() -> None:
    code = """
import ctypes, os, sys
from gradehaul.quiet import quietly
libc = ctypes.cdll.ucrtbase if sys.platform == "win32" else ctypes.CDLL(None)
sys.stdout.write("one ")
libc.printf(b"two ")
with quietly():
    os.write(1, b"lost")
    libc.printf(b"lost, too")
print("three", flush=True)
try:
    with quietly():
        raise KeyError("four")
except KeyError as error:
    print(error)
"""
    assert run(code).stdout == "one two three\n'four'\n"


def test_a_closed_or_missing_stream_is_no_matter() -> None:
    code = """
import os, sys
from gradehaul.quiet import quietly
for close in (lambda: sys.stdout.close(), lambda: None, lambda: setattr(sys, "stdout", None)):
    close()
    with quietly():
        done = 1 + 1
    open_files = len(os.listdir("/dev/fd")) if os.path.isdir("/dev/fd") else 0
    sys.stderr.write(f"{done} {open_files},")
"""
    counts = run(code).stderr.strip(",").split(",")
    assert len(counts) == 3
    assert len(set(counts)) == 1  # no descriptor is left open
