"""Mutation testing by a random sample: small changes to the package, each of which some test should notice.

    pip install pytest-cov
    pytest --cov=gradehaul --cov-branch --cov-context=test
    python tests/mutants.py .coverage 300 src/gradehaul/haulage src/gradehaul/network src/gradehaul/treatment

Changes one operator, comparison, number or branch at a time in a copy of the package; runs the tests that reach the
changed lines, as the coverage file tells, those of the same room and the shortest first, until one notices; and tells
which changes nobody noticed. Left out of the ordinary run: a change that nobody notices costs minutes.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import itertools
import os
import random
import resource
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from time import process_time

import pytest

from project import ROOT

LONGEST = 25
"""Seconds of processor time of one test after which a change counts as noticed, if the test is quicker without it."""
PATIENCE = 30
"""Seconds of processor time of the tests tried at once, after which they count as passed."""
LIBRARIES = (
    "numpy", "scipy.optimize", "pint", "pydantic", "networkx", "shapely", "tomli", "tomlkit", "ezdxf",
    "click", "rich.console", "jinja2",
)  # fmt: skip
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


class Reached:
    """Which tests reach which lines, from a coverage file with a context for each test."""

    def __init__(self, file: Path) -> None:
        from coverage import CoverageData

        self._data = CoverageData(str(file))
        self._data.read()
        self._size: Counter[str] = Counter()
        for measured in self._data.measured_files():
            for contexts in self._data.contexts_by_lineno(measured).values():
                self._size.update({_test(context) for context in contexts if context})

    def tests(self, module: Path, lines: range) -> list[str]:
        """Return the tests that reach any of some lines; of lines that only loading reaches, those of the module."""
        inside = str(module.relative_to(ROOT / "src"))
        (measured,) = (name for name in self._data.measured_files() if name.endswith(f"/src/{inside}"))
        reached = self._data.contexts_by_lineno(measured)
        found = {_test(context) for line in lines for context in reached.get(line, ()) if context}
        if not found:
            found = {_test(context) for contexts in reached.values() for context in contexts if context}
        room = module.parent.name

        def nearness(test: str) -> tuple[bool, int, str]:
            return (f"/{room}/" not in test, self._size[test], test)

        return sorted(found, key=nearness)


def _test(context: str) -> str:
    return context.rpartition("|")[0]


def lines_of(source: str, number: int) -> range:
    """Return the lines of the innermost statement that a node stands in; of a branch or a loop, those of its head."""
    tree = ast.parse(source)
    node = list(_code(tree))[number]
    line = getattr(node, "lineno", 0)
    inside = [
        each for each in ast.walk(tree) if isinstance(each, ast.stmt) and each.lineno <= line <= (each.end_lineno or 0)
    ]
    innermost = max(inside, key=lambda each: (each.lineno, -(each.end_lineno or 0)))
    body = getattr(innermost, "body", None)
    stop = body[0].lineno if body else (innermost.end_lineno or line) + 1
    return range(innermost.lineno, max(stop, line + 1))


class _Patience:
    """Plugin that gives each test its time, and all of them together theirs, and notes which one runs."""

    def __init__(self, note: Path) -> None:
        self._note = note
        self._start = process_time()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        if process_time() - self._start > PATIENCE:
            os._exit(0)
        self._note.write_text(item.nodeid, encoding="utf-8")
        resource.setrlimit(resource.RLIMIT_CPU, (int(process_time()) + LONGEST, resource.RLIM_INFINITY))


def noticed(module: Path, text: str, tests: list[str]) -> str:
    """Return the test that fails where a module has another text; "" where none does."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(ROOT / "src", Path(folder) / "src", ignore=shutil.ignore_patterns("__pycache__"))
        (Path(folder) / module.relative_to(ROOT)).write_text(text, encoding="utf-8")
        # Examples in docstrings are run from the copy, which bears the change.
        own = [f"{folder}/{test}" if test.startswith("src/") else test for test in tests]
        note = Path(folder) / "runs"
        child = os.fork()
        if not child:
            os._exit(_run(Path(folder) / "src", own, note))
        status = os.waitpid(child, 0)[1]
        if os.waitstatus_to_exitcode(status) == _ELSEWHERE:
            sys.exit("the tests do not run the changed copy")
        if not status:
            return ""
        last = note.read_text("utf-8") if note.exists() else _LOADING
        return next((test for test in tests if last.endswith(test)), _LOADING)


