"""Damaged and hostile files: each is refused in the designed form, at once, and nothing else comes out."""

import copy
import os
import random

import pytest
import tomli
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from effort import at_most
from gradehaul.errors import PlanError, Problems
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.toml import LARGEST
from plan.example import HEAD, TEXT, one_line, plan_text
from project import PLANS


def said(text):
    with pytest.raises(Problems) as caught:
        read_plan(text, file="tarn.toml")
    return str(caught.value).split("\n")


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"", 'the file is empty; write at least scale = "HO" and a [line.NAME] table'),
        (b"\n \t\n", 'the file is empty; write at least scale = "HO" and a [line.NAME] table'),
        (b"# nothing\n", 'the plan is empty; write at least scale = "HO" and a [line.NAME] table'),
        (b"\x89PNG\r\n\x1a\n\0\0\0", "a plan file is text, got binary data"),
        ('scale = "HO"'.encode("utf-16"), "a plan file is UTF-8 text, got UTF-16; write it again, saved as UTF-8"),
        (
            'scale = "HO"\ntitle = "Bärental"\n'.encode("latin-1"),
            "2: a plan file is UTF-8 text, got the byte 0xe4; write it again, saved as UTF-8",
        ),
    ],
)
def test_files_that_are_no_plan(tmp_path, data, message):
    path = tmp_path / "tarn.toml"
    path.write_bytes(data)
    with pytest.raises((PlanError, Problems)) as caught:
        load_plan(path)
    assert str(caught.value) == f"{path}:{'' if message[0] == '2' else ' '}{message}"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("cove.dxf", "this is a drawing, not a plan; write gradehaul import cove.dxf -o PLAN.toml"),
    ],
)
def test_files_that_stand_beside_a_plan(name, message):
    with pytest.raises(PlanError) as caught:
        load_plan(PLANS / name)
    assert str(caught.value) == f"{PLANS / name}: {message}"


def test_a_missing_file(tmp_path):
    with pytest.raises(PlanError) as caught:
        load_plan(tmp_path / "tarn.toml")
    assert str(caught.value) == f"{tmp_path / 'tarn.toml'}: there is no such file"
    (tmp_path / "file").write_text("x")
    with pytest.raises(PlanError, match="there is no such file"):
        load_plan(tmp_path / "file" / "tarn.toml")
    with pytest.raises(PlanError, match=r"^tarntoml: there is no such file$"):
        load_plan("tarn\0toml")


def test_a_folder(tmp_path):
    with pytest.raises(PlanError) as caught:
        load_plan(tmp_path)
    assert str(caught.value) == f"{tmp_path}: this is a folder, not a plan file"


def test_a_file_that_may_not_be_read_is_no_fault_of_the_plan(tmp_path, monkeypatch):
    path = tmp_path / "tarn.toml"
    path.write_text(TEXT, "utf-8")

    def refuse(*_args, **_keywords):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(type(path), "open", refuse)
    with pytest.raises(PermissionError):
        load_plan(path)


def test_a_file_that_is_too_large(tmp_path):
    path = tmp_path / "tarn.toml"
    with path.open("wb") as stream:
        stream.truncate(LARGEST + 1)
    with pytest.raises(PlanError) as caught:
        load_plan(path)
    assert str(caught.value) == f"{path}: a plan file has at most 20 MB, got 20.0 MB"


def test_a_stream_that_never_ends_is_read_no_further_than_the_limit():
    with pytest.raises(PlanError, match=r"^/dev/zero: a plan file has at most 20 MB, got more$"):
        load_plan("/dev/zero")


