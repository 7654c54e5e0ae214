"""Quantities as a person writes them: what is read, what is refused, and the words it is refused with."""

from __future__ import annotations

import math
import re
import subprocess
import sys
from importlib.resources import files
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from effort import at_most
from gradehaul.errors import QuantityError
from gradehaul.plan.records import Reading as PlanReading
from gradehaul.quantities import Kind, Reading, convert, describe, length_unit, read_quantity, read_reading
from gradehaul.quantities.units import SYMBOLS, UNITS, USUAL_FACTORS, KnownUnit, exact_factor, find_unit

KINDS: tuple[Kind, ...] = get_args(Kind)
INCH = 0.0254
GRAM_FORCE = 0.00980665


@pytest.fixture(scope="module", autouse=True)
def _every_factor_is_known() -> None:
    """Load pint before anything is timed."""
    for unit in UNITS:
        convert(1.0, unit.name)


def refusal(value: object, kind: Kind, unit: str | None = None) -> str:
    with pytest.raises(QuantityError) as caught:
        read_quantity(value, kind, unit=unit)
    return str(caught.value)


# What is read


@pytest.mark.parametrize(
    ("text", "meters"),
    [
        (24, 24 * INCH),
        (-24.5, -24.5 * INCH),
        (0, 0.0),
        ("24", 24 * INCH),
        ("24.", 24 * INCH),
        (".5", 0.5 * INCH),
        ("+24", 24 * INCH),
        ("18 1/2", 18.5 * INCH),
        ("18-1/2", 18.5 * INCH),
        ("1/2", 0.5 * INCH),
        ("-18 1/2", -18.5 * INCH),
        ("18½", 18.5 * INCH),
        ("18⁄4", 4.5 * INCH),
        ("18 1/2 in", 18.5 * INCH),
        ("24 in.", 24 * INCH),
        ("24 Inches", 24 * INCH),
        ('24"', 24 * INCH),
        ("24″", 24 * INCH),
        ("24''", 24 * INCH),
        ("3'", 36 * INCH),
        ("3 ft 6 in", 42 * INCH),
        ("3 ft, 6 in", 42 * INCH),
        ("3ft6in", 42 * INCH),
        ("3 ft 6 1/2 in", 42.5 * INCH),
        ("-3 ft 6 in", -42 * INCH),
        ("3'6\"", 42 * INCH),
        ("3'-6 1/2\"", 42.5 * INCH),
        ("3’ 6”", 42 * INCH),
        ("1 yd 1 ft", 48 * INCH),
        ("1 mile", 1609.344),
        ("1 m 20 cm", 1.2),
        ("610 mm", 0.61),
        ("61 cm", 0.61),
        ("0.61 metres", 0.61),
        ("2 km", 2000.0),
        ("1.5e3 mm", 1.5),
        ("1,5 mm", 0.0015),
        ("0,500 mm", 0.0005),
        ("15000,250 mm", 15.00025),
        ("1.500 mm", 0.0015),
        ("−24 in", -24 * INCH),
        ("24\u00a0in", 24 * INCH),
        ("  24   in  ", 24 * INCH),
        ("610 mm (24 in)", 0.61),
        ("24 in = 610 mm", 24 * INCH),
        ("24 in / 61 cm", 24 * INCH),
    ],
)
def test_lengths(text: object, meters: float) -> None:
    assert read_quantity(text, "length", unit="in") == pytest.approx(meters, rel=1e-15, abs=0.0)


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        (180, "angle", math.pi),
        ("22 1/2", "angle", math.pi / 8),
        ("90 deg", "angle", math.pi / 2),
        ("90 degrees", "angle", math.pi / 2),
        ("90°", "angle", math.pi / 2),
        ("1.5 rad", "angle", 1.5),
        ("480 g", "mass", 0.48),
        ("0.48 kg", "mass", 0.48),
        ("16 oz", "mass", 0.45359237),
        ("2 lb 8 oz", "mass", 2.5 * 0.45359237),
        ("0.62 N", "force", 0.62),
        ("620 mN", "force", 0.62),
        ("62 gf", "force", 62 * GRAM_FORCE),
        ("62 gram-force", "force", 62 * GRAM_FORCE),
        ("62 grams force", "force", 62 * GRAM_FORCE),
        ("0.062 kgf", "force", 62 * GRAM_FORCE),
        ("16 ozf", "force", 4.4482216152605),
        ("1 lbf", "force", 4.4482216152605),
        ("2.2 %", "grade", 0.022),
        ("2.2 percent", "grade", 0.022),
        ("22 permille", "grade", 0.022),
        ("22 ‰", "grade", 0.022),
        ("22 per mille", "grade", 0.022),
        ("-2,2%", "grade", -0.022),
        ("1 in 45", "grade", 1 / 45),
        ("1:45", "grade", 1 / 45),
        ("1 : 45.5", "grade", 1 / 45.5),
        ("-1 in 45", "grade", -1 / 45),
        ("1 in 45 (2.2 %)", "grade", 1 / 45),
        (0, "share", 0.0),
        (1, "share", 1.0),
        (0.75, "share", 0.75),
        ("3/4", "share", 0.75),
        ("75 %", "share", 0.75),
        ("0.62 N (63 gf)", "force", 0.62),
        ("0.62 N = 63 gf", "force", 0.62),
        ("0.62 N / 63 gf", "force", 0.62),
        ("0.62 N/63 gf", "force", 0.62),
        ("1 N (100 gf)", "force", 1.0),
    ],
)
def test_other_kinds(text: object, kind: Kind, si: float) -> None:
    assert read_quantity(text, kind) == pytest.approx(si, rel=1e-15, abs=0.0)
    assert read_reading(text, kind) == Reading(read_quantity(text, kind))


