"""Reading a plan: from a file, or from text, to the frozen plan or to everything that is wrong with it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from gradehaul.errors import PlanError, Problems
from gradehaul.plan.resolve.plan import resolve
from gradehaul.plan.text.faults import Faults
from gradehaul.plan.text.files import gather
from gradehaul.plan.text.toml import read_text

if TYPE_CHECKING:
    from gradehaul.plan.records import Plan


def load_plan(path: str | Path) -> Plan:
    """Return the plan in a file and in those it includes.

    Parameters
    ----------
    path
        The plan file.

    Raises
    ------
    PlanError
        The file is missing, a folder, empty, too long, no text, a drawing, or readings.
    Problems
        The text is no plan; every fault found, each with file, place and what to write instead.
    OSError
        The file is there and cannot be read.

    Examples
    --------
    >>> load_plan("plans/first-hill.toml").title
    'First hill'
    """
    file = str(path)
    path = Path(path)
    if path.suffix.lower() == ".dxf" and path.is_file():
        write = f"gradehaul import {path.name} -o PLAN.toml"
        raise PlanError("this is a drawing, not a plan", file=file, write=write)
    return read_plan(read_text(path, file), file=file, folder=path.parent)


def read_plan(
    text: str, *, file: str = "plan.toml", folder: Path | None = None, data: dict[str, Any] | None = None
) -> Plan:
    r"""Return the plan in a text.

    Parameters
    ----------
    text
        The plan as TOML.
    file
        The file's name, for messages, and for the title where the plan has none.
    folder
        Where the files that it includes stand; without one it can include none.
    data
        What TOML makes of the text, where that is known already.

    Raises
    ------
    Problems
        The text is no plan; every fault found, each with file, place and what to write instead.

    Examples
    --------
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "in"
    ... [line.Hill]
    ... from = "Yard"
    ... to = "Summit"
    ... track = [ { straight = 24, grade = "2 %" }, { left = 24, angle = 90, ease = 6 } ]
    ... ''')
    >>> [round(track.length, 3) for track in plan.lines["Hill"].tracks]
    [0.61, 1.11]
    >>> read_plan('scale = "HO"\n[line.Hill]\nfrom = "Yard"\nto = "Summit"\ntrack = [ { left = "-24 in" } ]')
    Traceback (most recent call last):
    gradehaul.errors.Problems: plan.toml:2: line "Hill", track 1: radius must be more than 0, got -24 in;
    write right = "24 in" for a right-hand curve
    """
    faults = Faults()
    try:
        tables = gather(text, file, folder, faults, data)
    except PlanError as error:
        raise Problems([error]) from error
    return resolve(tables, Path(file).stem, faults)
