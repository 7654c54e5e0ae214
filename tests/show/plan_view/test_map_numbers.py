"""The numbers of a plan view: as text, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import math

import pytest

from gradehaul.show import MAP
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.plan_view.text import map_csv, map_page
from show.plan_view.test_plan_picture import units, view_of


def test_the_table_shows_places_curves_and_grades():
    shown = map_page(view_of("first-hill"), units(view_of("first-hill")), MAP).text()
    rows = [" ".join(line.split()) for line in shown.splitlines() if line.startswith("  Lower bend")]
    assert rows == [
        "Lower bend 37.7 in left 24.0 in 2.72 % 4.04 % -1.41 % clean",
        "Lower bend 96.0 in 0.0 in 120.0 in 24.0 in",
    ]
    assert "local, on treated fresh rail, route Uphill: stalls first at" in shown
    loop = map_page(view_of("loop"), units_of("mm"), MAP).text()
    assert "Tracks over tracks" in loop
    assert "Loop:3  Loop:1  1400 mm" in loop


@pytest.mark.parametrize("name", ["first-hill", "two-levels", "cove"])
def test_the_tables_hold_what_the_view_shows(name):
    view = view_of(name)
    rows = list(csv.DictReader(io.StringIO(map_csv(view, None))))
    document = json.loads(json.dumps(view.to_dict()))
    assert len(rows) == len(document["tracks"]) == len(view.tracks)
    for row, item, track in zip(rows, document["tracks"], view.tracks.values(), strict=True):
        assert item["id"] == track.id
        assert float(row["length_m"]) == item["length_m"] == pytest.approx(track.length, rel=1e-5)
        assert item["to_x_m"] == pytest.approx(track.xy[-1, 0], abs=1e-4)
        assert item["effective_pct"] == pytest.approx(100 * track.steepest[0], abs=1e-3)
        assert (item["radius_m"] is None) == (track.sharpest == 0)
        if item["radius_m"] is not None:
            curved = [part for part in track.sections if part.first == part.last != 0]
            assert not curved or item["radius_m"] == pytest.approx(1 / abs(curved[0].first), rel=1e-5)
    stalled = [train for train in document["trains"] if train["stall"]]
    assert [train["verdict"] for train in stalled] == ["stalls"] * len(stalled)


def test_a_loop_over_itself_is_in_the_document():
    (over,) = json.loads(json.dumps(view_of("loop").to_dict()))["overpasses"]
    assert (over["over"]["track"], over["under"]["track"]) == ("Loop:3", "Loop:1")
    assert over["angle_deg"] == pytest.approx(90)
    assert over["apart_m"] == pytest.approx(0.02 * (0.6 + 0.6 * 1.5 * math.pi + 0.6), abs=1e-6)


def test_a_cell_that_looks_like_a_formula_is_made_harmless():
    rows = list(csv.reader(io.StringIO(map_csv(view_of("odd"), None))))
    assert [row[0] for row in rows[1:]] == ["</svg><script>alert(1)</script>", "'@قطار", "'-$x^2$"]
    assert {row[1] for row in rows[1:]} == {"'=1+1"}