@pytest.mark.parametrize(
    ("text", "kind", "value", "spread"),
    [
        ("62 ± 3 gf", "force", 62 * GRAM_FORCE, 3 * GRAM_FORCE),
        ("62±3 gf", "force", 62 * GRAM_FORCE, 3 * GRAM_FORCE),
        ("62 +/- 3 gf", "force", 62 * GRAM_FORCE, 3 * GRAM_FORCE),
        ("62 gf ± 3 gf", "force", 62 * GRAM_FORCE, 3 * GRAM_FORCE),
        ("62 gf ± 3", "force", 62 * GRAM_FORCE, 3 * GRAM_FORCE),
        ("62 gf ± 0.03 N", "force", 62 * GRAM_FORCE, 0.03),
        ("0.62 ± 0.03 N (63 gf)", "force", 0.62, 0.03),
        ("0.62 N (63 ± 3 gf)", "force", 0.62, 3 * GRAM_FORCE),
        ("24 ± 1/4", "length", 24 * INCH, 0.25 * INCH),
        ("3 ft 6 in ± 1/4 in", "length", 42 * INCH, 0.25 * INCH),
        ("-2 ± 0.5 %", "grade", -0.02, 0.005),
        ("0.75 ± 0.05", "share", 0.75, 0.05),
        ("62 ± 0 gf", "force", 62 * GRAM_FORCE, 0.0),
    ],
)
def test_spreads(text: str, kind: Kind, value: float, spread: float) -> None:
    reading = read_reading(text, kind, unit="in")
    assert (reading.value, reading.spread) == pytest.approx((value, spread), rel=1e-14)


def test_bare_lengths_read_in_the_unit_of_the_plan() -> None:
    assert read_quantity(24, "length", unit="mm") == 0.024
    assert read_quantity("1/2", "length", unit="ft") == 0.1524
    assert read_quantity("24 in", "length", unit="mm") == 0.6096


def test_a_decimal_reads_as_the_float_nearest_to_it() -> None:
    assert [read_quantity(n, "length", unit="mm") for n in range(1000)] == [n / 1000 for n in range(1000)]
    assert read_quantity(24, "length", unit="in") == 0.6096
    assert convert(0.6096, "in") == 24.0


