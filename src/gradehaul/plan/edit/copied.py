"""A copy of a plan in another folder: the files that it names are still found from there."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError
from gradehaul.plan.names import quoted
from gradehaul.plan.text.files import is_beside


def lead_from(document: Any, plan: Path, folder: Path, *, file: str) -> None:  # noqa: ANN401 - tomlkit's
    """Change the names of files in a plan's tables so that they lead to the same files from another folder.

    Parameters
    ----------
    document
        The tables of the plan file, changed in place.
    plan, folder
        The plan file, and the folder of the copy.
    file
        What the plan file is called in messages.

    Raises
    ------
    PlanError
        Files that do not stand in the folder of the copy or below it, where a plan may name no others.

    Examples
    --------
    >>> document = {"include": ["stock.toml"], "drawing": {"file": "tarn.dxf"}}
    >>> lead_from(document, Path("layouts/tarn.toml"), Path("."), file="tarn.toml")
    >>> document
    {'include': ['layouts/stock.toml'], 'drawing': {'file': 'layouts/tarn.dxf'}}
    """
    here = plan.parent.resolve()
    there = folder.resolve()
    if here == there:
        return
    lost: list[str] = []

    def led(name: str) -> str:
        if _same(here / name, there / name):
            return name
        way = Path(os.path.relpath(here / name, there)).as_posix()
        if not is_beside(way):
            lost.append(name)
        return way

    for holder, key in ((document, "include"), (document.get("bench", {}), "csv")):
        names = holder.get(key, ())
        for number, name in enumerate(list(names)):
            names[number] = led(str(name))
    drawing = document.get("drawing", {})
    if "file" in drawing:
        drawing["file"] = led(str(drawing["file"]))
    if lost:
        raise PlanError(
            "a copy in another folder would not find what the plan names: that stands beside a plan or below it",
            file=file,
            found=", ".join(map(quoted, lost)),
            write=f"-o with a name in the folder of the plan, {plan.parent}, or copy these files to {folder} first",
        )


def _same(one: Path, other: Path) -> bool:
    """Tell whether two files are there and hold the same."""
    try:
        return other.is_file() and one.read_bytes() == other.read_bytes()
    except OSError:
        return False
