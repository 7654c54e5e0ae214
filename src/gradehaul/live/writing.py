"""Writing on request: the trial into the plan file, an edited text over it, or a copy beside it."""

from __future__ import annotations

import difflib
import re
from pathlib import Path

from gradehaul.errors import PlanError, Problems
from gradehaul.live.followed import digest_of
from gradehaul.plan.edit.trial import TrialHeights, known_part, tried, tried_text
from gradehaul.plan.names import clean, quoted
from gradehaul.plan.reader import read_plan
from gradehaul.show.base.whole_file import write_whole
from gradehaul.track.alignment import align

_BOM = b"\xef\xbb\xbf"
_KEY = r"""\s*(?:[\w-]+|"(?:[^"\\]|\\.)*"|'[^']*')\s*"""
_HEADER = re.compile(rf"\s*\[\[?{_KEY}(?:\.{_KEY})*\]\]?\s*(?:#.*)?$")
"""The header of a table of the plan, not a value that goes on over lines."""


def proposed(path: Path, trial: TrialHeights) -> tuple[str, str, str]:
    """Return the text of a plan file, the text with a trial's changes, and the digest of the file's bytes.

    Raises
    ------
    GradehaulError
        The file is no plan now, or cannot be changed so.
    OSError
        It cannot be read.
    """
    data = path.read_bytes()
    text = data.removeprefix(_BOM).decode("utf-8")
    plan = read_plan(text, file=path.name, folder=path.parent)
    trial, lost = known_part(plan, trial)
    if lost:
        raise PlanError("the plan no longer has what was changed", file=path.name, found=", ".join(map(clean, lost)))
    try:
        align(tried(plan, trial))  # what no train can be judged on is not written either
        return text, tried_text(plan, text, trial, path.parent), digest_of(data)
    except Problems as problems:
        raise problems.errors[0] from problems


def diff(before: str, after: str) -> list[str]:
    r"""Return the lines that change, each behind ``-`` or ``+``, with a line around them behind a blank.

    The header of the table that they stand in is before them, and an ellipsis where lines between are left out.

    Examples
    --------
    >>> diff("[a]\nb = 1\nc = 2\nd = 3\n", "[a]\nb = 1\nc = 2\nd = 4\n")
    [' [a]', ' ...', ' c = 2', '-d = 3', '+d = 4']
    """
    old, new = before.splitlines(), after.splitlines()
    lines: list[str] = []
    for group in difflib.SequenceMatcher(None, old, new, autojunk=False).get_grouped_opcodes(1):
        shown = [line for code, *spans in group for line in _shown(code, old, new, spans)]
        first = group[0][1]
        unchanged = next((k for k, line in enumerate(shown) if line[0] != " "), 0)
        if not any(_HEADER.match(line[1:]) for line in shown[: unchanged + 1]):
            at = next((k for k in range(first - 1, -1, -1) if _HEADER.match(old[k])), None)
            if at is not None:
                lines += [f" {old[at]}", *([" ..."] if at < first - 1 else [])]
        lines += shown
    return lines


def _shown(code: str, old: list[str], new: list[str], spans: list[int]) -> list[str]:
    """Return the lines of one piece of a difference, each behind what becomes of it."""
    first, last, new_first, new_last = spans
    if code == "equal":
        return [f" {line}" for line in old[first:last]]
    return [f"-{line}" for line in old[first:last]] + [f"+{line}" for line in new[new_first:new_last]]


def write_text(path: Path, text: str, digest: str) -> str:
    """Write a text over a plan file, whole or not at all, and return the digest of its bytes.

    The file's line ends and byte order mark are kept; `digest` is that of the file as it was read.

    Raises
    ------
    PlanError
        The file has changed since, or is gone.
    OSError
        It cannot be written; the old content stays.
    """
    try:
        before = path.read_bytes()
    except FileNotFoundError as error:
        raise PlanError("the file is gone", file=path.name, write="a copy under another name") from error
    if digest_of(before) != digest:
        raise PlanError("the file has changed since it was read: nothing was written", file=path.name)
    ends = "\r\n" if b"\r\n" in before else "\n"
    lines = text.replace("\r\n", "\n").replace("\n", ends)
    data = (_BOM if before.startswith(_BOM) else b"") + lines.encode("utf-8")
    write_whole(str(path), data)
    return digest_of(data)


def write_copy(path: Path, name: str, text: str) -> Path:
    """Write a text as a new file beside a plan.

    Raises
    ------
    PlanError
        The name is no name of a plan file in this folder, or there is such a file.
    OSError
        It cannot be written.
    """
    name = name.strip()
    name = name if name.lower().endswith(".toml") else f"{name}.toml"
    if Path(name).name != name or "\\" in name or ":" in name or not clean(name).removesuffix(".toml").strip("."):
        raise PlanError("a copy stands beside the plan", found=quoted(clean(name)), write="a name without a folder")
    target = path.with_name(name)
    if target.exists():
        raise PlanError("there is such a file already", file=name, write="another name")
    write_whole(str(target), text.encode("utf-8"))
    return target