def test_the_record_of_a_reading_is_one_and_the_same_in_a_plan() -> None:
    assert PlanReading is Reading


# What is refused, in which words

LENGTHS = 'a length such as "24 in", "3 ft 6 in" or "610 mm"'
MASSES = 'a mass such as "480 g" or "4.0 oz"'
FORCES = 'a force such as "62 gf" or "0.62 N"'
GRADES = 'a grade such as "2.2 %" or "1 in 45"'


@pytest.mark.parametrize(
    ("value", "kind", "message"),
    [
        (
            24,
            "length",
            (
                'a length needs its unit, got 24; write "24 mm" or "24 in", '
                'or unit = "mm" or unit = "in" at the top for all bare lengths'
            ),
        ),
        (480, "mass", 'a mass needs its unit (g, kg, oz or lb), got 480; write "480 g" or "480 oz"'),
        (
            "62 ± 3",
            "force",
            (
                'a force needs its unit (N, mN, gf, kgf, ozf or lbf), got "62 ± 3";'
                ' write "62 ± 3 gf" if it was read from a balance marked in grams'
            ),
        ),
        (2.2, "grade", f"a grade needs its unit, got 2.2; write {GRADES}"),
        (75, "share", 'a share without a unit lies between 0 and 1, got 75; write "75 %"'),
        (
            -0.1,
            "share",
            'a share without a unit lies between 0 and 1, got -0.1; write a share such as 0.75 or "75 %"',
        ),
        (
            "62 g",
            "force",
            'a force is needed, but g is a mass (a spring balance marked in g reads gf), got "62 g"; write "62 gf"',
        ),
        (
            "0.62 N (63 g)",
            "force",
            (
                "a force is needed, but g is a mass (a spring balance marked in g reads gf),"
                ' got "0.62 N (63 g)"; write "0.62 N (63 gf)"'
            ),
        ),
        ("62 gf", "mass", 'a mass is needed, but gf is a force, got "62 gf"; write "62 g"'),
        ("0.62 N", "mass", f'a mass is needed, but N is a force, got "0.62 N"; write {MASSES}'),
        ("24 deg", "length", f'a length is needed, but deg is an angle, got "24 deg"; write {LENGTHS}'),
        (
            "0.1 N (100 gf)",
            "force",
            (
                "the two figures disagree by more than 5 % (0.1 N is 10.2 gf, not 100 gf),"
                ' got "0.1 N (100 gf)"; write the one that was read, "0.1 N" or "100 gf"'
            ),
        ),
        (
            "0.62 (63 gf)",
            "force",
            f'where two figures are given, each needs its unit, got "0.62 (63 gf)"; write {FORCES}',
        ),
        (
            "24 inchs",
            "length",
            ('no unit is called "inchs" (units: in, ft, yd, mile, mm, cm, m or km), got "24 inchs"; write "24 in"'),
        ),
        (
            "5 MN",
            "force",
            'no unit is called "MN" (units: N, mN, gf, kgf, ozf or lbf), got "5 MN"; write "5 mN"',
        ),
        (
            "1,500 mm",
            "length",
            'the comma may be a decimal point or thousands, got "1,500 mm"; write "1.500 mm" or "1500 mm"',
        ),
        ("1:40", "length", f'a length is needed, but this is written like a grade, got "1:40"; write {LENGTHS}'),
        ("45 in 1", "grade", 'this grade rises by more than it runs, got "45 in 1"; write "1 in 45"'),
        ("1 in 0", "grade", f'the run of a grade cannot be 0, got "1 in 0"; write {GRADES}'),
        ("1/0 in", "length", f'a fraction cannot be over 0, got "1/0 in"; write {LENGTHS}'),
        ("3 ft 6", "length", f'the 6 after ft needs its unit too, got "3 ft 6"; write {LENGTHS}'),
        (
            "3 ft 18 in",
            "length",
            f'the part after ft must be less than 1 ft, got "3 ft 18 in"; write {LENGTHS}',
        ),
        ("62 ± 3 gf", "force", f'a force without a spread is needed here, got "62 ± 3 gf"; write {FORCES}'),
        ("62 ± -3 gf", "force", 'a spread cannot be negative, got "62 ± -3 gf"; write "62 ± 3 gf"'),
        ("1e999 mm", "length", f'the number is too large, got "1e999 mm"; write {LENGTHS}'),
        (float("nan"), "length", f"a number must be finite, got nan; write {LENGTHS}"),
        pytest.param(
            10**5000,
            "length",
            f"the number is too large, got a number of 16610 bits; write {LENGTHS}",
            id="very many digits",
        ),
        (True, "length", f"this is not a length, got true; write {LENGTHS}"),
        (None, "length", f"this is not a length, got nothing; write {LENGTHS}"),
        ([24], "length", f"this is not a length, got a list; write {LENGTHS}"),
        ("nan mm", "length", f'this is not a length, got "nan mm"; write {LENGTHS}'),
        ("٣ in", "length", f'"٣" (U+0663) is not a plain digit, letter or sign, got "٣ in"; write {LENGTHS}'),
        ("24\u200bin", "length", f'U+200B is not a plain digit, letter or sign, got "24\ufffdin"; write {LENGTHS}'),
        (
            "2" * 81,
            "length",
            f'this is longer than 80 characters and so not a length, got "{"2" * 59}…"; write {LENGTHS}',
        ),
        ('24" wide', "length", f"this is not a length, got '24\" wide'; write {LENGTHS}"),
    ],
)
def test_messages(value: object, kind: Kind, message: str) -> None:
    assert refusal(value, kind) == message
    hint = message.rpartition("; write ")[2]
    for text in re.findall('"([^"]+)"', re.sub('unit = "[a-z]+"', "", hint)):
        read_reading(text, kind)  # what it says to write can be written


