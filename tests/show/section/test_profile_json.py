"""The numbers along a route as a program takes them."""

import json

import numpy as np
import pytest

from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.section import long_section
from gradehaul.plan import load_plan
from gradehaul.quantities.document import json_text
from gradehaul.track.piecewise import PiecewiseQuadratic
from project import PLANS

PLAN = PLANS / "two-levels.toml"
RAILS = ("clean", "as planned", "as planned fresh")


@pytest.fixture(scope="module")
def section():
    return long_section(Layout(load_plan(PLAN)), "Up by the siding", rails=RAILS)


@pytest.fixture(scope="module")
def document(section):
    text = json_text(section.to_dict())
    assert text.isascii()
    return json.loads(text)


def function(shown):
    return PiecewiseQuadratic(
        *(np.array(shown[key]) for key in ("breaks_m", "values_n", "slopes_n_per_m", "seconds_n_per_m2"))
    )


def test_stretches(section, document):
    assert (document["route"], document["from"], document["to"]) == (
        "Up by the siding",
        "Lower staging",
        "Terminus platform",
    )
    for kind in ("elements", "grades", "curves", "tracks"):
        ends = [(each["from_m"], each["to_m"]) for each in document[kind]]
        assert ends == [pytest.approx((each.start, each.stop), rel=1e-5) for each in getattr(section, kind)]
    assert sum(each["rise_m"] for each in document["grades"]) == pytest.approx(0.376, abs=1e-5)
    assert {each["name"]: each["kind"] for each in document["joints"]}["East switch"] == "turnout"
    assert {each["berth"] for each in document["tracks"]} == {
        None,
        "Lower staging",
        "Passing siding",
        "Terminus platform",
    }


def test_functions_can_be_built_again(section, document):
    train = document["train"]
    assert train["name"] == "stone"
    haul = section.haul
    places = np.linspace(haul.running.start, haul.running.stop, 99)[1:-1]
    assert function(train["running_n"]).at(places) == pytest.approx(haul.running.at(places), rel=1e-3)
    assert [rail["rail"] for rail in train["rails"]] == list(RAILS)
    clean = function(train["rails"][0]["standing_n"])
    assert clean.at(places) == pytest.approx(haul.given[0].standing.at(places), rel=1e-5)


def test_verdicts(section, document):
    for shown, given in zip(document["train"]["rails"], section.haul.given, strict=True):
        assert (shown["outcome"], shown["verdict"]) == (given.outcome, given.verdict.climb)
        assert shown["margin_n"] == pytest.approx(given.verdict.margin, rel=1e-5)
        assert shown["stalling_m"] == []
