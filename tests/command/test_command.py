import errno
import fcntl
import json
import os
import re
import signal
import subprocess
import sys
import termios
import time
from array import array
from functools import partial
from pathlib import Path

import pytest

from command_line import HILL, run
from gradehaul import __version__
from project import PLANS, ROOT

SOURCE = str(ROOT / "src")
STALLS = HILL.replace("3 ore", "90 ore")
WRONG = HILL.replace("straight = 60", "straight = -60").replace('"mogul", ', '"mogol", ')


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "tarn.toml"
    path.write_text(HILL, encoding="utf-8")
    return path


def start(*args, environment=None, **rest):
    env = {**os.environ, "PYTHONPATH": SOURCE, **(environment or {})}
    return subprocess.Popen(
        [sys.executable, "-m", "gradehaul", *map(str, args)],
        env=env,
        stdout=rest.pop("stdout", subprocess.PIPE),
        stderr=subprocess.PIPE,
        **rest,
    )


def finish(*args, **rest):
    process = start(*args, **rest)
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


# Answers


def test_answered(plan):
    result = run("check", plan)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout.startswith("tarn  ")
    assert f"tarn ({plan})\n" in run("check", plan, "--more", "figures").stdout
    assert "\x1b" not in result.stdout
    document = run("check", plan, "--json")
    assert (document.exit_code, document.stderr) == (0, "")
    assert json.loads(document.stdout)["routes"][0]["name"] == "Up ore"


def test_units_and_grades(plan):
    result = run("check", plan, "--show", "metric", "--grades", "one-in", "--more", "loads,limits")
    assert "1 in 50.0" in result.stdout
    assert "2482 mm" in result.stdout


def test_all_routes(plan):
    result = run("check", plan, "--all-routes", "--json")
    assert [route["name"] for route in json.loads(result.stdout)["routes"]] == ["Up ore", "Summit to Wharf"]


# Exit status


def test_strict_passes_and_fails(plan):
    assert run("check", plan, "--strict").exit_code == 0
    plan.write_text(STALLS, encoding="utf-8")
    assert run("check", plan).exit_code == 0
    result = run("check", plan, "--strict")
    assert result.exit_code == 1
    assert "STALLS" in result.stdout


REVERSES = (
    HILL.replace('to = "Summit"\ntrack', 'to = "Fork"\ntrack').replace('from = "Wharf"\nto = "Summit"\n', "")
    + """
from = "One"
to = "Other"
reversals = 1
[turnout.Fork]
toe = "Main"
legs = ["Left", "Right"]
[line.Left]
from = "Fork"
to = "One"
track = [{ straight = 40 }]
[line.Right]
from = "Fork"
to = "Other"
track = [{ straight = 40 }]
"""
)


def test_strict_judges_a_train_that_is_reversed(plan):
    plan.write_text(REVERSES, encoding="utf-8")
    result = run("check", plan, "--strict")
    assert result.exit_code == 0
    assert 'in the tail at "Wharf", 2482 mm long' in run("check", plan, "--show", "metric", "--more", "loads").stdout
    plan.write_text(REVERSES.replace("3 ore", "90 ore"), encoding="utf-8")
    result = run("check", plan, "--strict")
    assert result.exit_code == 1
    assert 'long and does not fit the tail at "Wharf", which holds 97.7 in.' in " ".join(result.stdout.split())


def test_all_that_is_wrong_on_one_line_each(plan, tmp_path):
    plan.write_text(WRONG, encoding="utf-8")
    result = run("check", plan, "-o", tmp_path / "out.txt")
    assert result.exit_code == 2
    assert result.stdout == ""
    lines = result.stderr.splitlines()
    assert len(lines) == 2
    assert all(line.startswith(str(plan)) for line in lines)
    assert any("-60 in" in line for line in lines)
    assert any("mogol" in line for line in lines)
    assert not (tmp_path / "out.txt").exists()


