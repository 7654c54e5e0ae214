"""What the page calculates with: every digit is there, and it is what the package calculates with."""

from __future__ import annotations

import json

import numpy as np
import pytest

from gradehaul.haulage.answers.judged import judged_trains
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.views.plan_view import plan_view
from gradehaul.plan import read_plan
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.report.assets import json_in_html
from gradehaul.show.report.document import plan_view_document, report_document
from show.conftest import PLAN


@pytest.fixture(scope="module")
def layout() -> Layout:
    return Layout(read_plan(PLAN))


@pytest.fixture(scope="module")
def document(layout):
    page = report_document(layout, judged_trains(layout), layout.judged(), UnitFormat("in", "imperial"))
    return json.loads(json.dumps(page))


def test_profiles_have_all_their_digits(layout, document):
    assert [route["name"] for route in document["routes"]] == [route.name for route in layout.routes]
    for route in document["routes"]:
        profile = layout.profile(route["name"])
        for key in ("breaks", "values", "slopes", "seconds"):
            assert route["compensated"][key] == getattr(profile.compensated, key).tolist()
        assert route["railhead"]["values"] == profile.railhead.values.tolist()
        assert route["starts"] == profile.starts.tolist()
        assert len(route["rails"]) == len(route["tracks"]) == len(route["starts"]) - 1


def test_stock_has_every_pull(layout, document):
    (loco,) = document["stock"]["locos"]
    for rail in layout.rails:
        shown = loco["pulls"][rail]
        assert shown["standing_n"] == layout.pulls.standing(layout.plan.locos["mogul"], rail).value
        assert shown["slipping_n"] == layout.pulls.slipping(layout.plan.locos["mogul"], rail).value
    (car,) = document["stock"]["cars"]
    own = layout.plan.cars["ore"]
    assert (car["mass_kg"], car["length_m"]) == (own.mass, own.length)
    assert (car["rolling"], car["starting"]) == (own.rolling.value, own.starting.value)


def test_places_that_must_hold_a_train(layout, document):
    rooms = {route["name"]: route["rooms"] for route in document["routes"]}
    (whole,) = rooms["Up ore"]
    assert whole == {"name": "the route", "length_m": pytest.approx(layout.profile("Up ore").length)}
    (room,) = rooms["To quarry"]
    assert room["name"] == 'berth "Quarry loading"'
    assert room["length_m"] == layout.clear["Quarry loading"].length


def test_the_plan_view_is_that_of_the_package(layout):
    view = plan_view(layout)
    shown = plan_view_document(view)
    by_id = {track["id"]: track for track in shown["tracks"]}
    assert list(by_id) == list(view.tracks)
    for name, track in by_id.items():
        assert np.reshape(track["xy_m"], (-1, 2)) == pytest.approx(view.tracks[name].xy, abs=1e-4)
        assert track["at_m"] == pytest.approx(view.tracks[name].distance, abs=1e-4)
        assert len(track["at_m"]) == len(track["shades"]) + 1 == len(track["climbs"]) + 1
    # 2 % and the curve of 24 in, 1.32 %; then 1 %, which is the most of its class; then level
    assert set(by_id["Hill:2"]["shades"]) == {4}
    assert set(by_id["Hill:3"]["shades"]) == {1}
    assert set(by_id["Main:1"]["shades"]) == {0}
    assert (set(by_id["Main:1"]["climbs"]), set(by_id["Hill:1"]["climbs"])) == ({0}, {1})
    assert [joint["name"] for joint in shown["joints"]] == [joint.name for joint in view.joints]


def test_nothing_in_the_data_can_end_it():
    text = str(json_in_html({"</script>": "<!-- & \u2028"}))
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == {"</script>": "<!-- & \u2028"}
