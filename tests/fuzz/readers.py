"""What is fuzzed: each reader takes any bytes, and gives an answer or a refusal of the designed form, soon."""

from __future__ import annotations

import json
import tempfile
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from time import process_time
from typing import get_args
from unicodedata import category

from click.testing import CliRunner
from httpx import InvalidURL
from starlette.testclient import TestClient

from checked import check
from gradehaul.command import main
from gradehaul.design.starter import starter
from gradehaul.errors import GradehaulError, Problems, QuantityError
from gradehaul.live.app import Live, Shown
from gradehaul.live.plan_files import digest_of
from gradehaul.plan import load_plan
from gradehaul.plan.drawing.dxf import read_drawing
from gradehaul.plan.edit.copies import plan_with_numbers
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.quantities import Kind, read_quantity, read_reading
from gradehaul.track.fit import fitted
from project import ROOT

PLANS = ROOT / "plans"
LONGEST = 20.0
"""Processor seconds that an answer or a refusal may take: some hundred times the usual."""


@dataclass(frozen=True)
class Reader:
    """A reader, files to begin with, and words that its files are made of."""

    read: Callable[[bytes], None]
    seeds: tuple[bytes, ...]
    words: tuple[bytes, ...]


def held_to(read: Callable[[Path], object], name: str) -> Callable[[bytes], None]:
    """Return the check of a reader that takes a file of some name."""

    def once(data: bytes) -> None:
        with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
            warnings.simplefilter("error")
            path = Path(folder) / name
            path.write_bytes(data)
            start = process_time()
            try:
                read(path)
            except GradehaulError as error:
                _in_form(error)
            took = process_time() - start
            assert took < LONGEST, f"took {took:.1f} s"

    return once


def _in_form(error: GradehaulError) -> None:
    for each in error.errors if isinstance(error, Problems) else (error,):
        line = str(each)
        assert not any(category(sign) in {"Cc", "Cs", "Zl", "Zp"} for sign in line), f"not one plain line: {line!r}"
        assert len(line) < 2000, f"a message fills the screen: {line[:200]!r}"


