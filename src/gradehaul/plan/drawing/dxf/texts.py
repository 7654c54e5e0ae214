"""The texts of a DXF file, and the points that stand with them: what they say, in plain characters, and where."""

from __future__ import annotations

from typing import Any

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.values import Placing, axes_of, placed, point_of, value_of
from gradehaul.plan.drawing.records import FLAT, LARGEST, Label, Spot
from gradehaul.plan.names import clean

TEXTS = frozenset({"TEXT", "MTEXT", "ATTRIB", "ATTDEF"})
"""The types of entity that are texts."""
POINT = "POINT"
"""The type of entity that is a point."""
LONGEST = 1_000
"""The characters of a text that are kept."""

_CONSTANT = 2


def label_of(entity: Any, placing: Placing | None, scale: float, layer: str, handle: str) -> Label | None:  # noqa: ANN401
    """Return a text as a label, or None for one that shows nothing.

    A block's ATTDEF shows where its text is constant; otherwise the INSERT's own ATTRIB stands for it.

    Raises
    ------
    DrawingError
        It stands nowhere, or out of bounds; without the place.
    """
    kind = entity.dxftype()
    if kind == "ATTDEF" and not int(value_of(entity, "flags", 0)) & _CONSTANT:
        return None
    text = clean(_plain(entity)[:LONGEST])
    if not text:
        return None
    aligned = kind != "MTEXT" and (value_of(entity, "halign", 0) or value_of(entity, "valign", 0))
    at = np.array(point_of(entity, "align_point" if aligned and entity.dxf.hasattr("align_point") else "insert"))
    axes = None if kind == "MTEXT" else axes_of(entity)
    return Label(text, _spot(at if axes is None else at @ axes, placing, scale), layer, handle)


def point_spot(entity: Any, placing: Placing | None, scale: float) -> Spot | None:  # noqa: ANN401
    """Return where a POINT lies, m, None where that is nowhere; its extrusion is the direction of its thickness."""
    try:
        return _spot(np.array(point_of(entity, "location")), placing, scale)
    except DrawingError:
        return None


def _spot(at: Any, placing: Placing | None, scale: float) -> Spot:  # noqa: ANN401 - an array of a point
    at = placed(at, placing) * scale
    if not float(np.abs(at).max()) <= LARGEST:
        raise DrawingError(f"a coordinate must be within {LARGEST / 1e3:,.0f} km", found=f"{np.abs(at).max():.3g} m")
    x, y, z = at.tolist()
    return Spot(x, y, z if abs(z) > FLAT else None)


def _plain(entity: Any) -> str:  # noqa: ANN401 - a text of the library
    """Return what a text says, without the codes that style it."""
    try:
        if getattr(entity, "has_embedded_mtext_entity", False):
            return str(entity.plain_mtext())
        return str(entity.plain_text())
    except (LookupError, TypeError, ValueError, RecursionError) as error:
        raise DrawingError("its text cannot be read", found=str(error)[:80]) from error
