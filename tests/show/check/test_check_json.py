import json
import tomllib

import pytest

from gradehaul.quantities.document import json_text, rounded
from project import ROOT


def test_keys_are_lower_case_with_known_suffixes(answer):
    def keys(value):
        if isinstance(value, dict):
            for key, inner in value.items():
                if key not in ("cars_fit", "cars_stay"):  # whose keys are names of cars
                    yield key
                    yield from keys(inner)
        elif isinstance(value, list):
            for inner in value:
                yield from keys(inner)

    assert all(key == key.lower() and key.isidentifier() for key in keys(answer.to_dict()) if key != "from")


def test_the_route_shows_what_was_answered(answer):
    route = answer.to_dict()["routes"][0]
    shown = answer.routes[0]
    assert (route["name"], route["from"], route["to"], route["lap"]) == ("Up ore", "Wharf", "Summit", False)
    assert route["length_m"] == pytest.approx(shown.profile.length, rel=1e-5)
    assert route["climb_m"] == pytest.approx(shown.profile.climb, rel=1e-5)
    assert route["tracks"] == ["Main:1", "Hill:1", "Horseshoe", "Hill:3"]
    ruling = route["ruling"]
    assert ruling["effective_pct"] == pytest.approx(100 * shown.ruling.effective, rel=1e-5)
    assert ruling["effective_pct"] == pytest.approx(ruling["grade_pct"] + ruling["curve_pct"], rel=1e-5)
    assert ruling["track"] == "Horseshoe"
    assert [u["train_length_m"] for u in route["ruling_under_train"]] == pytest.approx([46.5 * 0.0254, 13.5 * 0.0254])


def test_there_is_a_load_for_every_power_car_and_rail(answer):
    route = answer.to_dict()["routes"][1]
    assert [(load["power"], load["car"], load["rail"]) for load in route["loads"]] == [
        ("mogul", "ore", rail) for rail in ("clean", "treated", "treated fresh")
    ]
    for load, shown in zip(route["loads"], answer.routes[1].loads, strict=True):
        assert (load["rated_cars"], load["limit_cars"], load["fits_cars"]) == (shown.rated, shown.limit, shown.fits)
        assert load["told_cars"] == min(shown.rated, shown.fits)
        assert load["fits_by"] == 'berth "Quarry loading"'
        assert load["binds"]["demand_n"] > load["binds"]["pull_n"]
    assert [load["basis"] for load in route["loads"]] == ["measured", "scaled", "scaled"]


def test_there_is_a_row_for_every_train_and_rail(answer):
    trains = answer.to_dict()["trains"]
    assert [(train["name"], train["rail"]) for train in trains] == [
        (name, rail) for name in ("morning", "short") for rail in ("clean", "treated", "treated fresh")
    ]
    for train, shown in zip(trains, answer.trains, strict=True):
        verdict = shown.verdict
        assert (train["verdict"], train["holds_back"]) == (verdict.outcome, verdict.holds_back)
        assert train["margin_n"] == pytest.approx(verdict.margin, rel=1e-5)
        assert train["no_stopping_m"] == [pytest.approx([s.start, s.stop], rel=1e-5) for s in verdict.no_stopping]
        assert train["no_recovery_m"] == [pytest.approx([s.start, s.stop], rel=1e-5) for s in verdict.no_recovery]


def test_the_berth_shows_what_fits_and_stays(answer):
    (berth,) = answer.to_dict()["berths"]
    assert berth["name"] == "Quarry loading"
    assert berth["steepest_pct"] == pytest.approx(3.0)
    assert berth["cars_fit"] == dict(answer.berths[0].cars_fit)
    assert berth["cars_stay"] == {"ore": False}  # 0.4 × 2.2 % holds on 0.88 % at most


def test_without_stock_the_routes_are_shown(undeclared_answer):
    document = undeclared_answer.to_dict()
    assert document["trains"] == []
    assert document["routes"]
    assert all(route["loads"] == [] for route in document["routes"])
    assert all(between["routes"] >= 1 for between in document["between"])


def test_odd_names_come_back_whole(odd_answer):
    text = json_text(odd_answer.to_dict())
    assert text.isascii()
    document = json.loads(text)
    assert document["plan"] == "[red]x[/]"
    assert document["routes"][0]["to"] == "מחצבה"
    assert document["routes"][0]["tracks"] == ["🚂 :smile:"]


def test_the_release_is_that_of_the_project(answer):
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert answer.to_dict()["gradehaul"] == project["version"]


def test_how_sure_each_verdict_and_load_is(answer):
    document = answer.to_dict()
    for shown, train in zip(document["trains"], answer.trains, strict=True):
        assert shown["stall_probability"] == rounded(train.trust.stall_probability)
        assert (
            shown["risk"]
            == rounded(1.0 if train.misfits else train.trust.fail_probability)
            >= shown["stall_probability"]
        )
        assert shown["margin_low_n"] < shown["margin_n"] < shown["margin_high_n"]
        assert shown["draws"] == 10_000
        assert shown["measure_next"] == train.trust.next_measurement.measure
        assert [cause["of"] for cause in shown["unsure_of"]] == [cause.what for cause in train.trust.causes]
    for route, shown in zip(answer.routes, document["routes"], strict=True):
        for spread, load in zip(route.spreads, shown["loads"], strict=True):
            assert (load["rated_low"], load["rated_high"]) == (spread.rated_low, spread.rated_high)
            assert (load["limit_low"], load["limit_high"]) == (spread.limit_low, spread.limit_high)
            assert load["rated_low"] <= load["rated_cars"] <= load["rated_high"]
            assert load["told_low"] <= load["told_cars"] <= load["told_high"] <= load["fits_cars"]
