"""Mutation testing by a random sample: small changes to the package, each of which some test should notice.

    pip install pytest-cov
    pytest --cov=gradehaul --cov-branch --cov-context=test
    python tests/mutants.py .coverage 300 src/gradehaul/haulage src/gradehaul/network src/gradehaul/treatment

Changes one operator, comparison, number or branch at a time in a copy of the package; runs the tests that reach the
changed line, according to the coverage file, those of the same room and the shortest first, until one fails; and lists
the changes that none noticed. All tests are collected once, and a change within a function is made in a fork of that
process, by new code for the function. What runs while modules load is tried by loading the changed package anew.
"""

from __future__ import annotations

import argparse
import ast
import gc
import importlib
import itertools
import multiprocessing
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from multiprocessing.connection import Connection
from pathlib import Path
from time import monotonic, process_time
from types import CodeType, FunctionType
from typing import NoReturn

import pytest

from project import ROOT

LONGEST = 25
"""Seconds of processor time of one test after which a change counts as noticed, if the test is quicker without it."""
PATIENCE = 20
"""Seconds of processor time after which the tests tried at once count as passed, or three times that by the clock."""
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


@dataclass(frozen=True)
class Change:
    """One change to a module: what it is, the changed text, its code, and the lines of the statement it stands in."""

    module: Path
    what: str
    text: str
    tree: ast.Module | None
    lines: range
    in_function: bool

    @property
    def room(self) -> str:
        """The room of the module."""
        return self.module.relative_to(ROOT / "src" / "gradehaul").parts[0]


def mutant(module: Path, number: int, field: str, value: object) -> Change:
    """Return one of the changes there are to a module."""
    source = module.read_text(encoding="utf-8")
    tree = ast.parse(source)
    node = list(_code(tree))[number]
    line = getattr(node, "lineno", 0)
    lines = _statement(tree, line)
    setattr(node, field, value)
    ast.fix_missing_locations(tree)
    new = ast.unparse(getattr(node, field)) if field == "test" else _name(value)
    what = f"{line}: {source.splitlines()[line - 1].strip()}  [{type(node).__name__}.{field} becomes {new}]"
    functions = (each for each in ast.walk(tree) if isinstance(each, ast.FunctionDef | ast.AsyncFunctionDef))
    inside = any(each.body[0].lineno <= line <= (each.end_lineno or 0) for each in functions)
    return Change(module, what, ast.unparse(tree), tree, lines, inside)


def _name(value: object) -> str:
    node = value[0] if isinstance(value, list) else value
    return type(node).__name__ if isinstance(node, ast.AST) else str(node)


def _statement(tree: ast.Module, line: int) -> range:
    """Return the lines of the innermost statement around a line; of a branch or a loop, those of its head."""
    inside = [
        each for each in ast.walk(tree) if isinstance(each, ast.stmt) and each.lineno <= line <= (each.end_lineno or 0)
    ]
    innermost = max(inside, key=lambda each: (each.lineno, -(each.end_lineno or 0)))
    body = getattr(innermost, "body", None)
    stop = body[0].lineno if body else (innermost.end_lineno or line) + 1
    return range(innermost.lineno, max(stop, line + 1))


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

    def _contexts(self, module: Path) -> dict[int, list[str]]:
        inside = str(module.relative_to(ROOT / "src"))
        (measured,) = (name for name in self._data.measured_files() if name.endswith(f"/src/{inside}"))
        return self._data.contexts_by_lineno(measured)

    def while_loading(self, change: Change) -> bool:
        """Tell whether what is changed runs while modules load, before any test."""
        reached = self._contexts(change.module)
        return not change.in_function or any("" in reached.get(line, ()) for line in change.lines)

    def tests(self, change: Change) -> list[str]:
        """Return the tests that reach a change, the nearest first; where loading alone does, those of the module."""
        reached = self._contexts(change.module)
        for lines in (change.lines, reached) if change.in_function else (reached,):
            if found := {_test(context) for line in lines for context in reached.get(line, ()) if context}:
                break
        room = change.module.parent.name

        def nearness(test: str) -> tuple[bool, int, str]:
            return (f"/{room}/" not in test, self._size[test], test)

        return sorted(found, key=nearness)


def _test(context: str) -> str:
    return context.rpartition("|")[0]


class _Patience:
    """Plugin that gives each test its time, and all of them together theirs, and notes which one runs."""

    def __init__(self, note: Path) -> None:
        self._note = note
        self._start, self._began = process_time(), monotonic()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        if process_time() - self._start > PATIENCE or monotonic() - self._began > 3 * PATIENCE:
            os._exit(0)
        self._note.write_text(item.nodeid, encoding="utf-8")
        resource.setrlimit(resource.RLIMIT_CPU, (int(process_time()) + LONGEST, resource.RLIM_INFINITY))


