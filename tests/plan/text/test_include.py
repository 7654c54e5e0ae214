"""Plans in several files: merged, each file in its own unit, every name once."""

import json

import pytest

from gradehaul.errors import PlanError, Problems
from gradehaul.plan import load_plan, read_plan

INCH = 0.0254
LINE = '[line.Main]\nfrom = "Wharf"\nto = "Summit"\ntrack = [ { straight = 30 } ]\n'
CAR = '[car.ore]\nmass = "4 oz"\nlength = 5\n'


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "plans").mkdir()
    return tmp_path / "plans"


def write(folder, **files):
    for name, text in files.items():
        (folder / f"{name}.toml").write_text(text, "utf-8")


def said():
    with pytest.raises(Problems) as caught:
        load_plan("plans/tarn.toml")
    assert all(type(error) is PlanError for error in caught.value.errors)
    return str(caught.value).split("\n")


def main(*names, more=LINE):
    return f'scale = "HO"\nunit = "in"\ninclude = {json.dumps([f"{name}.toml" for name in names])}\n{more}'


def test_tables_are_merged_and_each_file_reads_in_its_own_unit(folder):
    write(
        folder,
        tarn=main("stock", "track"),
        stock='unit = "mm"\ninclude = ["more.toml"]\n[car.ore]\nmass = "4 oz"\nlength = 140\n',
        more='[car.log]\nmass = "4 oz"\nlength = 150\n',
        track='[line.Top]\nfrom = "Summit"\nto = "Mine"\ntrack = [ { straight = 10 } ]\n[railhead]\nMine = 2\n',
    )
    plan = load_plan("plans/tarn.toml")
    assert list(plan.lines) == ["Main", "Top"]
    assert plan.lines["Top"].length == pytest.approx(10 * INCH)
    assert plan.railhead == {"Mine": pytest.approx(2 * INCH)}
    assert plan.cars["ore"].length == pytest.approx(0.140)
    assert plan.cars["log"].length == pytest.approx(0.150)
    assert (plan.title, plan.unit, plan.file) == ("tarn", "in", "plans/tarn.toml")


def test_a_file_in_a_folder_below(folder):
    (folder / "stock").mkdir()
    write(folder, tarn=main("stock/cars"))
    write(folder / "stock", cars='include = ["logs.toml"]\n' + CAR, logs=CAR.replace("ore", "log"))
    assert list(load_plan("plans/tarn.toml").cars) == ["ore", "log"]


def test_a_name_twice_names_both_files(folder):
    write(folder, tarn=main("stock", more=LINE + CAR), stock=CAR + LINE + "[railhead]\nWharf = 1\n")
    assert said() == [
        'plans/stock.toml:1: car "ore": "ore" is already given at plans/tarn.toml:8; write another name',
        ('plans/stock.toml:4: line "Main": "Main" is already given at plans/tarn.toml:4; write another name'),
    ]


def test_a_height_twice_and_a_single_table_twice(folder):
    single = '[railhead]\nWharf = 1\n[map]\njoint = "Wharf"\n'
    write(folder, tarn=main("more", more=LINE + single), more=single)
    assert said() == [
        ('plans/more.toml:1: [railhead]: "Wharf" is already given at plans/tarn.toml:8; write one of the two'),
        'plans/more.toml:3: [map]: "map" is already given at plans/tarn.toml:10; write one of the two',
    ]


def test_what_stands_in_the_main_file_only(folder):
    write(folder, tarn=main("more"), more='title = "x"\nscale = "N"\npractice = "NEM"\n')
    assert said() == [
        f'plans/more.toml: {key} stands in the main file only; write it in "plans/tarn.toml"'
        for key in ("title", "scale", "practice")
    ]


def test_files_that_include_one_another(folder):
    write(folder, tarn=main("a"), a='include = ["b.toml"]\n', b='include = ["a.toml"]\n')
    assert said() == ['plans/b.toml: include: "plans/a.toml" is already included by "plans/tarn.toml"']
    write(folder, tarn=main("tarn"))
    assert said() == ['plans/tarn.toml: include: "plans/tarn.toml" is the plan itself']


def test_a_file_included_twice(folder):
    write(folder, tarn=main("a", "b"), a='include = ["c.toml"]\n', b='include = ["c.toml"]\n', c=CAR)
    assert said() == ['plans/b.toml: include: "plans/c.toml" is already included by "plans/a.toml"']
    write(folder, tarn=main("c", "c"))
    assert said() == ['plans/tarn.toml: include: "plans/c.toml" is already included by "plans/tarn.toml"']


def test_files_that_are_not_there_or_no_plan(folder):
    write(folder, tarn=main("stock", "broken", "empty"), broken="[car.ore\n", empty="")
    assert said() == [
        'plans/tarn.toml: include: there is no file "stock.toml" beside this one',
        ("plans/broken.toml:1: the brackets around this table's name do not match, got [car.ore; write [car.ore]"),
        'plans/empty.toml: the file is empty; write at least scale = "HO" and a [line.NAME] table',
    ]


def test_too_many_files(folder):
    write(
        folder, tarn=main(*(f"f{n}" for n in range(120))), **{f"f{n}": f"[car.c{n}]\nlength = 5\n" for n in range(120)}
    )
    assert said() == ["plans/tarn.toml: include: a plan has at most 100 files"]


def test_faults_of_all_files_are_found_in_one_reading(folder):
    write(folder, tarn=main("stock", more=LINE.replace("30", "-30")), stock=CAR.replace("4 oz", "4"))
    assert said() == [
        'plans/tarn.toml:4: line "Main", track 1: straight must be more than 0, got -30 in; write straight = 30',
        (
            'plans/stock.toml:1: car "ore", mass: a mass needs its unit (g, kg, oz or lb), got "4"; '
            'write "4 oz" or "4 g"'
        ),
    ]


def test_a_text_has_nothing_beside_it(tmp_path):
    write(tmp_path, stock=CAR)
    with pytest.raises(Problems, match=r'a plan that is not a file cannot include others, got "stock\.toml"'):
        read_plan(main("stock"))
    assert list(read_plan(main("stock"), folder=tmp_path).cars) == ["ore"]
