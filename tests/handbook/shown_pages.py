"""What README and the handbook show: each command, file, picture and generated part of a page, made again in order.

Marks are comments, which no reader of the page sees:

- A fenced block of ``console`` has commands behind ``$`` and what they print; one of ``python`` is a session.
- ``<!-- shown: from "A"; until "B"; status 1 -->`` before such a block shows the part from the line that begins with A
  to the one before the line that begins with B, and expects that exit status; each of the three may be left out.
- ``<!-- output: COMMAND -->`` before any block does the same for one command that the block does not show.
- ``<!-- picture: COMMAND -o FILE -->`` stands before a picture; FILE is named from the top of the tree.
- ``<!-- file: NAME -->`` before a block is a file that the page's next commands find, and
  ``<!-- appended to: NAME -->`` goes on with one.
- ``<!-- added to: NAME; without [TABLE] -->`` before a block of TOML reads it as a part of that plan.
- ``<!-- generated: NAME -->`` begins a part of the page that `GENERATED` makes, and ``<!-- end -->`` ends it.

Commands find a copy of ``plans/`` and whatever the page has made before; the tree itself is left alone.
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Callable, Mapping
from contextlib import chdir
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

from click.testing import CliRunner
from commands_page import commands
from keys_page import keys
from plan_file_page import tables, units
from python_session import session

from gradehaul import read_plan
from gradehaul.command import main
from project import ROOT

PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md")))
GENERATED: Mapping[str, Callable[[], str]] = {"tables": tables, "units": units, "commands": commands, "keys": keys}

_STEP = re.compile(
    r"(?:<!-- (?P<mark>[a-z ]+): (?P<said>[^\n]*?) -->\n)?^```(?P<kind>\w*)\n(?P<body>.*?)^```$"
    r"|<!-- picture: (?P<drawn>[^\n]*?) -->\n"
    r"|(?P<begin><!-- generated: (?P<part>\w+) -->\n).*?(?P<end>^<!-- end -->)",
    re.DOTALL | re.MULTILINE,
)
_CUT = "…"


@dataclass(slots=True)
class Remade:
    """A page made again: its text, and the pictures by their place in the tree."""

    text: str = ""
    pictures: dict[str, bytes] = field(default_factory=dict)
    names: dict[str, object] = field(default_factory=dict)
    """What the page's Python sessions have named so far."""


def remade(page: Path) -> Remade:
    """Return the page as it would be made now."""
    made = Remade()
    with TemporaryDirectory() as folder, chdir(folder):
        shutil.copytree(ROOT / "plans", "plans")
        Path("docs").mkdir()
        made.text = _STEP.sub(lambda step: _again(step, made), page.read_text(encoding="utf-8"))
    return made


def run(command: str, status: int = 0) -> str:
    """Return what a command prints, on both streams, as a terminal of 80 columns shows it."""
    program, *args = shlex.split(command)
    assert program == "gradehaul", command
    fixed = {"COLUMNS": "80", "SOURCE_DATE_EPOCH": "1798000000"}
    result = CliRunner(env=fixed).invoke(main, args, prog_name="gradehaul")
    assert result.exit_code == status, f"{command}: exit status {result.exit_code}\n{result.output}"
    return result.output


def _again(step: re.Match[str], made: Remade) -> str:
    """Return one step of a page, made again."""
    if step["part"]:
        return f"{step['begin']}\n{GENERATED[step['part']]().strip()}\n\n{step['end']}"
    if step["drawn"]:
        *_, kept = shlex.split(step["drawn"])
        run(step["drawn"])
        made.pictures[kept] = Path(kept).read_bytes()
        return step[0]
    body, mark, said = step["body"], step["mark"], step["said"] or ""
    if mark in ("file", "appended to"):
        with Path(said).open("w" if mark == "file" else "a", encoding="utf-8") as file:
            file.write(body)
    if mark == "output":
        command, _, part = said.partition("; ")
        body = _printed(command, part)
    elif step["kind"] == "console":
        body = "".join(f"{shown}{_printed(command, said)}" for command, shown in _prompts(body))
    elif step["kind"] == "sh":
        for command, _ in _prompts("".join(f"$ {line}" for line in body.splitlines(keepends=True))):
            if command.startswith("gradehaul "):
                run(command)
    elif step["kind"] == "python":
        body = session(body, made.names)
    elif step["kind"] == "toml" and mark not in ("file", "appended to"):
        _read(body, said if mark == "added to" else "")
    return step[0].replace(f"\n{step['body']}```", f"\n{body}```")


def _prompts(body: str) -> list[tuple[str, str]]:
    """Return the commands of a block, each with the lines that show it; a line that ends with a backslash goes on."""
    found: list[tuple[str, str]] = []
    lines = iter(body.splitlines(keepends=True))
    for line in lines:
        if line.startswith("$ "):
            shown = line
            while shown.endswith("\\\n"):
                shown += next(lines)
            found.append((shown.removeprefix("$ ").replace("\\\n", " ").strip(), shown))
    return found


def _printed(command: str, part: str) -> str:
    """Return the part of what a command prints that a mark asks for."""
    status = re.search(r"status (\d)", part)
    lines = run(command, int(status[1]) if status else 0).rstrip("\n").splitlines()
    for word in ("from", "until"):
        wanted = re.search(rf'{word} "([^"]+)"', part)
        if wanted:
            at = next((number for number, line in enumerate(lines) if line.lstrip().startswith(wanted[1])), None)
            assert at is not None, f"{command} prints no line that begins with {wanted[1]!r}"
            lines = [_CUT, *lines[at:]] if word == "from" else [*"\n".join(lines[:at]).rstrip().splitlines(), _CUT]
    return "".join(f"{line.rstrip()}\n" for line in lines)


def _read(text: str, into: str) -> None:
    """Read a plan, or a part of one in its place."""
    folder = Path()
    if into:
        name, *without = into.split("; without ")
        folder = Path(name).parent
        whole = Path(name).read_text(encoding="utf-8")
        for table in without:
            assert f"\n{table}\n" in whole, f"{name} has no {table}"
            whole = re.sub(rf"^{re.escape(table)}\n(?:(?!\[).*\n)*", "", whole, flags=re.MULTILINE)
        text = f"{whole}\n{text}"
    read_plan(text, folder=folder)
