"""Included files merged into the text of a plan, so that their contents can be changed in a copy."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from gradehaul.errors import PlanError
from gradehaul.plan.edit.copied import lead_from
from gradehaul.plan.names import quoted
from gradehaul.plan.text.toml import read_text


def lines_taken_in(document: Any, path: Path, *, file: str) -> Any:  # noqa: ANN401 - tomlkit's
    """Return a plan's tables with those of each included file in which a line stands; other files stay included.

    Parameters
    ----------
    document
        The tables of the plan file.
    path
        The plan file.
    file
        What it is called in messages.

    Raises
    ------
    PlanError
        An included file whose tables cannot stand behind those of the plan.
    """
    import tomlkit

    text, taken = "", True
    while taken:
        taken = False
        for name in list(document.get("include", [])):
            inner: Any = tomlkit.parse(read_text(path.parent / str(name), str(name)))
            if not _has_lines(inner, path.parent / str(name)):
                continue
            taken = True
            lead_from(inner, path.parent / str(name), path.parent, file=str(name))
            rest = [each for each in document["include"] if each != name]
            document["include"] = [*rest, *inner.pop("include", [])]
            if "railhead" in inner and "railhead" in document:
                for joint, height in inner.pop("railhead").items():
                    document["railhead"][joint] = height
            text = f"{tomlkit.dumps(document).rstrip()}\n\n# from {name}\n\n{tomlkit.dumps(inner).lstrip()}"
            try:
                document = tomlkit.parse(text)
            except tomlkit.exceptions.TOMLKitError as error:
                raise _cannot(file, str(name)) from error
            if any(key not in document for key in inner):  # a key without a header went into the table before it
                raise _cannot(file, str(name))
            break
    if not document.get("include", ["some"]):
        del document["include"]
    return document


def _has_lines(document: Any, path: Path) -> bool:  # noqa: ANN401 - tomlkit's
    """Tell whether a line stands in an included file or in one that it includes."""
    import tomlkit

    if "line" in document:
        return True
    inner = (path.parent / str(name) for name in document.get("include", []))
    return any(_has_lines(tomlkit.parse(read_text(each, str(each))), each) for each in inner)


def _cannot(file: str, name: str) -> PlanError:
    return PlanError(
        "the tables of an included file cannot stand behind those of the plan",
        file=file,
        found=quoted(name),
        write="its tables each under a header in brackets, or the lines in the plan itself",
    )
