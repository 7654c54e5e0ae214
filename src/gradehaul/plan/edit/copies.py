"""Copies of a plan file: its tables with comments kept, and the files that it names found from another folder."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError
from gradehaul.plan.names import quoted
from gradehaul.plan.reader import read_plan
from gradehaul.plan.records import Plan
from gradehaul.plan.text.files import is_beside
from gradehaul.plan.text.toml import read_text


def document_of(plan: Plan) -> Any:  # noqa: ANN401 - tomlkit's
    """Return the tables of a plan's file, as they are written."""
    import tomlkit

    return tomlkit.parse(read_text(Path(plan.file), plan.file))


def copy_of(document: Any, plan: Plan, folder: Path | None) -> tuple[str, Plan]:  # noqa: ANN401 - tomlkit's
    """Return the text of a plan file whose tables were changed, for a folder, and what it reads as there.

    Raises
    ------
    PlanError
        Files that a copy in another folder than the plan's would not find.
    Problems
        The changed text is no plan.
    """
    import tomlkit

    path = Path(plan.file)
    lead_from(document, path, folder or path.parent, file=plan.file)
    text = tomlkit.dumps(document)
    return text, read_plan(text, file=plan.file, folder=folder or path.parent)


def lead_from(document: Any, plan: Path, folder: Path, *, file: str) -> None:  # noqa: ANN401 - tomlkit's
    """Change the names of files in a plan's tables so that they lead to the same files from another folder.

    The tables are changed in place; `folder` is that of the copy, and `file` the name of the plan file in messages.

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
    here, there = plan.parent.resolve(), folder.resolve()
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


def lines_taken_in(document: Any, path: Path, *, file: str) -> Any:  # noqa: ANN401 - tomlkit's
    """Return a plan's tables with those of each included file in which a line stands; other files stay included.

    Raises
    ------
    PlanError
        An included file whose tables cannot stand behind those of the plan.
    """
    import tomlkit

    while name := next((str(each) for each in document.get("include", []) if _has_lines(path.parent / str(each))), ""):
        beside = path.parent / name
        inner: Any = tomlkit.parse(read_text(beside, name))
        lead_from(inner, beside, path.parent, file=name)
        rest = [each for each in document["include"] if each != name]
        document["include"] = [*rest, *inner.pop("include", [])]
        if "railhead" in inner and "railhead" in document:
            for joint, height in inner.pop("railhead").items():
                document["railhead"][joint] = height
        text = f"{tomlkit.dumps(document).rstrip()}\n\n# from {name}\n\n{tomlkit.dumps(inner).lstrip()}"
        cannot = PlanError(
            "the tables of an included file cannot stand behind those of the plan",
            file=file,
            found=quoted(name),
            write="its tables each under a header in brackets, or the lines in the plan itself",
        )
        try:
            document = tomlkit.parse(text)
        except tomlkit.exceptions.TOMLKitError as error:
            raise cannot from error
        if any(key not in document for key in inner):  # a key without a header went into the table before it
            raise cannot
    if not document.get("include", ["some"]):
        del document["include"]
    return document


def _has_lines(path: Path) -> bool:
    """Tell whether a line stands in an included file or in one that it includes."""
    import tomlkit

    document = tomlkit.parse(read_text(path, str(path)))
    return "line" in document or any(_has_lines(path.parent / str(name)) for name in document.get("include", []))
