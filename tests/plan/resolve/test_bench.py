"""The book of readings: what is read of it, from tables and from files that a spreadsheet saved."""

import pytest

from gradehaul.errors import Problems
from gradehaul.plan import load_plan, read_plan
from gradehaul.plan.bench_records import Book

PLAN = """
scale = "HO"
unit = "in"
[line.Main]
from = "Wharf"
to = "Summit"
track = [ { straight = 30 } ]
[loco.goat]
mass = "260 g"
length = 8
[loco.mule]
mass = "300 g"
length = 9
[car.ore]
length = 5
[route.Up]
from = "Wharf"
to = "Summit"
"""
GF = 9.80665e-3


def book(more: str) -> Book:
    return read_plan(PLAN + more).book


def from_csv(tmp_path, text: str, bench: str = "", *, encoding: str = "utf-8") -> Book:
    (tmp_path / "bench.csv").write_bytes(text.encode(encoding))
    (tmp_path / "tarn.toml").write_text(PLAN + f'[bench]\ncsv = ["bench.csv"]\n{bench}', encoding="utf-8")
    return load_plan(tmp_path / "tarn.toml").book


def refused(tmp_path, text: str, bench: str = "") -> str:
    with pytest.raises(Problems) as caught:
        from_csv(tmp_path, text, bench)
    return str(caught.value).replace(f"{tmp_path}/", "")


def test_a_plan_without_a_bench_has_an_empty_book():
    assert book("").empty


def test_readings_of_a_locomotive():
    found = book(
        '[[reading]]\nloco = "goat"\nrail = "treated"\nhours = 24\nforce = ["50 gf", "0.5 N"]\nstate = "slipping"\n'
        'grade = "2 %"\nradius = 20\n[[reading]]\nloco = "goat"\nforce = "80 ± 2 gf"\n'
    )
    slipping, standing = found.pulls
    assert [force.value for force in slipping.forces] == pytest.approx([50 * GF, 0.5])
    assert (slipping.loco, slipping.rail, slipping.hours, slipping.state) == ("goat", "treated", 24, "slipping")
    assert (slipping.grade, slipping.curvature) == pytest.approx((0.02, 1 / 0.508))
    assert (standing.rail, standing.hours, standing.state, standing.grade, standing.curvature) == (
        "clean",
        None,
        "standing",
        0,
        0,
    )
    assert standing.forces[0].spread == pytest.approx(2 * GF)
    assert not found.empty


def test_strings_tilts_and_trials():
    found = book(
        '[bench]\nstep = "2 gf"\n[[reading]]\ncar = "ore"\ncars = 6\nforce = "11 gf"\nradius = 18\n'
        '[[tilt]]\ncar = "ore"\nover = 24\nstarts = [0.6, "5/8"]\nrolls = 0.4\n'
        '[[trial]]\nroute = "Up"\nconsist = ["goat", "9 ore"]\nrail = "treated"\nhours = 30\noutcome = "stalls"\n'
    )
    (string,), (tilt,), (trial,) = found.strings, found.tilts, found.trials
    assert (string.car, string.cars, string.curvature) == ("ore", 6, pytest.approx(1 / 0.4572))
    assert (tilt.over, tilt.starts, tilt.rolls) == (
        pytest.approx(0.6096),
        pytest.approx((0.01524, 0.015875)),
        pytest.approx((0.01016,)),
    )
    assert [(cut.name, cut.count) for cut in trial.consist] == [("goat", 1), ("ore", 9)]
    assert (trial.route, trial.rail, trial.hours, trial.outcome) == ("Up", "treated", 30, "stalls")
    assert found.step == pytest.approx(2 * GF)


def test_an_included_file_has_readings_too(tmp_path):
    (tmp_path / "bench.toml").write_text('[[reading]]\nloco = "goat"\nforce = "80 gf"\n', encoding="utf-8")
    text = 'include = ["bench.toml"]\n' + PLAN + '[[reading]]\nloco = "mule"\nforce = "70 gf"\n'
    (tmp_path / "tarn.toml").write_text(text, encoding="utf-8")
    assert [pull.loco for pull in load_plan(tmp_path / "tarn.toml").book.pulls] == ["mule", "goat"]


SAME = [
    "loco,rail,hours,force (gf),force 2 (gf),state\ngoat,treated,0.5,42.5,43,\ngoat,clean,,81,,slipping\n",
    "loco;rail;hours;force (gf);force 2 (gf);state\r\ngoat;treated;0,5;42,5;43;\r\ngoat;clean;;81;;slipping\r\n",
    "Loco\tRail\tHours\tForce [gf]\tForce\tState\ngoat\ttreated\t0,5\t42,5\t43 gf\t\n\ngoat\tclean\t\t81\t\tslipping",
    'loco,rail,hours,force,force,state\ngoat,treated,0.5,"42.5 gf",43 gf,\ngoat,clean,,81 gf,,slipping\n',
]