@pytest.mark.parametrize(
    "args", [["--json", "--csv"], ["--grades", "degrees"], ["--show", "si"], ["--nonsense"], ["another"]]
)
def test_arguments_that_make_no_sense(plan, args):
    result = run("check", plan, *args)
    assert result.exit_code == 2
    assert result.stdout == ""


@pytest.mark.parametrize("name", ["nowhere.toml", "."])
def test_a_file_that_cannot_be_read(tmp_path, name):
    result = run("check", tmp_path / name)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert len(result.stderr.splitlines()) == 1
    assert str(tmp_path / name) in result.stderr


def test_a_file_that_the_system_refuses(plan, monkeypatch):
    def refuse(_path):
        raise PermissionError(errno.EACCES, "Permission denied", str(plan))

    monkeypatch.setattr("gradehaul.plan.load_plan", refuse)
    result = run("check", plan)
    assert (result.exit_code, result.stderr) == (3, f"{plan}: cannot be read: Permission denied\n")


def test_a_message_cannot_steer_the_terminal():
    result = run("check", "\x1b[2J.toml")
    assert result.exit_code == 3
    assert "\x1b" not in result.stderr


# Writing


def test_output_holds_what_would_be_printed(plan, tmp_path):
    for form in ([], ["--json"], ["--csv"]):
        out = tmp_path / "out"
        result = run("check", plan, *form, "-o", out)
        assert (result.exit_code, result.stdout) == (0, "")
        assert re.search(r": written, \d+ (bytes|kB)\n$", result.stderr)
        assert out.read_bytes() == run("check", plan, *form).stdout_bytes
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "tarn.toml"]


def test_a_dash_prints(plan):
    assert run("check", plan, "-o", "-").stdout == run("check", plan).stdout


@pytest.mark.parametrize("way", ["itself", "link", "another plan"])
def test_a_plan_is_never_written_over(plan, tmp_path, way):
    out = plan
    if way == "link":
        out = tmp_path / "answer.txt"
        out.symlink_to(plan)
    elif way == "another plan":
        out = tmp_path / "stock.toml"
        out.write_text(HILL, encoding="utf-8")
    result = run("check", plan, "-o", out)
    assert result.exit_code == 2
    assert "an answer may not replace a plan" in result.stderr
    assert out.read_text("utf-8") == HILL


# Processes


