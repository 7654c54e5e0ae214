"""The files of a plan as they are on the disk: which they are, whether they changed, and what the plan says now."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from gradehaul.errors import GradehaulError, PlanError, Problems
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import decoded, read_bytes, read_text

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
