"""The unit that a DXF file says it is drawn in."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.errors import DrawingError


class HeaderUnit(NamedTuple):
    """A unit by its name in a message and its length, m."""

    name: str
    meters: float


_FOOT = 0.3048
_SURVEY_FOOT = 1200 / 3937

_UNITS = {
    1: HeaderUnit("in", _FOOT / 12),
    2: HeaderUnit("ft", _FOOT),
    3: HeaderUnit("mile", 5280 * _FOOT),
    4: HeaderUnit("mm", 1e-3),
    5: HeaderUnit("cm", 1e-2),
    6: HeaderUnit("m", 1.0),
    7: HeaderUnit("km", 1e3),
    8: HeaderUnit("microinches", _FOOT / 12e6),
    9: HeaderUnit("mils", _FOOT / 12e3),
    10: HeaderUnit("yd", 3 * _FOOT),
    13: HeaderUnit("micrometers", 1e-6),
    14: HeaderUnit("dm", 0.1),
    15: HeaderUnit("dam", 10.0),
    16: HeaderUnit("hm", 100.0),
    21: HeaderUnit("US survey feet", _SURVEY_FOOT),
    22: HeaderUnit("US survey inches", _SURVEY_FOOT / 12),
    23: HeaderUnit("US survey yards", 3 * _SURVEY_FOOT),
    24: HeaderUnit("US survey miles", 5280 * _SURVEY_FOOT),
}
"""$INSUNITS of the header. The codes are the DXF format's, as ezdxf's ``ezdxf/enums.py`` (InsertUnits) has them; the
foot is 0.3048 m and the US survey foot 1200/3937 m by definition. Left out are the units of atoms and of stars, which
no layout is drawn in: there the file is taken not to say."""


def unit_of_header(code: int) -> HeaderUnit | None:
    """Return the unit of a header's code, or None where it is none that a layout could be drawn in.

    Examples
    --------
    >>> unit_of_header(4)
    HeaderUnit(name='mm', meters=0.001)
    """
    return _UNITS.get(code)


def meters_of(code: int, *, typed: bool) -> float:
    """Return how many m the drawing's unit is; where the file does not say, advice names the option or the plan's key.

    Raises
    ------
    DrawingError
        The header does not say, or nothing that can be used; without the file.
    """
    unit = _UNITS.get(code)
    if unit is not None:
        return unit.meters
    ask = "--unit with the drawing's unit, such as --unit mm or --unit in"
    if not typed:
        ask = 'the drawing\'s unit beside its file, such as unit = "mm" or unit = "in"'
    if code == 0:
        raise DrawingError("the file does not say in which unit it is drawn", write=ask)
    raise DrawingError("the file's unit is none for a layout", place="$INSUNITS", found=f"the code {code}", write=ask)
