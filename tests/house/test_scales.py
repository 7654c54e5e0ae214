"""The scale table: names, scales of one's own, car masses and what every row must hold."""

import dataclasses
import math
import pickle
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from gradehaul import scales
from gradehaul.errors import PlanError
from gradehaul.scales import Scale, car_mass, clear_height, known_scales, own_scale, scale_named, track_centers

ALL = [scale_named(name) for name in known_scales()]
TABLE = tomllib.loads(Path(scales.__file__).with_name("scales.toml").read_text(encoding="utf-8"))


def test_every_name_and_alias_finds_its_own_scale():
    for scale in ALL:
        for spelling in (scale.name, *scale.aliases):
            for written in (spelling, spelling.lower(), f" {spelling} ", f"{spelling} scale", f"{spelling}-gauge"):
                assert scale_named(written) is scale


def test_no_spelling_belongs_to_two_scales():
    spellings = [spelling.casefold() for scale in ALL for spelling in (scale.name, *scale.aliases)]
    assert len(set(spellings)) == len(spellings)


@pytest.mark.parametrize(
    ("letter", "numeral", "ratios"), [("HO", "H0", (87.1, 87)), ("ho", "h0", (87.1, 87)), ("O", "0", (48, 45))]
)
def test_letter_o_and_numeral_zero_are_two_scales(letter, numeral, ratios):
    assert (scale_named(letter).ratio, scale_named(numeral).ratio) == ratios


@pytest.mark.parametrize(
    ("written", "nearest"),
    [("HOn2", "HOn3"), ("H00", "H0"), ("nn", "N"), ("ttt", "TT"), ("Hon-3", "HOn3"), ("iii", "II")],
)
def test_unknown_scale_names_the_nearest(written, nearest):
    with pytest.raises(PlanError) as caught:
        scale_named(written)
    error = caught.value
    assert (error.file, error.place) == ("", "")
    assert error.found == f'"{written}"'
    assert error.write.startswith(f'scale = "{nearest}", one of Z, ')


@pytest.mark.parametrize("written", ["", "   ", "?", "1:87", "H" * 1_000_000], ids=lambda text: text[:9])
def test_a_name_like_no_scale_gets_the_whole_list_and_the_other_way(written):
    with pytest.raises(PlanError, match="no such scale") as caught:
        scale_named(written)
    assert all(name in caught.value.write for name in known_scales())
    assert "ratio = 87.1" in caught.value.write
    assert len(str(caught.value)) < 400


@pytest.mark.parametrize("written", ["G", "g", "G scale", "g-gauge"])
def test_g_says_that_it_has_no_single_ratio(written):
    with pytest.raises(PlanError, match="no single ratio") as caught:
        scale_named(written)
    assert 'scale = { ratio = 22.5, gauge = "45 mm" }' in caught.value.write
    assert own_scale(22.5, 0.045).name == "1:22.5"


@pytest.mark.parametrize("scale", ALL, ids=known_scales())
def test_every_row_is_sound(scale):
    assert 6 < scale.gauge * 1000 < 65
    full_size_gauge = scale.ratio * scale.gauge
    assert full_size_gauge == pytest.approx(0.9144, rel=0.01) or 1.25 < full_size_gauge < 1.7
    assert scale.gauge < scale.stock_width < scale.fouling_distance < 2 * scale.stock_width
    assert scale.stock_width < scale.clear_height < scale.wire_height
    assert scale.clear_height < scale.nmra_clear_height
    # Full-size meaning: stock 2.5 to 3.75 m wide, and some room beside it.
    assert 2.5 < scale.stock_width * scale.ratio < 3.75
    assert 0.25 < scale.side_clearance * scale.ratio < 0.75
    assert scale.nmra_weight is None or scale.nmra_weight[1] * 0.1 > 0.001
    assert pickle.loads(pickle.dumps(scale)) == scale
    hash(scale)


@pytest.mark.parametrize("practice", ["NMRA", "NEM"])
def test_published_track_centers_hardly_foul(practice):
    for scale in ALL:
        centers, source = track_centers(scale, practice)
        # by the ratio Z and OO come a hair nearer than stock of theirs clears, and the greater holds
        assert 0.9 * scale.fouling_distance < centers < 1.4 * scale.fouling_distance
        assert source


def test_a_scale_made_by_hand_has_the_centers_at_which_stock_clears():
    by_hand = Scale("1:50", 50, 0.0287, stock_width=0.06, side_clearance=0.01)
    assert track_centers(by_hand, "NEM") == (by_hand.fouling_distance, "")


@pytest.mark.parametrize("scale", ALL, ids=known_scales())
def test_every_figure_names_a_source(scale):
    figures = [
        field
        for field in (each.name for each in dataclasses.fields(Scale))
        if field not in {"name", "aliases", "sources"} and getattr(scale, field) is not None
    ]
    for field in figures:
        assert scale.source(field), field
    assert {field for field, _ in scale.sources} == set(figures)
    assert scale.source("no such field") == ""


