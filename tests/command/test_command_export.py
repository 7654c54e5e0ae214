"""The export verb as a user meets it."""

from __future__ import annotations

import pytest

from command_line import run
from gradehaul.plan import load_plan
from gradehaul.track.alignment import align
from project import PLANS

HILL = str(PLANS / "first-hill.toml")


def test_a_drawing_is_written_and_written_anew(tmp_path):
    target = tmp_path / "hill.dxf"
    for _ in range(2):
        done = run("export", HILL, "-o", target, "--train", "local", "--rail", "treated")
        assert (done.exit_code, done.stdout) == (0, "")
    assert target.read_bytes().startswith(b"999\n")
    assert b"local, treated: stalls" in target.read_bytes()
    assert b"treated fresh" not in target.read_bytes()


def test_somebody_elses_drawing_is_left_alone(tmp_path):
    target = tmp_path / "mine.dxf"
    target.write_bytes(b"0\nSECTION\n")
    done = run("export", HILL, "-o", target)
    assert done.exit_code == 2
    assert "may not replace a drawing" in done.output
    assert target.read_bytes() == b"0\nSECTION\n"


def test_another_ending_is_refused(tmp_path):
    done = run("export", HILL, "-o", str(tmp_path / "x.dwg"))
    assert done.exit_code == 2
    assert "a drawing is written as .dxf, got .dwg" in done.output


def test_a_drawing_in_inches_reads_back_in_a_plan_in_millimeters(tmp_path):
    drawing = tmp_path / "hill.dxf"
    assert run("export", HILL, "-o", drawing).exit_code == 0
    back = tmp_path / "back.toml"
    back.write_text(
        'scale = "HO"\nunit = "mm"\n[drawing]\nfile = "hill.dxf"\n'
        'layers = ["Railhead line", "Berth *", "Names"]\nheight_layers = ["Railhead heights"]\n'
    )
    before, after = (align(load_plan(path)) for path in ("plans/first-hill.toml", str(back)))
    assert sorted(after.railheads.values()) == pytest.approx(sorted(before.railheads.values()), abs=1e-5)
