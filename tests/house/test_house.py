"""The house: rooms import in order, folders stay small, and the package loads lazily."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter

import pytest

from gradehaul import errors
from project import ROOT


def test_the_rooms_import_in_their_order() -> None:
    """The contracts stand in pyproject.toml: rooms and what is in them in order, and pint behind the units."""
    # In a process of its own: its set-up of logging would turn off the loggers of libraries that other tests listen to.
    config = str(ROOT / "pyproject.toml")
    lint = f"lint_imports(config_filename={config!r}, no_logo=True)"
    code = f"from importlinter.cli import lint_imports; raise SystemExit({lint})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


def test_no_folder_holds_more_than_fourteen_modules() -> None:
    folders = Counter(path.parent for path in (ROOT / "src").rglob("*.py") if path.name != "__init__.py")
    assert {str(folder): count for folder, count in folders.items() if count > 14} == {}


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = "import sys, gradehaul; print(*sorted(m for m in sys.modules if '.' not in m or m.startswith('gradehaul')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert loaded.isdisjoint({"numpy", "scipy", "networkx", "shapely", "pint", "pydantic", "click", "rich"})
    assert {name for name in loaded if name.startswith("gradehaul")} == {"gradehaul"}


@pytest.mark.parametrize("script", ["handbook", "hard_use/verbs.py"])
def test_a_script_of_the_tests_finds_what_it_needs(script: str) -> None:
    """DEVELOPERS.md says to run it by its path, without pytest's own."""
    code = f"import runpy; runpy.run_path({str(ROOT / 'tests' / script)!r}, run_name='started')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_tree_of_errors_is_the_one_drawn() -> None:
    drawn = errors.__doc__ or ""
    kinds = {
        name: kind for name, kind in vars(errors).items() if isinstance(kind, type) and issubclass(kind, Exception)
    }
    assert len(kinds) == 7
    for name, kind in kinds.items():
        assert issubclass(kind, errors.GradehaulError)
        assert name in drawn
        builtin = [base.__name__ for base in kind.__mro__ if base in (ValueError, LookupError)]
        if name != "GradehaulError":
            assert any(f"{name} ({one})" in drawn for one in builtin)