def test_the_caller_adds_the_place() -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity("62 g", "force")
    placed = str(caught.value.at(file="plans/tarn.toml", place='loco "articulated", pull'))
    assert placed.startswith('plans/tarn.toml: loco "articulated", pull: a force is needed, but g is a mass')


HOSTILE = [
    "9**9**9", "m**9**9**9", "2.5 * 4 mm", "1_000", "nan", "-inf mm", "1e999", "1e308 km", "0x10 mm", "in", "%",
    "± 3 gf", "62 ± 3 ± 1 gf", "1:40:2", "1 in 40 in 3", "1 N = 1 N = 1 N", "((1 N))", "1 N ()", "1/2/3 in", " ", "",
    "1,500,000 mm", "1,500.5 mm", "3 ft -6 in", "3 ft 6 in 2 mm", "6 in 3 ft", "--5 mm", "__import__('os').system('x')",
    "5 {0.__class__} mm", "%s %n", "24 in\n", "24\tin", "24 in\x00", "24\x1b[31m in", "\ud800", "٣ mm", "२४ mm",
    "２４ mm", "24 ｍｍ", "²4 mm", "24 µm", "24 мм", "(" * 100_000, "9" * 80 + "e9", "9" * 100_000, "1 " * 40,
    "1/" * 40, "a-" * 40, "½" * 80, "½24 in", "°" * 80, "±" * 80, "‰" * 100_000, "1 in " * 16, "m/" * 40, "=" * 80,
    "' " * 40, "1 m" + "^1" * 50_000,
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=lambda value: ascii(value)[:24])
def test_hostile_text_is_refused_at_once(text: str) -> None:
    for kind in KINDS:
        with at_most(6_000):
            for read in (read_quantity, read_reading):
                with pytest.raises(QuantityError) as caught:
                    read(text, kind, unit="in")
                message = str(caught.value)
                assert message.isprintable()
                assert len(message) < 400


# Names of units, and values told


@pytest.mark.parametrize(
    ("name", "short"),
    [("in", "in"), ("inches", "in"), ("FEET", "ft"), ('"', "in"), ("mm", "mm"), ("metre", "m"), ("yards", "yd")],
)
def test_length_unit(name: str, short: str) -> None:
    assert length_unit(name) == short