def test_every_source_is_used_and_every_key_of_a_row_is_read():
    keys = {"aliases", "nem_111", "clear_width", *(each.name for each in dataclasses.fields(Scale))}
    used = {TABLE["least_radius"]["source"]}
    for row in (TABLE["full_size"], *TABLE["scale"].values()):
        assert set(row) <= keys
        used |= {figure["source"] for figure in row.values() if isinstance(figure, dict)}
    assert used == set(TABLE["source"])


@pytest.mark.parametrize(("ratio", "gauge"), [(1, 1.435), (22.5, 0.045), (87.1, 0.0165), (450, 0.003)])
def test_own_scale_is_full_size_over_the_ratio(ratio, gauge):
    own, full = own_scale(ratio, gauge), own_scale(1, 1.435)
    assert own.name == f"1:{ratio:g}"
    assert (own.ratio, own.gauge) == (ratio, gauge)
    for field in ("clear_height", "wire_height", "nmra_clear_height", "stock_width", "side_clearance"):
        assert getattr(own, field) * ratio == pytest.approx(getattr(full, field))
        assert own.source(field)
    assert own.nmra_weight is own.nem_weight is own.permitted_radii is own.buffer_radii is None


def test_own_scale_agrees_with_the_table_within_the_practices_roundings():
    for scale in ALL:
        if scale.ratio * scale.gauge > 1.25:
            own = own_scale(scale.ratio, scale.gauge)
            assert own.clear_height == pytest.approx(scale.clear_height, rel=0.07)
            assert own.fouling_distance == pytest.approx(scale.fouling_distance, rel=0.07)


REFUSED = [
    *((ratio, 0.0165, "ratio must be 1 or more") for ratio in (0, 0.01148, -87.1, math.nan, math.inf)),
    *((87.1, gauge, "gauge must be wider than 0") for gauge in (0, -0.0165, math.nan, math.inf)),
    (87.1, 16.5 * 0.0254, r"no railway has a gauge of 36\.5 m"),
]


@pytest.mark.parametrize(("ratio", "gauge", "words"), REFUSED)
def test_own_scale_refuses_what_is_no_railway(ratio, gauge, words):
    with pytest.raises(PlanError, match=words):
        own_scale(ratio, gauge)


@pytest.mark.parametrize(
    ("name", "practice", "other"),
    [("Z", "NMRA", "NEM"), ("I", "NMRA", "NEM"), ("O", "NEM", "NMRA"), ("HOn3", "NEM", "NMRA")],
)
def test_a_practice_without_a_weight_points_to_the_other(name, practice, other):
    with pytest.raises(PlanError, match=f"{practice} has no weight for cars in {name}") as caught:
        car_mass(scale_named(name), 0.15, practice)
    assert caught.value.write.startswith('mass = "')
    assert f'practice = "{other}"' in caught.value.write
    assert car_mass(scale_named(name), 0.15, other) > 0


@pytest.mark.parametrize("practice", ["NMRA", "NEM"])
@pytest.mark.parametrize("scale", [own_scale(22.5, 0.045), scale_named("OO")], ids=["own", "OO"])
def test_without_any_weight_only_a_mass_helps(scale, practice):
    with pytest.raises(PlanError, match="has no weight for cars") as caught:
        car_mass(scale, 0.15, practice)
    assert caught.value.write.startswith('mass = "')
    assert "practice" not in caught.value.write


@pytest.mark.parametrize("length", [0, -0.1, math.nan, math.inf])
def test_car_mass_refuses_a_length_that_is_none(length):
    with pytest.raises(PlanError, match="length must be more than 0"):
        car_mass(scale_named("HO"), length, "NMRA")


def test_clear_height_follows_the_practice_and_falls_back_on_the_other():
    scale = scale_named("N")
    assert clear_height(scale, "NEM") == scale.clear_height
    assert clear_height(scale, "NMRA") == scale.nmra_clear_height
    by_hand = Scale("1:50", 50, 0.0287, clear_height=0.1)
    assert clear_height(by_hand, "NMRA") == clear_height(by_hand, "NEM") == 0.1
    with pytest.raises(PlanError, match="no practice has a clear height for 1:50"):
        clear_height(Scale("1:50", 50, 0.0287), "NEM")


def test_the_table_is_read_at_the_first_use_not_at_import():
    code = (
        "import sys, gradehaul.scales as s; "
        "assert 'tomllib' not in sys.modules and not s._table.cache_info().currsize; "
        "assert s.scale_named('n') is s.scale_named('N'); assert s._table.cache_info().misses == 1; "
        "assert not {'pint', 'numpy', 'pydantic'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
