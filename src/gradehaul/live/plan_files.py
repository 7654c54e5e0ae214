"""The files of a plan on the disk: what they say, whether they changed, and writing them when wanted."""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from gradehaul.errors import GradehaulError, PlanError, Problems, clean, quoted
from gradehaul.haulage.answers.set_heights import tried_plan
from gradehaul.plan.edit.trial import TrialHeights, known_part, tried_text
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import decoded, read_bytes, read_text
from gradehaul.show.base.whole_file import write_whole
from gradehaul.track.alignment import align

Stamp = tuple[tuple[str, int, int, int], ...]
"""Each file with its time of change, size and number on the disk: none of these where it is not there."""

_MOST = 200
_QUOTED = re.compile(r"""(?P<quote>["'])(?P<name>(?:(?!(?P=quote)).)+)(?P=quote)""")
_KINDS = (".toml", ".csv", ".dxf")
"""The endings of files that plans name."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the files say at one moment: the text of the plan file, and the plan, or what is wrong with it.

    `digest` knows the bytes of the plan file again; it is empty where the file cannot be read.
    """

    stamp: Stamp
    text: str
    digest: str
    plan: Plan | None
    faults: tuple[GradehaulError, ...]


class Followed:
    """A plan file, by its path and its name in messages, and the files that it names."""

    def __init__(self, path: Path, name: str) -> None:
        self.path = path
        self.name = name
        self._files: tuple[Path, ...] = (path,)

    @property
    def folders(self) -> tuple[Path, ...]:
        """The folders in which its files stand, as far as they are there."""
        found = dict.fromkeys(file.parent for file in self._files)
        return tuple(folder for folder in found if folder.is_dir())

    def stamp(self) -> Stamp:
        """Return a fingerprint of the files, which changes when any of them does."""
        return tuple(_stamp(file) for file in self._files)

    def read(self) -> Reading:
        """Return what the files say now."""
        stamp = self.stamp()  # before anything is read, so that what changes meanwhile is read again
        text, digest = "", ""
        try:
            data = read_bytes(self.path, self.name)  # once: text and digest are of the same moment
            digest = digest_of(data)
            text = decoded(data, self.name)
            self._files = tuple(dict.fromkeys((self.path, *_named(text, self.path.parent))))
            stamp = (stamp[0], *(_stamp(file) for file in self._files[1:]))
            return Reading(stamp, text, digest, read_plan(text, file=self.name, folder=self.path.parent), ())
        except Problems as problems:
            return Reading(stamp, text, digest, None, problems.errors)
        except GradehaulError as error:
            return Reading(stamp, text, digest, None, (error,))
        except OSError as error:
            wrong = PlanError(f"cannot be read: {error.strerror or error}", file=self.name)
            return Reading(stamp, text, digest, None, (wrong,))


def digest_of(data: bytes) -> str:
    """Return what knows some bytes again."""
    return hashlib.sha256(data).hexdigest()


def _stamp(file: Path) -> tuple[str, int, int, int]:
    try:
        about = file.stat()
    except OSError:
        return str(file), 0, 0, 0
    return str(file), about.st_mtime_ns, about.st_size, about.st_ino


def _named(text: str, folder: Path) -> Iterator[Path]:
    """Yield the files that a plan's text names, whatever is wrong with it, and those that included plans name."""
    waiting, seen = [(text, folder)], 0
    while waiting and seen < _MOST:
        inner, beside = waiting.pop(0)
        for name in filter(is_beside, (found["name"] for found in _QUOTED.finditer(inner))):
            kind = Path(name).suffix.lower()
            if kind not in _KINDS and not _is_file(beside / name):
                continue
            seen += 1
            yield beside / name
            if kind not in _KINDS[1:]:
                with suppress(GradehaulError, OSError):
                    waiting.append((read_text(beside / name, name), (beside / name).parent))


def _is_file(path: Path) -> bool:
    """Return whether a file is there; what is too long for a name of one, as words about a plan may be, is none."""
    try:
        return path.is_file()
    except OSError:
        return False


_BOM = b"\xef\xbb\xbf"
_DEVICES = frozenset(["CON", "PRN", "AUX", "NUL", *(f"{kind}{k}" for kind in ("COM", "LPT") for k in range(10))])
"""Names that Windows keeps for devices, whatever stands behind a dot (from memory)."""


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
        changed, aside = tried_plan(plan, trial)
        align(changed)  # what no train can be judged on is not written either
        return text, tried_text(plan, text, trial, path.parent, aside), digest_of(data)
    except Problems as problems:
        raise problems.errors[0] from problems


def diff(before: str, after: str) -> list[str]:
    """Return the lines that change, each behind ``-`` or ``+``, with lines around them behind a blank, and ellipses."""
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), lineterm="")
    return [" ..." if line.startswith("@@") else line for line in islice(lines, 3, None)]


def write_text(path: Path, text: str, digest: str) -> str:
    """Write a text over a plan file, whole or not at all, and return the digest of its bytes.

    The file's line ends and byte order mark are kept; `digest` is that of the file as it was read.

    Raises
    ------
    PlanError
        The file has changed since, or is gone.
    OSError
        It cannot be written; the old content stays.
    UnicodeError
        The text is not UTF-8; the old content stays.
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
    UnicodeError
        The name or the text is not UTF-8.
    """
    name = name.strip()
    name = name if name.lower().endswith(".toml") else f"{name}.toml"
    if Path(name).name != name or "\\" in name or ":" in name or not clean(name).removesuffix(".toml").strip("."):
        raise PlanError("a copy must be beside the plan", found=quoted(clean(name)), write="a name without a folder")
    if clean(name).partition(".")[0].strip().upper() in _DEVICES:
        raise PlanError("Windows keeps this name for a device", found=quoted(clean(name)), write="another name")
    name.encode("utf-8")  # half a sign is refused before anything is written
    target = path.with_name(name)
    if target.exists():
        raise PlanError("this file already exists", file=name, write="another name")
    write_whole(str(target), text.encode("utf-8"))
    return target