KNOWN = "no unit of length is called that (known are in, ft, yd, mile, mm, cm, m and km)"


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("inchs", f'{KNOWN}, got "inchs"; write "in"'),
        ("MM", f'{KNOWN}, got "MM"; write "mm"'),
        ("kg", f'{KNOWN}, got "kg"; write one of these, such as "in" or "mm"'),
        ("", f'{KNOWN}, got ""; write one of these, such as "in" or "mm"'),
        (3, 'a unit is a name in quotes, got 3; write unit = "in"'),
    ],
)
def test_length_unit_refused(name: str, message: str) -> None:
    with pytest.raises(QuantityError) as caught:
        length_unit(name)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("value", "kind", "unit", "text"),
    [
        (-0.6096, "length", "in", "-24 in"),
        (0.4699, "length", "inches", "18.5 in"),
        (0.0, "length", "mm", "0 mm"),
        (-0.0, "length", "mm", "0 mm"),
        (12.3456, "length", "m", "12.35 m"),
        (99.996, "length", "m", "100 m"),
        (123.456, "length", "mm", "123500 mm"),
        (0.0000012346, "length", "mm", "0.001235 mm"),
        (math.pi, "angle", "deg", "180 deg"),
        (0.62, "force", "gf", "63.22 gf"),
        (0.48, "mass", "g", "480 g"),
        (0.022, "grade", "%", "2.2 %"),
        (1 / 45, "grade", "permille", "22.22 permille"),
        (0.75, "share", "%", "75 %"),
        (math.inf, "length", "m", "inf m"),
        (1e30, "length", "m", "1e+30 m"),
    ],
)
def test_describe(value: float, kind: Kind, unit: str, text: str) -> None:
    assert describe(value, kind, unit) == text


def test_describe_and_convert_refuse_other_units() -> None:
    with pytest.raises(QuantityError) as caught:
        describe(1.0, "mass", "gf")
    assert str(caught.value) == 'a mass is not shown in gf, got "gf"; write g, kg, oz or lb'
    with pytest.raises(QuantityError, match="no unit is called that"):
        convert(1.0, "furlong")


def test_every_unit_is_defined_for_pint_and_none_beside() -> None:
    lines = files("gradehaul").joinpath("units.txt").read_text("utf-8").splitlines()
    defined = {line.partition(" =")[0] for line in lines if line and not line.startswith("#")}
    used = {unit.definition for unit in UNITS} | {"ratio"}
    assert defined == used


def test_no_spelling_names_two_units() -> None:
    words = [word for unit in UNITS for word in unit.words]
    assert len(words) == len(set(words))
    for unit in UNITS:
        assert all(find_unit(name) is unit for name in (unit.name, *unit.words))


