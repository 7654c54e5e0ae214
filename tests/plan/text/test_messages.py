"""Every message of the reader, whole, below what the builder wrote; an @name stands for a beginning that many share."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

from gradehaul.errors import PlanError, Problems
from gradehaul.plan import read_plan
from project import ROOT

HERE = Path(__file__).parent
ROOM = ROOT / "src" / "gradehaul" / "plan"
BEGINNINGS, WRITTEN = ((HERE / "messages.txt").read_text("utf-8")).split("####\n")
SHARED = dict(each.split("\n", 1) for each in BEGINNINGS.split("====\n"))


def _case(written):
    """The text of a plan and its messages."""
    name, rest = written.split("\n", 1)
    lines = (SHARED[name] + rest if name in SHARED else written).splitlines()
    said = [line for line in lines if line.startswith("plans/tarn.toml")]
    return "\n".join(lines[: -len(said)]), "\n".join(said)


CASES = [_case(each) for each in WRITTEN.split("====\n")]


@pytest.mark.parametrize(("text", "lines"), CASES, ids=[re.sub(r"\W+", "-", lines[15:75]) for _, lines in CASES])
def test_message(text, lines):
    with pytest.raises(Problems) as caught:
        read_plan(f"{text}\n", file="plans/tarn.toml")
    assert str(caught.value) == lines
    assert all(type(error) is PlanError for error in caught.value.errors)


def _written(node):
    """The parts of a message that stand in the code, or nothing where it is all made up of other things."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return [part.value for part in node.values if isinstance(part, ast.Constant)]
    if isinstance(node, ast.IfExp):
        return _written(node.body) + _written(node.orelse)
    return []


def _messages():
    for file in sorted([*ROOM.glob("*.py"), *(ROOM / "text").glob("*.py"), *(ROOM / "resolve").glob("*.py")]):
        for call in ast.walk(ast.parse(file.read_text("utf-8"))):
            if not isinstance(call, ast.Call):
                continue
            name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
            if name == "PlanError" and call.args:
                wrong = call.args[0]
            elif (name == "at" and len(call.args) > 1) or (name in {"note", "_Cure"} and len(call.args) > 1):
                wrong = call.args[1] if name != "_Cure" else call.args[0]
            else:
                continue
            for part in _written(wrong):
                if len(part.strip(' :;,."')) > 3:
                    yield pytest.param(part, id=f"{file.name}:{call.lineno}")


@pytest.mark.parametrize("part", list(_messages()))
def test_every_message_in_the_code_is_shown_by_a_test(part):
    assert part.strip() in _tests()


@cache
def _tests():
    """All that the tests of this room say."""
    files = (file for file in sorted(HERE.parent.rglob("*")) if file.suffix in {".py", ".txt"})
    return re.sub(r'"\s+f?"', "", "".join(file.read_text("utf-8") for file in files))