_LOADING = "loading"
_TURNS = (0, 12, 72, None)
_ELSEWHERE = 99


def _run(package: Path, tests: list[str], note: Path) -> int:
    """Run tests of a package in this process, a child of its own, and tell how that ended."""
    resource.setrlimit(resource.RLIMIT_CPU, (LONGEST + 10, resource.RLIM_INFINITY))
    os.chdir(ROOT)
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(nowhere, stream)
    os.environ |= {
        "PYTHONPATH": os.pathsep.join([str(package), str(ROOT / "tests")]),
        "PYTHONDONTWRITEBYTECODE": "1",
        "CI": "1",  # the same examples for every change
    }
    sys.dont_write_bytecode = True
    sys.path[:0] = [str(package), str(ROOT / "tests")]
    try:
        options = "-c pyproject.toml -x -q -p no:cacheprovider -p no:xdist --rootdir"
        code = pytest.main([*options.split(), str(ROOT), *tests], plugins=[_Patience(note)])
        used = Path(sys.modules["gradehaul"].__file__ or "")
        return int(code) if used.is_relative_to(package) else _ELSEWHERE
    except BaseException:  # noqa: BLE001  # whatever it is, the tests noticed
        return 98


class Trial:
    """Tries changes, without the tests that fail before any."""

    def __init__(self) -> None:
        self._sound: dict[tuple[Path, str], bool] = {}

    def notice(self, module: Path, text: str, tests: list[str]) -> str:
        """Return a test that notices a change and passes without it; "" where there is none."""
        # Most changes are noticed by a few tests, and the more there are, the longer they load.
        for first, stop in itertools.pairwise(_TURNS):
            if found := self._notice(module, text, tests[first:stop]):
                return found
        return ""

    def _notice(self, module: Path, text: str, tests: list[str]) -> str:
        while tests:
            found = noticed(module, text, tests)
            if not found or self._passes(module, found, tests):
                return found
            if found == _LOADING:
                sys.exit(f"the tests of {module} cannot be loaded")
            tests = [test for test in tests if test != found]
        return ""

    def _passes(self, module: Path, test: str, tests: list[str]) -> bool:
        key = (module, test)
        if test == _LOADING or key not in self._sound:
            same = ast.unparse(ast.parse(module.read_text(encoding="utf-8")))
            self._sound[key] = not noticed(module, same, tests[:1] if test == _LOADING else [test])
        return self._sound[key]


def main() -> None:
    """Try a sample of the changes there are to modules."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("coverage", type=Path, help="the coverage file, with contexts")
    parser.add_argument("count", type=int, help="how many changes to try")
    parser.add_argument("paths", type=Path, nargs="+", help="modules, or folders of them")
    parser.add_argument("--seed", type=int, default=0, help="another sample")
    asked = parser.parse_args()
    for library in LIBRARIES:
        importlib.import_module(library)
    reached = Reached(asked.coverage)
    modules = [module for path in asked.paths for module in sorted([path] if path.is_file() else path.rglob("*.py"))]
    every = [(module.resolve(), place) for module in modules for place in places(module.read_text(encoding="utf-8"))]
    sample = random.Random(asked.seed).sample(every, min(asked.count, len(every)))
    trial, tried, left = Trial(), Counter[str](), Counter[str]()
    for module, place in sample:
        source = module.read_text(encoding="utf-8")
        what, text = mutant(source, *place)
        tests = reached.tests(module, lines_of(source, place[0]))
        room = module.relative_to(ROOT / "src" / "gradehaul").parts[0]
        tried[room] += 1
        if not trial.notice(module, text, tests):
            left[room] += 1
            sys.stdout.write(f"{module.relative_to(ROOT)}:{what}  ({len(tests)} tests)\n")
        told = ", ".join(f"{name} {tried[name] - left[name]} of {tried[name]}" for name in sorted(tried))
        sys.stdout.write(f"noticed: {told}; of {len(every)} there are\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