def test_pint_waits_until_a_unit_needs_it() -> None:
    usual = [("90", "angle"), ("700 mm", "length"), ("2 %", "grade"), ("4 oz", "mass"), ("62 gf", "force")]
    code = (
        "import sys, gradehaul.quantities as q\n"
        f"for text, kind in {usual}:\n"
        "    q.read_quantity(text, kind)\n"
        "    assert 'pint' not in sys.modules, text\n"
        "q.read_quantity('2 lbf', 'force')\n"
        "assert 'pint' in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True)


def test_ten_thousand_bare_lengths_take_no_time() -> None:
    read_quantity(1, "length", unit="in")
    with at_most(120_000):
        for number in range(10_000):
            read_quantity(number, "length", unit="in")


# Whatever is written

EVERY_UNIT = st.sampled_from(UNITS)
NUMBERS = st.floats(-1e9, 1e9).filter(lambda number: number == 0 or abs(number) > 1e-9)
PIECES = st.sampled_from(
    [
        "1",
        "24",
        "0",
        "1,500",
        "1/2",
        " ",
        "in",
        "ft",
        "gf",
        "g",
        "N",
        "%",
        "±",
        "+/-",
        "-",
        "(",
        ")",
        "=",
        "/",
        ":",
        "e9",
    ]
)


def kind_of(unit: KnownUnit) -> Kind:
    return "grade" if unit.dimension == "ratio" else unit.dimension


@given(number=NUMBERS, unit=EVERY_UNIT)
def test_a_written_value_comes_back(number: float, unit: KnownUnit) -> None:
    value = read_quantity(f"{number!r} {unit.name}", kind_of(unit))
    assert convert(value, unit.name) == pytest.approx(number, rel=1e-14)


@given(number=NUMBERS, unit=EVERY_UNIT)
def test_what_is_told_reads_again(number: float, unit: KnownUnit) -> None:
    value = read_quantity(f"{number!r} {unit.name}", kind_of(unit))
    told = describe(value, kind_of(unit), unit.name)
    assert read_quantity(told, kind_of(unit)) == pytest.approx(value, rel=5.1e-4)


@given(whole=st.integers(0, 9999), top=st.integers(0, 64), bottom=st.integers(1, 64), joined=st.sampled_from(" -"))
def test_fractions(whole: int, top: int, bottom: int, joined: str) -> None:
    text = f"{whole}{joined}{top}/{bottom}"
    assert read_quantity(text, "length", unit="m") == pytest.approx(whole + top / bottom, rel=1e-15)
    assert read_quantity(f"-{text} m", "length") == -read_quantity(f"{text} m", "length")


@given(feet=st.integers(0, 999), inches=st.integers(0, 11))
def test_feet_and_inches_are_inches(feet: int, inches: int) -> None:
    assert read_quantity(f"{feet} ft {inches} in", "length") == pytest.approx((12 * feet + inches) * INCH, rel=1e-15)


@given(value=st.floats(0, 1e6), spread=st.floats(0, 1e6), unit=EVERY_UNIT)
def test_a_spread_reads_as_a_value_does(value: float, spread: float, unit: KnownUnit) -> None:
    kind = kind_of(unit)
    reading = read_reading(f"{value!r} ± {spread!r} {unit.name}", kind)
    assert reading.value == read_quantity(f"{value!r} {unit.name}", kind)
    assert reading.spread == read_quantity(f"{spread!r} {unit.name}", kind)


@given(newtons=st.floats(0.01, 100), misfit=st.floats(-0.5, 0.5).filter(lambda part: abs(abs(part) - 0.05) > 0.003))
def test_a_reading_in_two_units_agrees_with_itself(newtons: float, misfit: float) -> None:
    text = f"{newtons!r} N ({newtons * (1 + misfit) / GRAM_FORCE!r} gf)"
    if abs(misfit) < 0.05:
        assert read_quantity(text, "force") == newtons
    else:
        assert "disagree by more than 5 %" in refusal(text, "force")


@given(
    value=st.one_of(
        st.text(max_size=100),
        st.lists(PIECES, max_size=12).map("".join),
        st.floats(),
        st.integers(),
        st.booleans(),
        st.none(),
        st.lists(st.integers(), max_size=2),
    ),
    kind=st.sampled_from(KINDS),
    unit=st.sampled_from([None, "in", "mm"]),
)
def test_anything_is_read_or_refused(value: object, kind: Kind, unit: str | None) -> None:
    with at_most(6_000):
        try:
            reading = read_reading(value, kind, unit=unit)
        except QuantityError as error:
            assert str(error).isprintable()  # noqa: PT017 - either way is right
            assert error.found  # noqa: PT017
            assert error.write  # noqa: PT017
            assert not error.file + error.place  # noqa: PT017
        else:
            assert math.isfinite(reading.value)
            assert reading.spread is None or (math.isfinite(reading.spread) and reading.spread >= 0.0)


@pytest.mark.parametrize("text", ["0.62 N, 63 gf", "0.62 N 63 gf"])
def test_two_figures_of_one_force_are_never_added(text: str) -> None:
    assert refusal(text, "force").startswith("this is not a force, got ")


@pytest.mark.parametrize("name", list(USUAL_FACTORS))
def test_the_usual_factors_are_those_of_pint(name):
    assert USUAL_FACTORS[name] == exact_factor(SYMBOLS[name])