def test_a_byte_order_mark_and_windows_line_ends_are_welcome(tmp_path):
    path = tmp_path / "tarn.toml"
    path.write_bytes(b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode())
    assert load_plan(path).title == "Tarn branch"
    path.write_bytes(TEXT.replace("left = 24", "left = -24").replace("\n", "\r\n").encode())
    with pytest.raises(
        Problems, match=r"tarn\.toml:14: line \"Main\", track 2 \"Horseshoe\": radius must be more than 0"
    ):
        load_plan(path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x = " + "[" * 5000 + "]" * 5000, "this cannot be read: lists or tables are nested too deep"),
        (".".join("a" * 20_000) + " = 1", "this cannot be read: lists or tables are nested too deep"),
        ("x = " + "9" * 5000, "this cannot be read: a number has thousands of digits"),
    ],
    ids=["brackets", "dots", "digits"],
)
def test_toml_that_is_an_attack(text, message):
    with at_most(500):
        assert said(text) == [f"tarn.toml: {message}"]


def test_a_number_too_long_to_print():
    (line,) = said(one_line("{ straight = 3, grade = 0x" + "f" * 4000 + " }"))
    assert line.startswith('tarn.toml:3: line "Main", track 1, grade: ')
    assert len(line) < 200
    (line,) = said(HEAD + "[line.Main]\nfrom = 0x" + "f" * 4000 + '\nto = "B"\ntrack = [ { straight = 3 } ]')
    assert line == (
        'tarn.toml:3: line "Main", from: must be text in quotes, got a number of 16000 bits; write from = "Wharf"'
    )


def test_pieces_that_multiply_beyond_all_bounds():
    bomb = "[piece.p0]\ntrack = [ { straight = 1 } ]\n" + "".join(
        f"[piece.p{n}]\ntrack = [ " + ", ".join([f'{{ piece = "p{n - 1}" }}'] * 10) + " ]\n" for n in range(1, 12)
    )
    line = '[line.Main]\nfrom = "A"\nto = "B"\ntrack = [ { piece = "p5" }, { piece = "p5" } ]\n'
    assert said(HEAD + bomb + line) == [
        *(
            f'tarn.toml:{2 * n + 3}: piece "p{n}": a plan has at most 100000 tracks, got more in this piece'
            for n in range(6, 12)
        ),
        'tarn.toml:27: line "Main": a plan has at most 100000 tracks, got more up to this line',
    ]


@pytest.mark.parametrize("step", [1, -1], ids=["outermost first", "innermost first"])
def test_pieces_that_stand_too_deep(step):
    pieces = [f'[piece.p{n}]\ntrack = [ {{ piece = "p{n + 1}" }}, {{ straight = 1 }} ]\n' for n in range(3000)]
    pieces.append("[piece.p3000]\ntrack = [ { straight = 1 } ]\n")
    (line,) = said(HEAD + "".join(pieces[::step]))
    assert line.endswith('piece "p2984": pieces stand within pieces at most 16 deep')
    read_plan(HEAD + "".join(pieces[2985:][::step]))


def test_names_lose_control_characters_and_stay_one_name():
    plan = read_plan(HEAD + '[line."Up\\u001b[31m\\u0007"]\nfrom = "\\u202eA"\nto = " B\\t"\ntrack = [{straight = 3}]')
    (line,) = plan.lines.values()
    assert (line.name, line.start, line.finish) == ("Up[31m", "A", "B")
    assert (
        said(HEAD + '[loco.m]\nmass = "3 g"\nlength = 3\n[loco.m.pull]\ntreated = "6 gf"\n"treated\\u0007" = "6 gf"')[0]
        == 'tarn.toml:6: loco "m", pull: rail condition "treated" is given twice'
    )


def test_a_header_with_control_characters_is_shown_without_them():
    (message,) = said(HEAD + "[\x01draw ing]\n")
    assert message.endswith("got [draw ing]; write the line without it")
    unseen = "tarn.toml:3: there is an invisible control character on this line, got "
    assert said(HEAD + "[\x01drawing]\n") == [unseen + "[drawing]; write the line without it"]
    assert said(HEAD + "ti\x7ftle\t= 3\n") == [unseen + "title = 3; write the line without it"]
    assert said(HEAD + "[line.\u202eMain]\n") == [unseen + "[line.Main]; write the line without it"]
    below = unseen.replace(":3:", ":4:")
    assert said(HEAD + "[loco.a]\n \x1bmass =\x1b 3 oz\n") == [below + "mass = 3 oz; write the line without it"]


