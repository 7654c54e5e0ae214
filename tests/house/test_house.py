"""The house: each room imports only from rooms above it, the package loads lazily, and its surface is as told."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import gradehaul
from gradehaul import errors

SOURCE = Path(gradehaul.__file__).parent
ROOMS = (
    "errors",
    "quiet",
    "quantities",
    "scales",
    "plan",
    "track",
    "network",
    "haulage",
    "treatment",
    "design",
    "show",
    "command",
)
MODULES = sorted(path.relative_to(SOURCE) for path in SOURCE.rglob("*.py"))


def room_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_a_room_imports_only_from_rooms_above_it(path: Path) -> None:
    if path.name in ("__init__.py", "__main__.py") and len(path.parts) == 1:
        return
    room = path.parts[0].removesuffix(".py")
    tree = ast.parse((SOURCE / path).read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        names = []
        if isinstance(node, ast.ImportFrom) and node.module:
            names = [node.module]
        elif isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        for name in names:
            if name.startswith("gradehaul.") and room_of(name) != room:
                assert ROOMS.index(room_of(name)) < ROOMS.index(room), f"{path} imports {name}"


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_a_module_says_its_subject_in_its_first_line(path: Path) -> None:
    text = ast.get_docstring(ast.parse((SOURCE / path).read_text(encoding="utf-8")))
    assert text
    assert text.splitlines()[0].endswith((".", ":"))


@pytest.mark.parametrize("path", MODULES, ids=str)
def test_pint_lives_in_one_place(path: Path) -> None:
    if path != Path("quantities", "units.py"):
        assert "pint" not in {
            name.split(".")[0]
            for node in ast.walk(ast.parse((SOURCE / path).read_text(encoding="utf-8")))
            for name in (
                [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else []
            )
        }


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = "import sys, gradehaul; print(*sorted(m for m in sys.modules if '.' not in m or m.startswith('gradehaul')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert loaded.isdisjoint({"numpy", "scipy", "networkx", "shapely", "pint", "pydantic", "click", "rich"})
    assert {name for name in loaded if name.startswith("gradehaul")} == {"gradehaul"}


def test_the_public_names() -> None:
    assert set(gradehaul.__all__) <= set(dir(gradehaul))
    for name in gradehaul.__all__:
        assert getattr(gradehaul, name).__module__.startswith("gradehaul.")
    with pytest.raises(AttributeError, match="no attribute 'Laayout'"):
        _ = gradehaul.Laayout  # type: ignore[attr-defined]


def test_the_tree_of_errors_is_the_one_drawn() -> None:
    drawn = errors.__doc__ or ""
    for name in errors.__all__:
        kind = getattr(errors, name)
        assert issubclass(kind, errors.GradehaulError)
        assert name in drawn
        builtin = [base.__name__ for base in kind.__mro__ if base in (ValueError, LookupError)]
        if name != "GradehaulError":
            assert any(f"{name} ({one})" in drawn for one in builtin)
