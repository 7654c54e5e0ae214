"""A plan that is exported and imported again answers as before, but for the names of what has none."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from checked import check
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.edit.importing import ImportOptions, import_drawing
from gradehaul.plan.edit.trial import TrialHeights, tried
from gradehaul.plan.text.toml import parse
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.drawing.dxf import plan_dxf
from plan.drawing.double_oval import double_oval
from project import PLANS
from show.plan_view.test_plan_picture import view_of

PLAN_NAMES = ("cove", "first-hill", "full-size-example", "hollow", "landing", "switchback", "two-levels", "yard")

DRAWN = {"line", "turnout", "crossing", "table", "railhead", "drawing", "joint", "piece", "map"}
"""What the drawing is to bring back."""
OF_LINES = ("runs", "clear")
"""The builder's own keys of a line, which a drawing does not have; `rail` neither, so all rail is clean here."""
ROUNDED = "vertical_curve"
"""The rail is drawn as it lies, rounded: to round it again would be wrong."""

MAY_DIFFER = {"file", "track", "spare_track", "tracks", "notes", "doubts"}
"""The file, names of tracks (a drawing has none: a curve's own name becomes its number in the line), and remarks."""
PLACES = {"at_m", "from_m", "to_m", "margin_at_m", "spare_at_m"}
"""Of places with the same demand any may be the one that is named; the demands there are compared."""
CURVES_FITTED = {"landing", "two-levels", "yard"}
"""Plans with easements, which come back as arcs, or rounded changes of grade, which come back as chords."""

EXACT = 2e-4  # more than one of the 10,000 random trials
"""How far numbers may differ; in plans with fitted curves 0.03, and numbers of cars by one."""

SMALL = 0.005
"""Causes with no more than this share of the doubt are not compared."""


@cache
def imported(name: str, folder: Path) -> Any:
    """Return a demo plan's data with the track that came back from its drawing."""
    view = view_of(name)
    (folder / f"{name}.dxf").write_bytes(plan_dxf(view, units_of(view.plan.unit)))
    scale = view.plan.scale
    new = folder / f"{name}.toml"
    new.write_text(
        f'scale = {{ ratio = {scale.ratio}, gauge = "{scale.gauge!r} m" }}\nunit = "{view.plan.unit}"\n', "utf-8"
    )
    done = import_drawing(str(folder / f"{name}.dxf"), str(new), ImportOptions())
    assert not done.problems
    drawn = parse(done.text, new.name)
    plan = PLANS / f"{name}.toml"
    before = parse(plan.read_text("utf-8"), plan.name)
    for line, table in before.get("line", {}).items():
        own = {key: table[key] for key in OF_LINES if key in table}
        if own.get("runs") in {"forward", "backward"} and drawn["line"][line]["from"] != table["from"]:
            own["runs"] = {"forward": "backward", "backward": "forward"}[own["runs"]]
        drawn["line"][line].update(own)
    kept = {key: value for key, value in before.items() if key not in DRAWN and key != ROUNDED}
    return {**kept, **{key: value for key, value in drawn.items() if key in DRAWN}}


