"""The public interface: its names, spelled; and what each function promises in its docstring, held to its signature."""

from __future__ import annotations

import inspect
import json
import re
from typing import Any

import pytest
from networkx import DiGraph

import gradehaul
from gradehaul.quantities.document import AnswerRecord, Documented
from project import PLANS

NAMES = [
    "CheckAnswer",
    "Clearances",
    "DesignError",
    "DrawingError",
    "GradehaulError",
    "HelixAnswer",
    "Imported",
    "InclineAnswer",
    "KeepCleanPlan",
    "Layout",
    "Leveled",
    "Load",
    "PiecewiseQuadratic",
    "Plan",
    "PlanError",
    "Problems",
    "QuantityError",
    "ReadingsAnswer",
    "Route",
    "RouteError",
    "RouteProfile",
    "TrialAnswer",
    "Verdict",
    "Way",
    "helix",
    "import_drawing",
    "incline",
    "load_plan",
    "read_plan",
    "readings",
]
OF_LAYOUT = [
    "check",
    "clearances",
    "keep_clean",
    "level",
    "longest_train",
    "plot_section",
    "profile",
    "route",
    "routes",
    "try_train",
    "verdict",
    "alignment",
    "clear",
    "coefficient",
    "curves",
    "graph",
    "plan",
    "rails",
]
CALLED = {
    **{name: getattr(gradehaul, name) for name in NAMES if name.islower()},
    "Layout": gradehaul.Layout,
    **{
        f"Layout.{name}": getattr(gradehaul.Layout, name)
        for name in OF_LAYOUT
        if inspect.isfunction(getattr(gradehaul.Layout, name, None))
    },
}


def test_the_names_are_these() -> None:
    assert gradehaul.__all__ == NAMES
    assert set(NAMES) <= set(dir(gradehaul))
    for name in NAMES:
        assert getattr(gradehaul, name).__module__.startswith("gradehaul.")
    with pytest.raises(AttributeError, match="no attribute 'Laayout'"):
        _ = gradehaul.Laayout


def test_a_layout_has_these() -> None:
    layout = gradehaul.Layout(gradehaul.load_plan(PLANS / "first-hill.toml"))
    assert [name for name in OF_LAYOUT if not hasattr(layout, name)] == []
    assert isinstance(layout.graph, DiGraph)
    assert set(layout.graph) == set(layout.movements.lengths)


@pytest.mark.parametrize("name", CALLED)
def test_a_docstring_keeps_to_the_signature(name: str) -> None:
    """Every parameter, its unit where it is a length or a force, the errors, the source, and an example that runs."""
    text = inspect.getdoc(CALLED[name]) or ""
    sections = dict(re.findall(r"^(\w+)\n-+\n(.*?)(?=^\w+\n-+\n|\Z)", text, re.DOTALL | re.MULTILINE))
    parameters = [each for each in inspect.signature(CALLED[name]).parameters.values() if each.name != "self"]
    documented = re.findall(r"^(\w[\w, ]*)$", sections.get("Parameters", ""), re.MULTILINE)
    assert [one for line in documented for one in line.split(", ")] == [each.name for each in parameters]
    assert sections["Raises"].strip()
    assert ">>> " in sections["Examples"]
    options = [each for each in parameters if each.default is not inspect.Parameter.empty]
    named = [each for each in options if each.name not in ("route", "text", "file", "folder")]
    assert all(each.kind is inspect.Parameter.KEYWORD_ONLY for each in named), "options are keyword-only"


@pytest.mark.parametrize(
    "name", [name for name in CALLED if name.startswith(("Layout.", "helix", "incline")) and name != "Layout.route"]
)
def test_a_calculation_names_its_source(name: str) -> None:
    assert "\nNotes\n-----\n" in (inspect.getdoc(CALLED[name]) or "")


def test_every_answer_has_its_document() -> None:
    plan = gradehaul.load_plan(PLANS / "first-hill.toml")
    layout = gradehaul.Layout(plan)
    answers: list[Any] = [
        layout.check(),
        layout.keep_clean(),
        layout.level(),
        layout.clearances(),
        layout.try_train("Uphill", ["switcher", "4 boxcar"]),
        layout.verdict("local"),
        layout.longest_train("Uphill", "switcher", "boxcar"),
        gradehaul.readings(plan),
        gradehaul.helix(plan, radius=0.762, rise_per_turn=0.127, turns=3),
        gradehaul.incline(plan, rise=0.1, length=5.0),
        gradehaul.import_drawing(PLANS / "cove.dxf", scale="HO"),
    ]
    for answer in answers:
        assert isinstance(answer, Documented)
        document = answer.to_dict()
        assert json.loads(json.dumps(document, allow_nan=False)) == document, type(answer)
        assert ("gradehaul" in document) is isinstance(answer, AnswerRecord)
    assert answers[0].to_dict()["ways_over"] == []
