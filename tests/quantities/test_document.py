"""Documents made of records: keys and units from their types, whatever their shape."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradehaul.quantities.document import document, keys_of, rounded
from gradehaul.quantities.si import Hours, Kilograms, Meters, Newtons, Radians, Ratio, Share


@dataclass(frozen=True, slots=True)
class Part:
    """Every kind of number."""

    at: Meters
    pull: Newtons | None
    mass: Kilograms
    grade: tuple[Ratio, Ratio]
    angle: Radians
    chance: Share
    age: Hours
    count: int

    @property
    def more(self) -> dict[str, float]:
        """Keys that depend on what is in it."""
        return {"more_m": 7.0}


class Pair(NamedTuple):
    """A pair without keys of its own."""

    start: Meters
    stop: Meters


@dataclass(frozen=True)
class Remark:
    """A record that is its text."""

    KEYS: ClassVar[str] = ""

    text: str

    def __str__(self) -> str:
        return f"remark: {self.text}"


@dataclass(frozen=True, slots=True)
class Whole:
    """A record that lists its keys."""

    KEYS: ClassVar[str] = (
        "from=part.at part.pull first=part.grade.0 *part.more where_m=part.at pairs remarks total parts"
    )

    part: Part | None
    pairs: tuple[Pair, ...] = ()
    remarks: tuple[Remark, ...] = (Remark("a"),)

    @property
    def total(self) -> Meters:
        """A sum, of nothing a whole number."""
        return sum(pair.stop - pair.start for pair in self.pairs)

    def parts(self) -> dict[str, Part | None]:
        """A method without arguments."""
        return {"one": self.part}


PART = Part(1 / 3, 0.5, 0.25, (0.02, -0.03), math.pi / 2, 0.05, 6.0, 3)


def test_the_fields_in_order_each_with_the_suffix_of_its_unit() -> None:
    assert document(PART) == {
        "at_m": 0.333333,
        "pull_n": 0.5,
        "mass_kg": 0.25,
        "grade_pct": [2.0, -3.0],
        "angle_deg": 90.0,
        "chance": 0.05,
        "age": 6.0,
        "count": 3,
    }


def test_listed_keys_take_their_units_from_where_their_paths_lead() -> None:
    told = document(Whole(PART, (Pair(0.0, 1.0), Pair(2.0, 2.5))))
    assert list(told) == [
        "from_m",
        "pull_n",
        "first_pct",
        "more_m",
        "where_m",
        "pairs_m",
        "remarks",
        "total_m",
        "parts",
    ]
    assert (told["first_pct"], told["more_m"], told["where_m"], told["total_m"]) == (2.0, 7.0, 0.333333, 1.5)
    assert told["pairs_m"] == [[0.0, 1.0], [2.0, 2.5]]
    assert told["remarks"] == ["remark: a"]
    assert told["parts"]["one"]["count"] == 3


def test_what_is_not_there_keeps_its_key() -> None:
    told = document(Whole(None))
    assert (told["from_m"], told["pull_n"], told["first_pct"], told["parts"]) == (None, None, None, {"one": None})
    assert isinstance(told["total_m"], float)  # JSON has 0.0 for a length, also where it is a sum of nothing


def test_a_key_that_leads_nowhere_is_noticed_before_anything_is_written() -> None:
    @dataclass(frozen=True)
    class Lost:
        KEYS: ClassVar[str] = "part.width"
        part: Part

    Lost.__annotations__["part"] = Part
    with pytest.raises(AttributeError, match="has no width"):
        keys_of(Lost)


@given(st.floats(allow_nan=False, allow_infinity=False, width=64))
def test_six_digits_count(value: float) -> None:
    told = rounded(value)
    assert told == pytest.approx(value, rel=5.1e-6, abs=1e-12)
    assert str(told) != "-0.0"
    assert len(f"{told:.17g}".split("e")[0]) <= 24
    assert rounded(told) == told


def test_arrays_are_lists() -> None:
    @dataclass(frozen=True)
    class Grid:
        values: np.ndarray
        marks: np.ndarray

    Grid.__annotations__.update(values=np.ndarray, marks=np.ndarray)
    told = document(Grid(np.array([[1 / 3, 1.0]]), np.array([True, False])))
    assert told == {"values": [[0.333333, 1.0]], "marks": [True, False]}