@pytest.mark.parametrize("text", SAME)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_a_spreadsheet_is_read_however_it_parts_columns_and_decimals(tmp_path, text, encoding):
    found = from_csv(tmp_path, text, encoding=encoding)
    first, second = found.pulls
    assert [force.value for force in first.forces] == pytest.approx([42.5 * GF, 43 * GF])
    assert (first.hours, first.state, second.state, second.hours) == (0.5, "standing", "slipping", None)
    assert second.forces[0].value == pytest.approx(81 * GF)


def test_cars_and_places_in_a_spreadsheet(tmp_path):
    found = from_csv(tmp_path, "car,cars,force (gf),radius,grade (%)\nore,6,11,18,1.5\nore,6,9,600 mm,\n")
    one, other = found.strings
    assert (one.cars, one.grade, 1 / one.curvature) == (6, pytest.approx(0.015), pytest.approx(0.4572))
    assert (other.grade, 1 / other.curvature) == (0, pytest.approx(0.6))


def test_what_the_builder_noted_is_kept_out_of_the_reckoning(tmp_path):
    found = from_csv(tmp_path, "loco,facing,force (gf),note\ngoat,uphill,62,rails dusty\n")
    assert [pull.loco for pull in found.pulls] == ["goat"]


def test_thousands_or_decimals_is_asked_and_told(tmp_path):
    text = "loco;force (mN)\ngoat;1,234\n"
    assert refused(tmp_path, text) == (
        'bench.csv: row 2: force may mean 1.234 or 1234, got "1,234"; '
        'write decimal = "," in [bench], or a decimal point'
    )
    assert from_csv(tmp_path, text, 'decimal = ","\n').pulls[0].forces[0].value == pytest.approx(1.234e-3)


def test_a_heading_with_a_unit_of_mass_is_said_once_and_is_what_must_change(tmp_path):
    rows = "loco,force 1 ({0}),force 2 ({0})\ngoat,2.2,2.3\ngoat,2.1,2.4\n"
    assert refused(tmp_path, rows.format("oz")) == (
        "bench.csv: a force is needed, but oz is a mass (a spring balance marked in oz reads ozf), "
        'got the heading "force 1 (oz)"; write "force 1 (ozf)"'
    )
    assert len(from_csv(tmp_path, rows.format("ozf")).pulls) == 2


def test_decimal_commas_between_commas_are_asked(tmp_path):
    assert refused(tmp_path, "loco,force (gf)\ngoat,62,5\n") == (
        "bench.csv: row 2: the row has more cells than the header: where commas part the columns too, decimals need "
        "points, got 3"
    )
    result = refused(tmp_path, 'loco,force (gf)\ngoat,"62,5"\n')
    assert "force may mean 62.5 or 625" in result


@pytest.mark.parametrize(
    ("text", "result"),
    [
        ("loco,forc (gf)\ngoat,62\n", 'bench.csv: there is no column "forc"; write force'),
        ("loco,rail\ngoat,clean\n", "bench.csv: the column force is missing; write force (gf) in the first row"),
        ("loco,rail,rail,force\n", 'bench.csv: column "rail" appears twice'),
        ("loco,hours,force (gf)\ngoat,soon,62\n", 'bench.csv: row 2: hours must be a number, got "soon"'),
        ("loco,force (gf)\ngaot,62\n", 'bench.csv: row 2, loco: there is no locomotive "gaot"; write "goat"'),
        ("loco,force (g)\ngoat,62\n", "a spring balance marked in g reads gf"),
        ("loco,force (gf)\ngoat,-3\n", "bench.csv: row 2, force, item 1: force must be more than 0, got -3 gf"),
        ("loco,force (gf)\ngoat,62," + "x" * 200_000 + "\n", "this is not a table of readings: field larger than"),
        ("loco,force" + " " * 30_000 + "!\ngoat,62\n", "there is no column"),
        ("loco,force (gf)\n" + "goat,62\n" * 10_001, "a file of readings has at most 10,000 rows"),
    ],
)
def test_what_is_wrong_in_a_spreadsheet(tmp_path, text, result):
    assert result in refused(tmp_path, text)


def test_a_pull_of_locomotives_coupled_together_is_no_pull_of_one(tmp_path):
    pair = '[power."mule pair"]\nlocos = ["mule", "goat"]\n'
    for result in (
        refused(tmp_path, "loco,force (gf)\nmule pair,160\n", pair),
        refused(tmp_path, "loco,force (gf)\n", f'{pair}[[reading]]\nloco = "mule pair"\nforce = "160 gf"\n'),
    ):
        assert 'a reading is of one locomotive, not of a power; write together in [power."mule pair"]' in result


@pytest.mark.parametrize("name", ["../bench.csv", "/etc/passwd", "a\\\\b.csv", "none.csv"])
def test_a_file_of_readings_stands_beside_the_plan(tmp_path, name):
    (tmp_path / "tarn.toml").write_text(PLAN + f'[bench]\ncsv = ["{name}"]\n', encoding="utf-8")
    with pytest.raises(Problems, match=r"in the plan's folder|there is no such file"):
        load_plan(tmp_path / "tarn.toml")


def test_a_number_of_thousands_of_digits_is_refused(tmp_path) -> None:
    assert "cars must be a number" in refused(tmp_path, f"loco,cars,force (gf)\ngoat,{'9' * 5000},62\n")
