"""A missing file, and the nearest name in its folder."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from gradehaul.plan.names import nearest

_MOST = 2000
"""Files looked through in a folder at the most."""


def near_file(path: Path, *endings: str) -> str:
    """Return the name of the file beside a missing one that is most like it; empty where none is.

    Parameters
    ----------
    path
        The file that is not there.
    endings
        What the file may end with, such as ``.toml``.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     written = Path(folder, "tarn-branch.toml").write_text("")
    ...     print(near_file(Path(folder, "tarn-branch"), ".toml"), near_file(Path(folder, "tan-brnch.toml"), ".toml"))
    tarn-branch.toml tarn-branch.toml
    """
    try:
        beside = sorted(each.name for each in islice(path.parent.iterdir(), _MOST))
    except (OSError, ValueError):  # ValueError: a NUL in the path
        return ""
    names = [name for name in beside if name.isprintable() and name.lower().endswith(endings)]
    by_stem = {Path(name).stem: name for name in names}  # endings alike would make all names alike
    near = path.name if path.name in by_stem else nearest(path.stem, by_stem)
    return "" if near is None else by_stem[near]
