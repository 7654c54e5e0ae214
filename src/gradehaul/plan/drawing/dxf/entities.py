"""What one entity of a DXF file says of itself, checked: its layer, handle, numbers, points, and a text's words."""

from __future__ import annotations

import fnmatch
import math
import re
from collections.abc import Sequence
from typing import Any

from gradehaul.errors import DrawingError, clean
from gradehaul.plan.drawing.records import FLAT, LARGEST, Label, Spot

TEXTS = frozenset({"TEXT", "MTEXT", "ATTRIB", "ATTDEF"})
"""The types of entity that are texts."""

_LONGEST = 1_000
"""The characters of a text that are kept."""
_CONSTANT = 2
_ADVANCE, _ROW = 0.8, 1.66
"""In heights of its letters: about how wide a letter of a text is (our own choice), and how high a row of several."""
_UPRIGHT = 1e-9

Entity = Any
"""An entity of the library, of any type."""
Point = tuple[float, float, float]


def value_of(entity: Entity, name: str, default: Any = None) -> Any:  # noqa: ANN401 - of any type
    """Return an attribute as the file has it, whatever kind of entity it belongs to: a damaged file has any."""
    return entity.dxf.__dict__.get(name, default)


def handle_of(entity: Entity) -> str:
    """Return an entity's handle, empty where it has none."""
    handle = str(value_of(entity, "handle") or "")
    return handle if handle.isalnum() else clean(handle)


def layer_of(entity: Entity) -> str:
    """Return the layer an entity says it is on; none is layer 0, as the format has it."""
    return str(value_of(entity, "layer", "0"))


def matches(layer: str, patterns: Sequence[str]) -> bool:
    """Return whether a layer is one of those that are named by shell patterns; capitals do not matter.

    Examples
    --------
    >>> matches("TRACK-main", ["Track*"]), matches("Trees", ["Track*"])
    (True, False)
    """
    return any(fnmatch.fnmatchcase(layer.casefold(), pattern.casefold()) for pattern in patterns)


def mended_name(text: str) -> str:
    r"""Return a name with bytes that are not of the file's own encoding read as what they most likely are.

    Examples
    --------
    >>> mended_name("Wei\udcdfe"), mended_name("Track")
    ('Weiße', 'Track')
    """
    data = text.encode("utf-8", "surrogateescape")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        western = re.compile("[\udc80-\udcff]+")
        return western.sub(lambda found: found[0].encode("utf-8", "surrogateescape").decode("cp1252", "replace"), text)


def point_of(entity: Entity, name: str) -> Point:
    """Return a point of an entity, in the coordinates that the format has for it."""
    point = value_of(entity, name)
    if point is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    x, y, z = point.xyz
    return x, y, z


def number_of(entity: Entity, name: str, default: float | None = None) -> float:
    """Return a finite number of an entity."""
    number = value_of(entity, name, default)
    if number is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    if not math.isfinite(number):
        raise DrawingError(f"the {name.replace('_', ' ')} must be finite", found=str(number))
    return float(number)


def hand_of(entity: Entity) -> int:
    """Return 1 where an entity's own plane is seen from above, -1 where from below, and 0 where it is askew."""
    extrusion = value_of(entity, "extrusion")
    if extrusion is None:
        return 1
    x, y, z = extrusion.xyz
    if not math.isfinite(x + y + z):
        raise DrawingError("an extrusion direction must be finite", found=f"({x}, {y}, {z})")
    if abs(x) + abs(y) > _UPRIGHT * abs(z):
        return 0
    return 1 if z >= 0 else -1  # no direction counts as the usual one


# Texts and points


def label_of(entity: Entity, scale: float, layer: str, handle: str) -> Label | None:
    """Return a text as a label, its place in m, or None for one that shows nothing.

    A block's ATTDEF shows where its text is constant; otherwise the INSERT's own ATTRIB stands for it.

    Raises
    ------
    DrawingError
        It stands nowhere, or out of bounds, or cannot be read; without the place.
    """
    kind = entity.dxftype()
    if kind == "ATTDEF" and not int(value_of(entity, "flags", 0)) & _CONSTANT:
        return None
    try:
        plain = entity.plain_mtext if getattr(entity, "has_embedded_mtext_entity", False) else entity.plain_text
        text = clean(str(plain())[:_LONGEST])
    except (LookupError, TypeError, ValueError, RecursionError) as error:
        raise DrawingError("its text cannot be read", found=str(error)[:80]) from error
    if not text:
        return None
    aligned = kind != "MTEXT" and (value_of(entity, "halign", 0) or value_of(entity, "valign", 0))
    at = point_of(entity, "align_point" if aligned and entity.dxf.hasattr("align_point") else "insert")
    if kind != "MTEXT" and hand_of(entity) != 1:
        at = entity.ocs().to_wcs(at).xyz
        aligned = True
    (x, y), half = ((0.0, 0.0), (0.0, 0.0)) if aligned else _drawn(entity, text)
    return Label(text, _spot(at, scale), layer, handle, (x * scale, y * scale), (half[0] * scale, half[1] * scale))


def _drawn(entity: Entity, text: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return how far the middle of a text lies from where it was put, and its right side from its middle, about."""
    if entity.dxftype() == "MTEXT":
        size, turn, rows = (
            value_of(entity, "char_height", 0.0),
            entity.get_rotation(),
            str(entity.plain_text()).split("\n"),
        )
        width, up = max(map(len, rows)) * _ADVANCE * size, -len(rows) * _ROW * size / 2
        if int(value_of(entity, "attachment_point", 1)) != 1:
            return (0.0, 0.0), (0.0, 0.0)
    else:
        size, turn = value_of(entity, "height", 0.0), value_of(entity, "rotation", 0.0)
        width, up = len(text) * _ADVANCE * size * value_of(entity, "width", 1.0), size / 2
    if not (math.isfinite(width + up + turn) and 0 < width <= LARGEST):
        return (0.0, 0.0), (0.0, 0.0)
    cosine, sine = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    half = (width / 2 * cosine, width / 2 * sine)
    return (half[0] - up * sine, half[1] + up * cosine), half


def mark_of(entity: Entity, scale: float, layer: str, handle: str) -> Label | None:
    """Return a POINT as a label without a text, its place in m, None where it is nowhere."""
    try:
        return Label("", _spot(point_of(entity, "location"), scale), layer, handle)
    except DrawingError:
        return None


def _spot(at: Point, scale: float) -> Spot:
    x, y, z = (each * scale for each in at)
    most = max(map(abs, (x, y, z)))
    if not (math.isfinite(x + y + z) and most <= LARGEST):
        raise DrawingError(f"a coordinate must be within {LARGEST / 1e3:,.0f} km", found=f"{most:.3g} m")
    return Spot(x, y, z if abs(z) > FLAT else None)