def test_help_and_version_load_nothing_heavy():
    script = (
        "import sys\n"
        "from gradehaul.command import main\n"
        "try:\n"
        "    main([sys.argv[1]])\n"
        "except SystemExit as end:\n"
        "    assert end.code == 0\n"
        "heavy = {'numpy', 'scipy', 'networkx', 'pint', 'pydantic', 'rich', 'tomli', 'shapely', 'matplotlib'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    for flag in ("--help", "--version"):
        done = subprocess.run(
            [sys.executable, "-c", script, flag],
            env={**os.environ, "PYTHONPATH": SOURCE},
            capture_output=True,
            text=True,
            check=True,
        )
        assert done.stdout.splitlines()[-1] == "[]"


def test_version():
    code, out, _ = finish("--version")
    assert (code, out.decode().strip()) == (0, f"gradehaul {__version__}")


@pytest.mark.skipif(os.name != "posix", reason="pipes and signals as POSIX has them")
class TestPipes:
    def test_a_train_that_fails_is_known_though_the_reader_goes_away(self, plan):
        plan.write_text(STALLS, encoding="utf-8")
        read, write = os.pipe()
        os.close(read)
        process = start("check", plan, "--strict", stdout=write)
        os.close(write)
        _, err = process.communicate(timeout=60)
        assert (process.returncode, err) == (1, b"")

    @pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device that is always full")
    def test_a_full_disk(self, plan):
        with Path("/dev/full").open("wb") as full:
            process = start("check", plan, stdout=full)
            _, err = process.communicate(timeout=60)
        assert process.returncode == 3
        assert err.decode().splitlines() == ["standard output: cannot be written: No space left on device"]

    def test_stopped_from_the_keyboard(self):
        units, writer = os.pipe()
        heard = partial(signal.signal, signal.SIGINT, signal.SIG_DFL)  # a shell's background job ignores it
        process = start("check", f"/dev/fd/{units}", pass_fds=(units,), preexec_fn=heard)
        os.write(writer, b"# more to come\n")
        for _ in range(1200):  # until it has read that and waits for the rest of the plan
            waiting = array("i", [0])
            fcntl.ioctl(units, termios.FIONREAD, waiting)
            if waiting[0] == 0:
                break
            time.sleep(0.05)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
        os.close(writer)
        os.close(units)
        assert (process.returncode, out, err) == (130, b"", b"stopped\n")

    @pytest.mark.parametrize("form", [[], ["--json"]])
    def test_names_that_the_output_cannot_show(self, plan, form):
        plan.write_text(HILL.replace("mogul", "מוגול 🚂").replace("[loco.מוגול 🚂]", '[loco."מוגול 🚂"]'), "utf-8")
        code, out, err = finish("check", plan, *form, environment={"PYTHONIOENCODING": "ascii", "LC_ALL": "C"})
        assert (code, err) == (0, b"")
        assert out
        assert form == ["--json"] or b"?" in out or "🚂".encode() in out

    def test_consoles_of_windows_show_every_sign_of_an_answer(self):
        args = ("readings", PLANS / "bench.toml", "--more", "all")
        expected = run(*args).stdout
        assert "±" in expected
        for encoding in ("cp437", "cp1252"):
            code, shown, err = finish(*args, environment={"PYTHONIOENCODING": encoding})
            assert (code, err) == (0, b"")
            assert shown.decode(encoding) == expected

    @pytest.mark.parametrize(("no_color", "colored"), [("", True), ("1", False)])
    def test_color_only_on_a_terminal_that_wants_it(self, plan, no_color, colored):
        import pty

        leader, follower = pty.openpty()
        process = start("check", plan, stdout=follower, environment={"NO_COLOR": no_color, "TERM": "xterm"})
        os.close(follower)
        shown = b""
        try:
            while chunk := os.read(leader, 65536):
                shown += chunk
        except OSError:  # how Linux says that the other side has closed
            pass
        process.communicate(timeout=60)
        os.close(leader)
        assert process.returncode == 0
        assert b"climbs" in shown
        assert (b"\x1b[" in shown) == colored


def test_thousands_of_faults_are_counted_not_listed(plan):
    cars = "".join(f"[car.C{number}]\nlength = -1\n" for number in range(3000))
    plan.write_text(HILL + cars, encoding="utf-8")
    lines = run("check", plan).stderr.splitlines()
    assert len(lines) == 51
    assert lines[-1] == "and 2950 more"


def test_a_plan_without_a_line(plan):
    plan.write_text('scale = "HO"\n', encoding="utf-8")
    result = run("check", plan)
    assert result.exit_code == 2
    assert result.stderr == f"{plan}: the plan has no line; write [line.NAME] with from, to and track\n"


def test_an_include_that_links_to_itself(plan, tmp_path):
    (tmp_path / "loop.toml").symlink_to(tmp_path / "loop.toml")
    plan.write_text('include = ["loop.toml"]\n' + HILL, encoding="utf-8")
    result = run("check", plan)
    assert result.exit_code in (2, 3)
    assert len(result.stderr.splitlines()) == 1


@pytest.mark.parametrize("verb", ["check", "profile"])
def test_an_empty_name_after_o_is_refused(verb):
    result = run(verb, Path(SOURCE).parent / "plans" / "first-hill.toml", "-o", "")
    assert result.exit_code == 2
    assert result.stderr == "-o: the name of the file to write is empty; write a name after -o, or - to print\n"


@pytest.mark.parametrize("verb", ["check", "treat", "map"])
def test_an_age_that_is_no_number_is_refused(plan, verb):
    result = run(verb, plan, "--hours", "nan")
    assert result.exit_code == 2
    assert "hours: the age of a film is from 0 to 1e+06 hours, got nan" in result.stderr