class _InFork(Exception):  # noqa: N818  # no error: how a fork leaves the loop over all changes
    """In this process pytest is to run some of the tests that were collected."""

    def __init__(self, items: list[pytest.Item]) -> None:
        self.items = items


class _Loop:
    """Plugin that does something else with the tests that were collected than run them all."""

    def __init__(self, work: Callable[[list[pytest.Item]], None]) -> None:
        self._work = work

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool | None:
        if session.testsfailed:
            sys.exit("some tests cannot be collected")
        try:
            self._work(session.items)
        except _InFork as fork:
            session.items[:] = fork.items
            return None
        return True


_LOADING = "loading"
_TURNS = (0, 12, 72, None)
_ELSEWHERE = 99


class Trial:
    """Tries changes in a copy of the package, without the tests that fail before any.

    Each trial is a fork of one of two processes: one that has loaded the libraries alone, and this one, which goes on
    to load the package and collect the tests.
    """

    def __init__(self, folder: Path) -> None:
        self._package = folder / "src"
        self._note = folder / "runs"
        self._base = folder / "base"
        self._saved = time.time_ns()
        self._sound: dict[tuple[Path, str, bool], bool] = {}
        self._items: dict[str, pytest.Item] = {}
        shutil.copytree(ROOT / "src", self._package, ignore=shutil.ignore_patterns("__pycache__"))
        os.chdir(ROOT)
        own = [str(self._package), str(ROOT / "tests")]
        os.environ |= {"PYTHONPATH": os.pathsep.join(own), "CI": "1"}  # the same examples for every change
        sys.path[:0] = own
        self._loader, loader = multiprocessing.Pipe()
        if not os.fork():
            self._loader.close()
            self._load(loader)
        loader.close()

    def _load(self, orders: Connection) -> NoReturn:
        """Run tests, again and again, each time by loading the package and these tests."""
        with suppress(EOFError):
            while True:
                tests = orders.recv()
                if child := os.fork():
                    orders.send(_end(child))
                    continue
                _apart()
                resource.setrlimit(resource.RLIMIT_CPU, (LONGEST + 10, resource.RLIM_INFINITY))
                # Examples in docstrings are run from the copy, which bears the change.
                own = [str(self._package.parent / test) if test.startswith("src/") else test for test in tests]
                os._exit(self._pytest(own, _Patience(self._note)))
        os._exit(0)

    def collect(self, work: Callable[[], None]) -> None:
        """Do some work with all tests collected; in forks made there, run what the fork is for."""

        def with_items(items: list[pytest.Item]) -> None:
            self._items = {_from_root(item.nodeid): item for item in items}
            work()

        parent = os.getpid()
        code = self._pytest([str(self._package), "tests", "README.md", "docs"], _Loop(with_items))
        if os.getpid() != parent:
            os._exit(code)
        if code:
            sys.exit(code)

    def notice(self, change: Change, tests: list[str], *, while_loading: bool) -> str:
        """Return a test that notices a change and passes without it; "" where there is none."""
        # Most changes are noticed by the nearest tests; a browser is slow to start.
        tests = sorted(tests, key=lambda test: test in self._items and "browser" in self._items[test].fixturenames)
        for load in [False] * change.in_function + [True] * while_loading:
            turns = _TURNS[:2] if load and change.in_function else _TURNS
            for first, stop in itertools.pairwise(turns):
                if found := self._notice(change, tests[first:stop], load=load):
                    return found
        return ""

    def _notice(self, change: Change, tests: list[str], *, load: bool) -> str:
        while tests:
            found = self._failing(change, tests, load=load)
            if not found or self._passes(change, found, tests, load=load):
                return found
            if found == _LOADING:
                sys.exit(f"the tests of {change.module} cannot be loaded")
            tests = [test for test in tests if test != found]
        return ""

    def _passes(self, change: Change, test: str, tests: list[str], *, load: bool) -> bool:
        key = (change.module, test, load)
        if test == _LOADING or key not in self._sound:
            same = ast.unparse(ast.parse(change.module.read_text(encoding="utf-8")))
            unchanged = replace(change, text=same, tree=None)
            self._sound[key] = not self._failing(unchanged, tests[:1] if test == _LOADING else [test], load=load)
        return self._sound[key]

    def _failing(self, change: Change, tests: list[str], *, load: bool) -> str:
        """Return the first of some tests that fails with a change; "" where none does."""
        self._note.write_text(_LOADING, encoding="utf-8")
        self._write(change.module, change.text)
        if load:
            self._loader.send(tests)
            code = self._loader.recv()
        elif child := os.fork():
            code = _end(child)
        else:
            _apart()
            if change.tree and not _renew(self._package / change.module.relative_to(ROOT / "src"), change.tree):
                os._exit(_ELSEWHERE)
            items = [self._items[test] for test in tests if test in self._items]
            items[0].config.pluginmanager.register(_Patience(self._note))
            raise _InFork(items)
        self._write(change.module, change.module.read_text(encoding="utf-8"))
        failing = _from_root(self._note.read_text(encoding="utf-8")) if code else ""
        if failing == _LOADING and not load:  # no function there is has the changed code
            return self._failing(change, tests, load=True)
        if code == _ELSEWHERE:
            sys.exit(f"the tests do not run the changed copy of {change.module}:{change.what}")
        return failing

    def _write(self, module: Path, text: str) -> None:
        """Write a module, later than it ever was, so that no bytecode of another text counts as its own."""
        path = self._package / module.relative_to(ROOT / "src")
        path.write_text(text, encoding="utf-8")
        self._saved += 10**9
        os.utime(path, ns=(self._saved, self._saved))

    def _pytest(self, tests: list[str], plugin: object) -> int:
        options = f"-c pyproject.toml -x -s -p no:cacheprovider -p no:xdist --rootdir {ROOT} --basetemp {self._base}"
        try:
            code = int(pytest.main([*options.split(), *tests], plugins=[plugin]))
        except BaseException:  # noqa: BLE001  # whatever it is, the tests noticed
            return 98
        used = Path(sys.modules["gradehaul"].__file__ or "")
        return code if used.is_relative_to(self._package) else _ELSEWHERE


