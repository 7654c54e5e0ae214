"""The verb `import` on the command line: what it prints and writes, and how it fails."""

import re
from pathlib import Path

import pytest

from command_line import loaded, run
from gradehaul.plan import read_plan
from project import ROOT

COVE, HOLLOW = str(ROOT / "plans" / "cove.dxf"), str(ROOT / "plans" / "hollow.dxf")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_it_writes_a_plan_that_answers_and_shows_what_it_found(folder):
    result = run("import", COVE, "-o", "cove.toml", "--scale", "H0", "--layers", "TRACK")
    assert (result.exit_code, result.stderr) == (0, "")
    first, _, rest = result.stdout.partition("\n\n")  # the first sentence wraps by how long the folder's name is
    size = (folder / "cove.toml").stat().st_size
    assert " ".join(first.split()) == f"{COVE}: imported into cove.toml, {size:,} bytes"
    assert rest == (
        "Found 3 lines, 9 tracks, 1 turnout, 0 crossings, 3 ends of track; 7935 mm of\n"
        "  track.\n"
        'Read: track on layer "TRACK", names on layer "TRACK".\n'
        "The tightest curve has radius 610 mm, at (2100.0, 1220.0) mm.\n"
        "Heights of 4 of 4 joints, and along 1 line.\n"
        "All of it could be read.\n"
        "\n"
        "More: --more faults, changes, layers, all\n"
    )
    assert run("check", "cove.toml").exit_code == 0
    assert sorted(path.name for path in folder.iterdir()) == ["cove.toml"]


@pytest.mark.usefixtures("folder")
def test_it_shows_what_was_mended_and_where():
    options = ("--scale", "HO", "--layers", "TRACK", "--height-layers", "HEIGHTS", "--more", "faults")
    result = run("import", HOLLOW, "-o", "hollow.toml", *options)
    assert "  Drawn twice (1)\n    22.00 in of track drawn again" in result.stdout
    assert "at (14.00, 0.00) in" in " ".join(result.stdout.split())
    assert "  Gaps closed (3)\n    ends drawn 0.030 in apart are one joint, at (42.02, 84.01) in" in result.stdout


def test_over_a_plan_it_shows_what_changed(folder):
    options = ("--scale", "H0", "--layers", "TRACK")
    run("import", COVE, "-o", "cove.toml", *options)
    plan = folder / "cove.toml"
    before = plan.read_text("utf-8")
    assert run("import", COVE, "-o", "cove.toml", *options).stdout.count("Changes to cove.toml\nnone\n") == 1
    assert plan.read_text("utf-8") == before
    plan.write_text(before.replace("straight = 600", "straight = 610") + '[route.Up]\nfrom = "Wharf"\nto = "Nowhere"\n')
    result = run("import", COVE, "-o", "cove.toml", *options)
    assert result.exit_code == 0
    assert 'Changes to cove.toml\nchanged  1  line "Quay track"\n' in result.stdout
    assert "Mend these in the plan before it answers:\n  cove.toml:" in result.stdout
    assert 'there is no joint, berth or line\'s end "Nowhere"' in " ".join(result.stdout.split())


def test_a_dash_prints_the_plan_and_the_rest_on_standard_error(folder):
    result = run("import", COVE, "-o", "-", "--scale", "H0", "--layers", "TRACK")
    assert result.exit_code == 0
    assert result.stdout.startswith("# The track of a drawing")
    assert f"{COVE}: plan printed, {len(result.stdout.encode()):,} bytes\n" in result.stderr
    assert "Found 3 lines" in result.stderr
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    ("args", "message"),
    [
        ([COVE, "-o", "x.toml"], "x.toml: --scale: the scale is not known; write --scale HO, or another scale\n"),
        ([COVE, "-o", "x.toml", "--scale", "HO", "--layers", "RAIL"], f"{COVE}: nothing is on the layers"),
        ([COVE, "-o", "x.toml", "--scale", "HO", "--unit", "ell"], "--unit: no unit of length is called that"),
        ([COVE, "-o", "x.toml", "--scale", "HO", "--snap", "-1"], "--snap: must be more than 0"),
        ([str(ROOT / "README.md"), "-o", "x.toml", "--scale", "HO"], f"{ROOT / 'README.md'}: this is not a DXF file"),
    ],
)
def test_wrong_input_writes_nothing(folder, args, message):
    result = run("import", *args)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith(message)
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize("content", [b"0\n" * 9, b"a yard\n" * 9, bytes(range(256)), b""])
def test_bytes_that_are_no_drawing_are_wrong_input(folder, content):
    (folder / "yard.dxf").write_bytes(content)
    result = run("import", "yard.dxf", "-o", "x.toml", "--scale", "HO")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.count("\n") == 1


def test_an_answer_is_not_written_over_a_drawing(folder):
    drawing = folder / "cove.dxf"
    drawing.write_bytes(Path(COVE).read_bytes())
    result = run("check", ROOT / "plans" / "cove.toml", "-o", drawing)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "an answer may not replace a drawing" in result.stderr
    assert drawing.read_bytes() == Path(COVE).read_bytes()


def test_an_output_is_needed():
    assert run("import", COVE, "--scale", "HO").exit_code == 2


@pytest.mark.usefixtures("folder")
def test_files_that_cannot_be_read_or_written():
    result = run("import", "none.dxf", "-o", "x.toml", "--scale", "HO")
    assert (result.exit_code, result.stderr) == (3, "none.dxf: there is no such file\n")
    result = run("import", COVE, "-o", "nowhere/x.toml", "--scale", "HO")
    assert (result.exit_code, result.stderr) == (3, "nowhere/x.toml: cannot be written: No such file or directory\n")


def test_an_old_plan_stays_when_the_drawing_is_wrong(folder):
    (folder / "x.toml").write_text('scale = "HO"\n# mine\n')
    assert run("import", COVE, "-o", "x.toml", "--layers", "RAIL").exit_code == 2
    assert (folder / "x.toml").read_text() == 'scale = "HO"\n# mine\n'


def test_a_plan_with_a_drawing_needs_the_library_for_drawings_alone():
    assert loaded(ROOT / "plans" / "cove.toml", "check") & {"ezdxf", "tomlkit", "matplotlib"} == {"ezdxf"}


def test_the_drawing_in_the_handbook_loads():
    page = (ROOT / "docs" / "drawings.md").read_text(encoding="utf-8")
    block = re.search(r"<!-- drawing -->\n```\n(.*?)```", page, re.DOTALL)
    plan = read_plan('scale = "H0"\nunit = "mm"\n' + block.group(1), folder=ROOT / "plans")
    assert plan.joints["Wharf switch"].kind == "turnout"
    assert plan.berths["Quay"].line == "Quay track"
