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

_LONGEST = 1_000
"""The characters of a text that are kept."""
_CONSTANT = 2


def label_of(entity: Any, placing: Placing, scale: float, layer: str, handle: str) -> Label | None:  # noqa: ANN401
    """Return a text as a label, or None for one that shows nothing.

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
    at = np.array(point_of(entity, "align_point" if aligned and entity.dxf.hasattr("align_point") else "insert"))
    axes = None if kind == "MTEXT" else axes_of(entity)
    return Label(text, _spot(at if axes is None else at @ axes, placing, scale), layer, handle)


def mark_of(entity: Any, placing: Placing, scale: float, layer: str, handle: str) -> Label | None:  # noqa: ANN401
    """Return a POINT as a label without a text, None where it is nowhere."""
    try:  # its extrusion is the direction of its thickness
        return Label("", _spot(np.array(point_of(entity, "location")), placing, scale), layer, handle)
    except DrawingError:
        return None


def _spot(at: Any, placing: Placing, scale: float) -> Spot:  # noqa: ANN401 - an array of a point
    at = placed(at, placing) * scale
    if not float(np.abs(at).max()) <= LARGEST:
        raise DrawingError(f"a coordinate must be within {LARGEST / 1e3:,.0f} km", found=f"{np.abs(at).max():.3g} m")
    x, y, z = at.tolist()
    return Spot(x, y, z if abs(z) > FLAT else None)