def _quantity(data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    start = process_time()
    for kind in get_args(Kind):
        for unit in (None, "in"):
            for read in (read_quantity, read_reading):
                try:
                    found = read(text, kind, unit=unit)
                except QuantityError as error:
                    _in_form(error)
                    continue
                value = found if isinstance(found, float) else found.value
                assert isfinite(value)
    assert process_time() - start < LONGEST


def _plan(path: Path) -> None:
    plan = load_plan(path)
    if len(plan.tracks) <= 200:
        check(plan)


def _readings(path: Path) -> None:
    (path.parent / "bench.toml").write_text((PLANS / "bench.toml").read_text("utf-8"), "utf-8")
    load_plan(path.parent / "bench.toml")


def _drawing(path: Path) -> None:
    read_drawing(path, layers=["*"], height_layers=["*"], unit="mm")


def _fit(path: Path) -> None:
    plan_with_numbers(fitted(load_plan(path)), folder=path.parent)


def _try(data: bytes) -> None:
    """Read the arguments of `try`, one a line."""
    arguments = [line for line in data.decode("utf-8", "replace").split("\n") if line != "--help"]
    start = process_time()
    done = CliRunner().invoke(main, ["try", str(PLANS / "two-levels.toml"), *arguments])
    assert process_time() - start < LONGEST
    assert done.exit_code in (0, 1, 2, 3), f"{done.exception!r}"
    assert done.exception is None or isinstance(done.exception, SystemExit), f"{done.exception!r}"
    assert "Traceback" not in done.output


class _Requests:
    """The live page's server with a client, to which each file is a request: method, path, query, headers, body."""

    def __init__(self) -> None:
        folder = Path(tempfile.mkdtemp())
        for name in ("first-hill.toml", "stock-ho.toml"):
            (folder / name).write_bytes((PLANS / name).read_bytes())
        self._before = {path.name: path.read_bytes() for path in folder.iterdir()}
        self._folder = folder
        app = Live(Shown(folder), stay=True, stop=lambda: None).app("token", lambda _: True)
        self._client = TestClient(app, raise_server_exceptions=False)
        self._client.__enter__()  # one loop for all requests

    def __call__(self, data: bytes) -> None:
        head, _, body = data.partition(b"\n\n")
        first, *headers = head.decode("latin-1").split("\n")
        method, _, path = first.partition(" ")
        if path.partition("?")[0].endswith("/events"):  # a stream, which does not end
            return
        named = {name: value.strip() for name, _, value in (line.partition(":") for line in headers) if name}
        try:
            request = self._client.build_request(method, f"http://testserver{path}", headers=named, content=body)
        except (ValueError, UnicodeError, TypeError, InvalidURL):  # the client itself refuses it
            return
        start = process_time()
        answer = self._client.send(request)
        assert answer.status_code < 500, f"{answer.status_code} {answer.text[:300]}"
        assert process_time() - start < LONGEST
        written = {path.name: path.read_bytes() for path in self._folder.iterdir()}
        if method != "POST" or b"token" not in head:
            assert written == self._before
        assert self._before.keys() <= written.keys()
        for path in self._folder.iterdir():  # what was asked for is undone
            if path.name in self._before:
                path.write_bytes(self._before[path.name])
            else:
                path.unlink()


def _import(path: Path) -> None:
    import_drawing(str(path), None, ImportOptions(layers=("TRACK*", "Track*"), scale="HO", unit="mm"))


_QUANTITIES = (
    "18 1/2 in", "2.2 %", "1 in 40", "1:40", "3 ft 6 in", "1,5 mm", "89 gf ± 2", "90°", "0.5 N +- 0.02", "22 permille",
    '-3 1/4"', "5' 6 1/2\"", "1e3 mm", "12 oz", "2.5 degrees", "30 ozf", "1_0 m", "٣ in", "9**9**9 in",
)  # fmt: skip
_NUMBERS = (b"0", b"-1", b"1e300", b"1e-300", b"1e999", b"nan", b"-inf", b"9999999999999999999999", b"0.1", b"1e17")
_TOML = (
    b'"', b"'", b"=", b"[", b"]", b"{", b"}", b".", b",", b"\n", b"#", b"track = [", b'"""', b"true", b"straight",
    b"left", b"right", b"angle", b"ease", b"rise", b"grade", b"rail", b"clean", b"treated", b"railhead.", b"include",
    b"[turnout.X]\n", b"[crossing.X]\n", b"[turntable.X]\n", b"legs", b"toe", b"via", b"reversals", b"length", b"mass",
)  # fmt: skip
_DXF = (
    b"0\nLINE\n", b"0\nARC\n", b"0\nINSERT\n", b"0\nLWPOLYLINE\n", b"0\nSPLINE\n", b"0\nELLIPSE\n", b"0\nENDSEC\n",
    b"0\nEOF\n", b"  0\n", b" 10\n", b" 20\n", b" 42\n", b"  8\n", b"  5\n", b" 50\n", b" 70\n", b"  2\n",
)  # fmt: skip
_CSV = (b";", b",", b"\t", b"\n", b"\r\n", b'"', b"loco", b"rail", b"force 1 (gf)", b"hours", b"1,5", b"treated")


_FIT = (
    b'"fit"',
    b'parallel = { to = "Main", apart = 50 }',
    b"straight",
    b"left",
    b"angle",
    b"number = 6",
    b"at",
    b"close",
)
_TRY = (
    b"any",
    b"Up",
    b"..",
    b"Yard",
    b"consolidation",
    b"7 hopper",
    b"caboose",
    b"--set",
    b"Helix top=306",
    b"=",
    b"\n",
)
_HTTP = (
    b"GET", b"POST", b"/token/", b"/trial", b"/write", b"/save", b"/copy", b"/new", b"/drawing", b"..", b"%2f",
    b"?plan=", b"&", b'{"trial":', b'"heights"', b'"rails"', b"null", b"[]", b"{}", b'"', b":", b"9" * 400, b"\n",
    b"content-type: application/json\n", b"origin: http://testserver\n", b"content-length: -1\n", b"host: x\n",
)  # fmt: skip
_TRIES = (
    "Up by the main\nconsolidation\n7 hopper\ncaboose",
    "Quarry down\nany\n3 coach",
    "Up by the main\nany\n4 hopper\n--set\nHelix top=306",
)
_HEADERS = "origin: http://testserver\ncontent-type: application/json"
_REQUEST = f"POST /token/{{}}?plan=first-hill.toml&name=x&scale=HO\n{_HEADERS}\n\n{{}}"
_POSTS = ("trial", "diff", "write", "save", "copy", "new", "drawing")
_BODY = {
    "page": "x",
    "trial": {"heights": {"joint Ridge": 0.05}, "rails": {}},
    "digest": digest_of((PLANS / "first-hill.toml").read_bytes()),
    "text": "",
    "name": "n",
    "layout": "hill",
    "scale": "HO",
    "unit": "mm",
}


def _files(pattern: str) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted(PLANS.glob(pattern)))


def _starters() -> Iterator[bytes]:
    for layout in ("siding", "wye", "loop"):
        for unit in ("in", "mm"):
            yield starter(layout, scale="HO", unit=unit, title="A plan").encode()


def _requests() -> Iterator[bytes]:
    yield from (b"GET /token/", b"GET /token/headline?plan=first-hill.toml")
    for name in _POSTS:
        yield _REQUEST.format(name, json.dumps(_BODY)).encode()


def readers() -> dict[str, Reader]:
    """Return what is fuzzed, by name."""
    drawings = _files("*.dxf")
    return {
        "plan": Reader(held_to(_plan, "plan.toml"), _files("*.toml"), _TOML + _NUMBERS),
        "quantity": Reader(
            _quantity,
            tuple(text.encode() for text in _QUANTITIES),
            tuple(b"0 1 . , / + - \xc2\xb1 ' \" in ft mm % : e * gf".split()),
        ),
        "drawing": Reader(held_to(_drawing, "drawing.dxf"), drawings, _DXF + _NUMBERS),
        "import": Reader(held_to(_import, "drawing.dxf"), drawings, _DXF + _NUMBERS),
        "fit": Reader(held_to(_fit, "plan.toml"), tuple(_starters()), _FIT + _TOML + _NUMBERS),
        "try": Reader(_try, tuple(text.encode() for text in _TRIES), _TRY + _NUMBERS),
        "live": Reader(_Requests(), tuple(_requests()), _HTTP + _NUMBERS),
        "readings": Reader(held_to(_readings, "bench.csv"), _files("*.csv"), _CSV + _NUMBERS),
    }
