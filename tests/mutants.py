"""Mutation testing by a random sample: small changes to a module, each of which some test should notice.

    python tests/mutants.py src/gradehaul/haulage/demand.py 30 tests/haulage/test_train.py tests/haulage/test_longest.py

Changes one operator, comparison, number or branch at a time in a copy of the package, runs the examples of the module
and the tests named, in their order (name the quickest first), and tells which changes nobody noticed. Left out of the
ordinary run: each mutant costs a run of those tests, in a process forked from one that has the libraries loaded.
"""

from __future__ import annotations

import ast
import importlib
import os
import random
import resource
import shutil
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LONGEST = 25
"""Seconds of processor time after which a mutant counts as noticed: most that run so long never end."""
LIBRARIES = ("numpy", "scipy", "pint", "pydantic", "networkx", "shapely", "tomli")
"""What the package and its tests load, and no mutant changes."""

_OTHER: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
    ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip
_OTHER_NAME = {"min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
               "argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor"}  # fmt: skip


def _code(tree: ast.AST) -> Iterator[ast.AST]:
    """Walk what runs: no annotations, docstrings, messages or decorators."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Raise | ast.JoinedStr | ast.Assert | ast.Import | ast.ImportFrom):
            continue
        if isinstance(node, ast.If) and isinstance(node.test, ast.Name) and node.test.id == "TYPE_CHECKING":
            continue
        yield node
        if isinstance(node, ast.AnnAssign):
            if node.value is not None:
                yield node.value
                yield from _code(node.value)
            continue
        if isinstance(node, ast.FunctionDef | ast.ClassDef):  # without decorators: frozen and slots decide no figure
            yield from _code(ast.Module(node.body, []))
            continue
        yield from _code(node)


def _changes(node: ast.AST) -> Iterator[tuple[str, object]]:
    """Tell how a node may change: the field, and what it becomes."""
    match node:
        case ast.BinOp(op=op) | ast.BoolOp(op=op) | ast.AugAssign(op=op) if type(op) in _OTHER:
            yield "op", _OTHER[type(op)]()
        case ast.Compare(ops=[op]) if type(op) in _OTHER:
            yield "ops", [_OTHER[type(op)]()]
        case ast.UnaryOp(op=ast.USub()):
            yield "op", ast.UAdd()
        case ast.Constant(value=bool(value)):
            yield "value", not value
        case ast.Constant(value=int() | float() as value):
            yield "value", value + 1
        case ast.Name(id=name) if name in _OTHER_NAME:
            yield "id", _OTHER_NAME[name]
        case ast.Attribute(attr=name) if name in _OTHER_NAME:
            yield "attr", _OTHER_NAME[name]
        case ast.If(test=test) | ast.IfExp(test=test):
            yield "test", ast.UnaryOp(op=ast.Not(), operand=test)


def places(source: str) -> list[tuple[int, str, object]]:
    """Return every change there is to a module: which node of it, the field, and what that becomes."""
    nodes = enumerate(_code(ast.parse(source)))
    return [(number, field, value) for number, node in nodes for field, value in _changes(node)]


def mutant(source: str, number: int, field: str, value: object) -> tuple[str, str]:
    """Return a mutant of a module: what changed, and the text."""
    tree = ast.parse(source)
    node = list(_code(tree))[number]
    line = getattr(node, "lineno", 0)
    setattr(node, field, value)
    new = ast.unparse(ast.fix_missing_locations(getattr(node, field))) if field == "test" else _told(value)
    what = f"{line}: {source.splitlines()[line - 1].strip()}  [{type(node).__name__}.{field} becomes {new}]"
    return what, ast.unparse(ast.fix_missing_locations(tree))


def _told(value: object) -> str:
    node = value[0] if isinstance(value, list) else value
    return type(node).__name__ if isinstance(node, ast.AST) else str(node)


def noticed(module: Path, text: str, tests: list[str]) -> bool:
    """Tell whether the tests fail where a module has another text."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "src", Path(folder) / "src", ignore=shutil.ignore_patterns("__pycache__"))
        changed = Path(folder) / "src" / module.resolve().relative_to(ROOT / "src")
        changed.write_text(text, encoding="utf-8")
        child = os.fork()
        if not child:
            os._exit(_run(Path(folder) / "src", [str(changed), *tests]))
        return os.waitpid(child, 0)[1] != 0


def _run(package: Path, tests: list[str]) -> int:
    """Run the tests of a package in this process, a child of its own, and tell how that ended."""
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST, LONGEST))
    os.chdir(ROOT)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    os.dup2(nowhere, 2)
    os.environ |= {
        "PYTHONPATH": os.pathsep.join([str(package), str(ROOT / "tests")]),
        "PYTHONDONTWRITEBYTECODE": "1",
        "CI": "1",  # the same examples for every mutant
    }
    sys.dont_write_bytecode = True
    sys.path[:0] = [str(package), str(ROOT / "tests")]
    try:
        options = "-c pyproject.toml -x -q -p no:cacheprovider -p no:xdist --rootdir"
        code = pytest.main([*options.split(), str(ROOT), *tests])
        used = Path(sys.modules["gradehaul"].__file__ or "")
        return int(code) if used.is_relative_to(package) else 99
    except BaseException:  # noqa: BLE001  # whatever it is, the tests noticed
        return 98


def main() -> None:
    """Try a sample of mutants of one module."""
    module, count, tests = Path(sys.argv[1]), int(sys.argv[2]), sys.argv[3:]
    for library in LIBRARIES:
        importlib.import_module(library)
    source = module.read_text(encoding="utf-8")
    if noticed(module, ast.unparse(ast.parse(source)), tests):
        sys.exit("the tests fail already without any change")
    every = places(source)
    sample = random.Random(0).sample(every, min(count, len(every)))
    left = 0
    for tried, place in enumerate(sample, 1):
        what, text = mutant(source, *place)
        if not noticed(module, text, tests):
            left += 1
            sys.stdout.write(f"{module}:{what}\n")
        sys.stdout.write(f"{module.stem}: {tried - left} of {tried} noticed, of {len(every)} there are\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