def _apart() -> None:
    """Make a fork that reads and prints nothing, with a group of its own for what it starts."""
    os.setsid()
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(nowhere, stream)


def _end(child: int) -> int:
    """Wait for a fork, end what it started, and return how it ended."""
    status = os.waitpid(child, 0)[1]
    with suppress(ProcessLookupError):
        os.killpg(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(status)


def _from_root(test: str) -> str:
    """Return the name of a test as the coverage file has it, also of an example in the copy of the package."""
    return test[test.index("src/gradehaul/") :] if "/src/gradehaul/" in test else test


def _renew(file: Path, tree: ast.Module) -> bool:
    """Give the functions of a loaded module the code of its changed text, and tell whether that changed any."""
    new: dict[tuple[str, int], CodeType] = {}
    waiting = [compile(tree, str(file), "exec", dont_inherit=True)]
    while waiting:
        inside = [code for code in waiting.pop().co_consts if isinstance(code, CodeType)]
        new |= {(code.co_qualname, code.co_firstlineno): code for code in inside}
        waiting += inside
    there = [each for each in gc.get_objects() if isinstance(each, FunctionType)]
    old = [(each, each.__code__) for each in there if each.__code__.co_filename == str(file)]
    for function, code in old:
        function.__code__ = new.get((code.co_qualname, code.co_firstlineno), code)
    return any(function.__code__ != code for function, code in old)


def main() -> None:
    """Try a sample of the changes there are to modules."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("coverage", type=Path, help="the coverage file, with contexts")
    parser.add_argument("count", type=int, help="how many changes to try")
    parser.add_argument("paths", type=Path, nargs="+", help="modules, or folders of them")
    parser.add_argument("--seed", type=int, default=0, help="another sample")
    options = parser.parse_args()
    for library in LIBRARIES:
        importlib.import_module(library)
    reached = Reached(options.coverage)
    modules = [module for path in options.paths for module in sorted([path] if path.is_file() else path.rglob("*.py"))]
    every = [(module.resolve(), place) for module in modules for place in places(module.read_text(encoding="utf-8"))]
    sample = random.Random(options.seed).sample(every, min(options.count, len(every)))
    changes = [mutant(module, *place) for module, place in sample]
    tried, left = Counter[str](), Counter[str]()
    report = os.fdopen(os.dup(1), "w", encoding="utf-8")  # of this process alone: forks write nowhere

    def try_them() -> None:
        for change in changes:
            tests, while_loading = reached.tests(change), reached.while_loading(change)
            tried[change.room] += 1
            if not trial.notice(change, tests, while_loading=while_loading):
                left[change.room] += 1
                report.write(f"{change.module.relative_to(ROOT)}:{change.what}  ({len(tests)} tests)\n")
            by_room = ", ".join(f"{room} {tried[room] - left[room]} of {tried[room]}" for room in sorted(tried))
            report.write(f"noticed: {by_room}; of {len(every)} there are\n")
            report.flush()

    parent, folder = os.getpid(), Path(tempfile.mkdtemp()).resolve()
    try:
        trial = Trial(folder)
        trial.collect(try_them)
    finally:
        if os.getpid() == parent:  # a fork of a test may end in any way
            shutil.rmtree(folder)


if __name__ == "__main__":
    main()
