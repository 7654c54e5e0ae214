"""The pages that live serves: that of a plan, and a start page with the plans of a folder, a new one, or a drawing."""

from __future__ import annotations

import re
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

from gradehaul.errors import GradehaulError, PlanError, Problems, clean, quoted
from gradehaul.haulage.answers.judged import worst_of_each
from gradehaul.live.answers import stated
from gradehaul.live.plan_files import write_copy
from gradehaul.plan import load_plan
from gradehaul.scales import known_scales
from gradehaul.show.base.page import words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import judged_on, sentence
from gradehaul.show.report.assets import SHARED, asset, policy, script_of, template, trusted
from gradehaul.show.report.page import TRAIN_KEY, shades

_ROOM = "gradehaul.live"

_OWN = ("connect-src 'self'", "frame-ancestors 'none'")

_MOST_PLANS = 200
_SCALE = re.compile(rb"^\s*(?:scale\s*[.=]|\[scale\])", re.MULTILINE)
_OPTION = re.compile(r"[;:] [^;:]*--[a-z].*")
"""Where a message goes on with an option of the command, which the page does not have."""


def _page(name: str, **values: object) -> tuple[str, str]:
    """Return a page as HTML, with its own scripts behind the shared ones, and its content policy."""
    shared = SHARED if name == "live" else ()
    style = asset("page.css") + asset("live.css", _ROOM)
    script = script_of((*shared, "request.js", f"{name}.js"), _ROOM)
    rules = policy(style, script, *_OWN)
    own = rules.partition("; frame-ancestors")[0]
    page = template(f"{name}.html", _ROOM)
    return page.render(style=trusted(style), script=trusted(script), policy=own, **values), rules


def live_page(plan: str) -> tuple[str, str]:
    """Return the page of a plan as HTML, and its content policy."""
    return _page("live", plan=plan, train_key=TRAIN_KEY, shades=shades(UnitFormat("in", "imperial")))


def plans_in(folder: Path) -> list[str]:
    """Return the names of the plan files in a folder, by name; files without a scale are none."""
    try:
        found = sorted(path for path in folder.glob("*.toml") if path.is_file())
    except OSError:
        return []
    return [path.name for path in found[:_MOST_PLANS] if _is_plan(path)]


def _is_plan(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            text = file.read(1_000_000)
    except OSError:
        return False
    return _SCALE.search(text) is not None


def headline(path: Path) -> str:
    """Return in a sentence how the trains of a plan do, or what is wrong with it."""
    try:
        plan = load_plan(path)
        trains = worst_of_each(stated(plan).judged)
    except GradehaulError as error:
        first = str(error).splitlines()[0]
        return clean(first.replace(str(path), path.name))
    except OSError as error:
        return f"cannot be read: {error.strerror or error}"
    if not trains:
        return f"{plan.title}: no train"
    words = sentence(trains, len(trains), judged_on({train.rail for train in trains}))
    return f"{plan.title}: {''.join(map(words_of, words))}"


def start_page(folder: Path) -> tuple[str, str]:
    """Return the start page of a folder as HTML, and its content policy."""
    return _page(
        "start",
        folder=clean(folder.name),
        plans=plans_in(folder),
        scales=known_scales(),
        layouts=("hill", "helix", "branch"),
        units=("in", "ft", "mm", "cm", "m"),
    )


def begun(folder: Path, *, name: str, layout: str, scale: str, unit: str) -> str:
    """Write a new plan to a folder and return its name.

    Raises
    ------
    PlanError
        The name is no name of a new plan, or there is no such layout, scale or unit.
    OSError
        It cannot be written.
    """
    from gradehaul.design.starter import starter

    title = name.strip().removesuffix(".toml").replace("-", " ").replace("_", " ").strip().capitalize()
    text = starter(layout, scale=scale, unit=unit, title=title or "My layout")
    return write_copy(folder / "plan.toml", name, text).name


def drawn(folder: Path, data: bytes, *, name: str, scale: str) -> dict[str, Any]:
    """Write a plan from a drawing that was dropped, with the drawing read once, and return its name and its report.

    Raises
    ------
    GradehaulError
        The drawing cannot be used, or the name is no name of a new plan.
    OSError
        The plan cannot be written.
    """
    from gradehaul.plan.edit.importing import ImportOptions, import_drawing
    from gradehaul.show.drawing.import_text import import_page
    from gradehaul.track.alignment import first_look

    stem = Path(name).stem
    if (folder / f"{stem}.toml").exists():
        raise PlanError("this plan already exists", found=quoted(clean(f"{stem}.toml")), write="another name")
    with tempfile.TemporaryDirectory() as beside:
        drawing = Path(beside) / f"{clean(stem).replace('/', '').replace('.', '') or 'drawing'}.dxf"
        drawing.write_bytes(data)
        try:
            imported = import_drawing(str(drawing), None, ImportOptions(scale=scale))
        except Problems as problems:
            raise Problems([_of_file(error, str(drawing), name) for error in problems.errors]) from problems
        except GradehaulError as error:
            raise _of_file(error, str(drawing), name) from error
    faults = tuple(replace(each, text=_OPTION.sub("", each.text)) for each in imported.drawn.faults)
    imported = replace(imported, drawn=replace(imported.drawn, file=name, faults=faults))
    written = write_copy(folder / "plan.toml", stem, imported.text).name
    page = import_page(imported, written, ("faults", "layers"), look=first_look(imported.plan), offer=False)
    return {"name": written, "report": page.text()}


def _of_file(error: GradehaulError, path: str, name: str) -> GradehaulError:
    """Return an error about a file by its own name, without the options of a command as a cure."""
    wrong, file, found = (text.replace(path, name) for text in (error.wrong, error.file, error.found))
    write = "" if "--" in error.write else error.write
    place = "" if error.place.startswith("--") else error.place
    return type(error)(_OPTION.sub("", wrong), file=file, place=place, found=found, write=write)