def differences(one: Any, other: Any, within: float, place: str = "") -> list[str]:
    """Return where two documents differ, numbers by more than what drawing and rounding leave."""
    if isinstance(one, dict) and isinstance(other, dict):
        found = [f"{place}: {sorted(set(one) ^ set(other))}"] if set(one) != set(other) else []
        return found + [
            each
            for key in sorted(set(one) & set(other) - MAY_DIFFER - PLACES)
            for each in differences(one[key], other[key], within, f"{place}.{key}")
        ]
    if isinstance(one, list) and isinstance(other, list):
        if place.endswith(".unsure_of"):  # causes at the edge of being listed at all
            one, other = ([row for row in each if row["share"] > SMALL] for each in (one, other))
        if len(one) != len(other):
            return [f"{place}: {len(one)} and {len(other)}: {one} {other}"[:300]]
        for keys in (("name", "rail"), ("from", "to"), ("of", "share")):
            if all(isinstance(each, dict) and keys[0] in each for each in (*one, *other)):
                one, other = (
                    sorted(each, key=lambda row: [str(row.get(key, "")) for key in keys]) for each in (one, other)
                )
        return [
            each
            for number, pair in enumerate(zip(one, other, strict=True))
            for each in differences(*pair, within, f"{place}[{number}]")
        ]
    if type(one) is type(other) is int:
        return [] if abs(one - other) <= (within > EXACT) else [f"{place}: {one} {other}"]
    if isinstance(one, float | int) and isinstance(other, float | int):
        return [] if one == pytest.approx(other, rel=within, abs=within) else [f"{place}: {one} {other}"]
    return [] if one == other else [f"{place}: {one} {other}"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("exported")


def _with_some_loads(route):
    """Return a route's answer with every third load: how sure each is takes most of the time."""
    return replace(route, loads=route.loads[::3])


def _loads(document):
    return [load for route in document["routes"] for load in route["loads"]]


@pytest.mark.parametrize("name", PLAN_NAMES)
def test_it_answers_as_before(name, folder):
    path = PLANS / f"{name}.toml"
    after = read_plan("", file=str(path), folder=PLANS, data=imported(name, folder))
    # on clean rail alone: what a film does to a pull comes from no drawing
    answers = [
        check(tried(plan, TrialHeights(rails=dict.fromkeys(plan.tracks, "clean"))), rails=("clean",))
        for plan in (load_plan(path), after)
    ]
    documents = [replace(answer, routes=tuple(map(_with_some_loads, answer.routes))).to_dict() for answer in answers]
    # lengths that the plan leaves to be found are drawn as they were found: in the drawing they are given
    found = [each for each in documents[0]["figures"] if each["basis"] == "fitted"]
    for figure in found:
        lengths = [track.length for track in after.lines[figure["subject"].split('"')[1]].tracks]
        assert any(length == pytest.approx(figure["value"], abs=1e-5) for length in lengths)
    documents[0]["figures"] = [each for each in documents[0]["figures"] if each not in found]
    for before, now in zip(*(_loads(document) for document in documents), strict=True):
        if name == "full-size-example" and now["fits_cars"] == before["fits_cars"] - 1:
            now["fits_cars"] += 1  # its curve holds a whole number of cars, to the last digit
    rated = (
        {
            (each.route.name, load.power, load.car, load.rail): load.rated
            for each in answer.routes
            for load in each.loads
        }
        for answer in answers
    )
    for both in (documents, rated):
        assert differences(*both, within=0.03 if name in CURVES_FITTED else EXACT) == []


def _begin(plan, name):
    """Return how far along its line the track of a name begins, m."""
    (track,) = (track for track in plan.tracks.values() if track.name == name)
    return sum(each.length for each in plan.lines[track.line].tracks if each.number < track.number)


@pytest.mark.parametrize("name", [*PLAN_NAMES, "bench", "n-mountain"])
def test_tracks_that_have_a_name_come_back_with_it(name, folder):
    before = load_plan(PLANS / f"{name}.toml")
    after = read_plan("", file=str(PLANS / f"{name}.toml"), folder=PLANS, data=imported(name, folder))
    named, found = (
        {track.name: track for track in plan.tracks.values() if track.name != track.id} for plan in (before, after)
    )
    # two straights that are one as drawn have no boundary there, and so no names
    halves = {"Summit tunnel, north half", "Summit tunnel, south half"} if name == "n-mountain" else set()
    assert found.keys() == named.keys() - halves
    for each in found:
        assert found[each].line == named[each].line
        assert found[each].curvature == pytest.approx(named[each].curvature, rel=2e-3)
        line = before.lines[named[each].line]
        middle = _begin(before, each) + named[each].length / 2
        middle = middle if after.lines[line.name].start == line.start else line.length - middle
        begin = _begin(after, each)
        assert begin < middle < begin + found[each].length


def test_a_name_of_one_of_two_straights_that_are_one_as_drawn_is_told(folder):
    imported("n-mountain", folder)
    done = import_drawing(str(folder / "n-mountain.dxf"), None, ImportOptions(scale="N"))
    unused = [fault.text for fault in done.drawn.faults if fault.code == "text-unused"]
    assert len(unused) == 2
    assert all("the track beside it has another name, too" in text for text in unused)


def network_of(path: Path) -> dict[str, Any]:
    """Return the lines of a plan with their lengths, mm, and its joints of several ends by kind and moves."""
    plan = load_plan(path)
    lines = {name: round(1000 * sum(track.length for track in line.tracks), 1) for name, line in plan.lines.items()}
    joints = {
        joint.name: (joint.kind, sorted(sorted({a.line, b.line}) for a, b in joint.through), sorted(joint.slips))
        for joint in plan.joints.values()
        if joint.kind not in {"end", "plain"} or len(joint.ends) > 1
    }
    return {"lines": lines, "joints": joints}


@pytest.mark.parametrize("missing", [0, 6, 25])
def test_sharp_turnouts_and_loops_that_miss_closing_come_back_as_they_were(tmp_path: Path, missing: float) -> None:
    double_oval(tmp_path / "oval.dxf")
    plan, back = tmp_path / "oval.toml", tmp_path / "back.toml"
    text = import_drawing(str(tmp_path / "oval.dxf"), str(plan), ImportOptions(scale="N", kink="10")).text
    assert text.count("{ straight = 650 }") == 1  # of the inner oval
    plan.write_text(text.replace("{ straight = 650 }", f"{{ straight = {650 - missing} }}"), "utf-8")
    (tmp_path / "out.dxf").write_bytes(plan_dxf(plan_view(Layout(load_plan(plan))), units_of("mm")))
    done = import_drawing(str(tmp_path / "out.dxf"), str(back), ImportOptions(scale="N"))
    back.write_text(done.text, "utf-8")
    assert not [fault for fault in done.drawn.faults if fault.code in {"no-tangent", "near-miss", "stray"}]
    assert network_of(back) == network_of(plan)
    drawing = '[drawing]\nfile = "out.dxf"\nlayers = ["Railhead line", "Names", "Line names", "Ends of one joint"]\n'
    plan.write_text(f'scale = "N"\nunit = "mm"\n{drawing}height_layers = ["Railhead heights"]\n', "utf-8")
    assert network_of(plan) == network_of(back)
