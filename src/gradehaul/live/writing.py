"""Writing on request: the trial into the plan file, an edited text over it, or a copy beside it."""

from __future__ import annotations

import difflib
from pathlib import Path

from gradehaul.errors import PlanError, Problems
from gradehaul.live.followed import digest_of
from gradehaul.plan.edit.trial import Trial, known_part, tried, tried_text
from gradehaul.plan.names import clean, quoted
from gradehaul.plan.reader import read_plan
from gradehaul.show.base.whole_file import write_whole
from gradehaul.track.alignment import align

_BOM = b"\xef\xbb\xbf"
_CHANGED = "the file has changed since it was read"


def proposed(path: Path, trial: Trial) -> tuple[str, str, str]:
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

    Examples
    --------
    >>> diff("a\nb\nc\nd\n", "a\nb\nX\nd\n")
    [' b', '-c', '+X', ' d']
    """
    lines = list(difflib.unified_diff(before.splitlines(), after.splitlines(), n=1, lineterm=""))
    return [line for line in lines[2:] if not line.startswith("@@")]


def write_text(path: Path, text: str, digest: str) -> str:
    """Write a text over a plan file, whole or not at all, and return the digest of its bytes.

    The file's line ends and byte order mark are kept.

    Parameters
    ----------
    path
        The plan file.
    text
        What to write.
    digest
        That of the file as it was read.

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
        raise PlanError(f"{_CHANGED}: nothing was written", file=path.name)
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
