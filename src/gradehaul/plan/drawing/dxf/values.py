"""What one entity says of itself, checked: handle, layer, numbers, points and axes; and where a block puts points."""

from __future__ import annotations

import fnmatch
import math
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.records import FloatArray
from gradehaul.plan.names import clean

Placing = FloatArray | None
"""Where a block's coordinates lie in the model space: p @ m[:3, :3] + m[3, :3], with p a row of x, y and z."""


def placed(points: FloatArray, placing: Placing) -> FloatArray:
    """Return points, shape (..., 3), where a block puts them."""
    return points if placing is None else points @ placing[:3, :3] + placing[3, :3]


def turned(vectors: FloatArray, placing: Placing) -> FloatArray:
    """Return directions, shape (..., 3), as a block turns and stretches them."""
    return vectors if placing is None else vectors @ placing[:3, :3]


def value_of(entity: Any, name: str, default: Any = None) -> Any:  # noqa: ANN401 - an entity of the library
    """Return an attribute as the file has it, whatever kind of entity it belongs to: a damaged file has any."""
    return entity.dxf.__dict__.get(name, default)


def handle_of(entity: Any) -> str:  # noqa: ANN401 - an entity of the library
    """Return an entity's handle, empty where it has none."""
    handle = str(value_of(entity, "handle") or "")
    return handle if handle.isalnum() else clean(handle)


def layer_of(entity: Any) -> str:  # noqa: ANN401 - an entity of the library
    """Return the layer an entity says it is on; none is layer 0, as the format has it."""
    return str(value_of(entity, "layer", "0"))


def matches(layer: str, patterns: Sequence[str]) -> bool:
    """Tell whether a layer is one of those that are named by shell patterns; capitals do not matter.

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


def point_of(entity: Any, name: str) -> tuple[float, float, float]:  # noqa: ANN401 - an entity of the library
    """Return a point of an entity."""
    point = value_of(entity, name)
    if point is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    x, y, z = point.xyz
    return x, y, z


def number_of(entity: Any, name: str, default: float | None = None) -> float:  # noqa: ANN401 - an entity of the library
    """Return a finite number of an entity."""
    number = value_of(entity, name, default)
    if number is None:
        raise DrawingError(f"the {name.replace('_', ' ')} is missing")
    if not math.isfinite(number):
        raise DrawingError(f"the {name.replace('_', ' ')} must be finite", found=str(number))
    return float(number)


def axes_of(entity: Any) -> FloatArray | None:  # noqa: ANN401 - an entity of the library
    """Return the axes of an entity's own coordinates as rows, shape (3, 3), or None where they are the block's."""
    extrusion = value_of(entity, "extrusion")
    if extrusion is None:
        return None
    x, y, z = extrusion.xyz
    if not math.isfinite(x + y + z):
        raise DrawingError("an extrusion direction must be finite", found=f"({x}, {y}, {z})")
    if x == y == 0 and z >= 0:  # no direction counts as the usual one
        return None
    from ezdxf.math import OCS

    own = OCS(extrusion)
    return np.array((own.ux.xyz, own.uy.xyz, own.uz.xyz))