@pytest.mark.parametrize("header", ["[line.\x01{}]", "[{} {}]", "[line.{} x", "[\x1b[31m{}\x07]"])
def test_a_very_long_header_does_not_fill_the_screen(header):
    with at_most(800_000):
        (message,) = said(HEAD + header.replace("{}", "x" * 50_000) + "\n")
    assert len(message) < 250
    assert message.isprintable()


def test_a_very_long_name_does_not_fill_the_screen():
    (line,) = said(HEAD + f'[train.{"x" * 100_000}]\nroute = "Up"\nconsist = ["a"]\n{"y" * 100_000} = 3')
    assert len(line) < 300


def test_thousands_of_unknown_names_do_not_take_minutes():
    lines = "".join(
        f'[line.L{n}]\nfrom = "Junction K{n}"\nto = "Junction K{n + 1}"\ntrack = [{{straight = 1}}]\n'
        for n in range(1000)
    )
    routes = "".join(f'[route.R{n}]\nfrom = "Janction {n}"\nto = "Jonction {n}"\n' for n in range(500))
    with at_most(7_000_000):
        assert len(said(HEAD + lines + routes)) == 1000


def test_thousands_of_tracks_load_in_seconds():
    tracks = ["{ straight = 12.5, rise = 0.1 }", '{ left = "24 in", angle = 10, ease = "1 1/2 in" }'] * 2_000
    text = one_line(*tracks)
    with at_most(2_000_000):
        assert len(read_plan(text).tracks) == 4_000


WRONG = st.sampled_from(
    [
        None, 0, -1, 1, 1e300, 10**30, True, float("nan"), float("inf"), "", "x", "Main", "Main.to", "Wharf", "clean",
        "-24 in", "9**9**9 in", "1e999 in", "24 g", "24 gf", "2.2 %", "12 ore", "0 ore", "\x1b[31m", "\u202e",
        [], ["Main"], [["A", "B"]], [[]], [1, 2], {}, {"left": -24}, {"straight": 0}, {"piece": "switch"},
        {"easement": 8}, {"model": "wheelbase"},
    ]
)  # fmt: skip


def _places(value, path=()):
    yield path
    inner = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, each in inner:
        yield from _places(each, (*path, key))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(changes=st.lists(st.tuples(st.integers(0, 10_000), WRONG), min_size=1, max_size=3))
def test_changed_values_give_a_plan_or_its_faults(changes):
    tables = tomli.loads(TEXT)
    for index, wrong in changes:
        places = list(_places(tables))[1:]
        if not places:
            return
        *path, last = places[index % len(places)]
        table = tables
        for key in path:
            table = table[key]
        if wrong is None:
            del table[last]
        else:
            table[last] = copy.deepcopy(wrong)
    _read(plan_text(tables))


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32), times=st.integers(1, 4))
def test_damaged_text_gives_a_plan_or_its_faults(seed, times):
    draw = random.Random(seed)
    text = TEXT
    for _ in range(times):
        start = draw.randrange(len(text))
        end = min(len(text), start + draw.choice([0, 1, 2, 10, 100, 500]))
        put = draw.choice(["", '"', "[", "]", "{", "}", "=", ".", "\n", "-", "9", "\0", "é", text[end : end + 50]])
        text = text[:start] + put + text[end:]
    _read(text)


@settings(max_examples=50, deadline=None)
@given(text=st.text())
def test_any_text_gives_a_plan_or_its_faults(text):
    _read(text)


def _read(text):
    try:
        assert isinstance(read_plan(text), Plan)
    except Problems as problems:
        for error in problems.errors:
            line = str(error)
            assert line.startswith("plan.toml")
            assert "\n" not in line
            assert "\x1b" not in line


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_is_not_waited_for(tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(PlanError) as caught:
        load_plan(pipe)
    assert str(caught.value) == f"{pipe}: this is a named pipe, not a plan file"
