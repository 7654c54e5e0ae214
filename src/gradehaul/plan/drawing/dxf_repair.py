"""The repair of a damaged DXF file in a process of its own, with a limit on its time and its memory."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gradehaul.errors import DrawingError
from gradehaul.plan.names import clean, cut

LONGEST = 60.0
"""The most seconds that a repair may take: the check of a drawing's blocks can take longer than anybody waits."""
MOST_MEMORY = 4_000_000_000
"""The most bytes of memory that a repair may take, where the system can limit it."""

_LISTED = 4


@dataclass(frozen=True, slots=True)
class Repaired:
    """A mended copy of a drawing, what was changed in it, and its unit's code as the damaged file has it."""

    path: Path
    changes: tuple[str, ...]
    unit_code: int


@contextmanager
def repaired(path: Path, file: str, *, seconds: float = LONGEST) -> Iterator[Repaired]:
    """Mend a DXF file; the copy is there while the block runs.

    Parameters
    ----------
    path
        The damaged file, which stays as it is.
    file
        Its name in messages.
    seconds
        How long it may take.

    Raises
    ------
    DrawingError
        It cannot be mended, or not without changing numbers or losing entities, or not in that time.
    """
    with tempfile.TemporaryDirectory() as folder:
        copy, report = Path(folder) / "mended.dxf", Path(folder) / "report.json"
        arguments = [str(path.absolute()), str(copy), str(report), str(int(seconds) + 1), str(MOST_MEMORY)]
        # -P: what lies in the current folder must not be imported.
        command = [sys.executable, "-P", "-m", "gradehaul.plan.drawing.dxf_mending", *arguments]
        paths = os.pathsep.join(entry for entry in sys.path if entry and Path(entry).is_absolute())
        try:
            subprocess.run(  # noqa: S603 - our own interpreter, our own module
                command,
                check=False,
                timeout=seconds,
                env={**os.environ, "PYTHONPATH": paths},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except subprocess.TimeoutExpired as error:
            raise _refused(file, f"no end after {seconds:g} s") from error
        found = _report(report, file)
        if found["trouble"]:
            raise _refused(file, found["trouble"])
        for what, names in (("changed", found["changed"]), ("lost", found["lost"])):
            if names:
                more = f" and {len(names) - _LISTED:,} more" if len(names) > _LISTED else ""
                told = ", ".join(cut(clean(str(name))) for name in names[:_LISTED]) + more
                kind = "numbers" if what == "changed" else "entities"
                raise DrawingError(
                    f"the file cannot be repaired: {kind} would be {what}",
                    file=file,
                    found=told,
                    write="it again, saved as DXF",
                )
        yield Repaired(copy, tuple(str(change) for change in found["changes"]), int(found["unit"]))


def _refused(file: str, why: str) -> DrawingError:
    return DrawingError("the file cannot be repaired", file=file, found=cut(clean(why)), write="it again, saved as DXF")


def _report(path: Path, file: str) -> Any:  # noqa: ANN401 - JSON
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise _refused(file, "no answer: it took too much time or memory") from error
