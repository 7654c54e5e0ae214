import os
import stat
from pathlib import Path

import pytest

from gradehaul.show.base.whole_file import write_whole


def test_a_new_file(tmp_path):
    write_whole(str(tmp_path / "a.txt"), b"all of it")
    assert (tmp_path / "a.txt").read_bytes() == b"all of it"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_an_old_file_keeps_its_mode(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    path.chmod(0o640)
    write_whole(str(path), b"new")
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def test_a_link_stays_a_link(tmp_path):
    (tmp_path / "there").mkdir()
    target, link = tmp_path / "there" / "a.txt", tmp_path / "link.txt"
    target.write_text("old")
    link.symlink_to(target)
    write_whole(str(link), b"new")
    assert link.is_symlink()
    assert target.read_bytes() == b"new"


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_failing_half_way_leaves_the_old_file_alone(tmp_path, monkeypatch, step):
    path = tmp_path / "a.txt"
    path.write_text("old")

    def fail(*_args, **_rest):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync" if step == "fsync" else "pathlib.Path.replace", fail)
    with pytest.raises(OSError, match="cannot be written: No space left on device"):
        write_whole(str(path), b"new")
    assert path.read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def test_what_is_no_ordinary_file_is_not_replaced():
    write_whole(os.devnull, b"gone")
    assert not stat.S_ISREG(Path(os.devnull).stat().st_mode)


@pytest.mark.parametrize("name", ["nowhere/a.txt", "."])
def test_where_nothing_can_be_written(tmp_path, name):
    with pytest.raises(OSError, match="cannot be written") as caught:
        write_whole(str(tmp_path / name), b"x")
    assert caught.value.filename == str(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == []
