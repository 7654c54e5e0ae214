"""The layers of a DXF file by name: which are read, and how they are shown in readable characters."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Sequence
from functools import cache

from gradehaul.plan.names import clean


class Wanted:
    """The layers to read: those whose lines are read, and those whose texts are."""

    def __init__(self, layers: Sequence[str], height_layers: Sequence[str]) -> None:
        self.patterns = tuple(layers)
        self.shown = cache(lambda layer: clean(mended_name(layer)))
        """A layer's name in readable characters."""
        self.lines = cache(lambda layer: matches(self.shown(layer), layers))
        """Whether the lines of a layer are read."""
        self.any = cache(lambda layer: self.lines(layer) or matches(self.shown(layer), height_layers))
        """Whether anything of a layer is read."""


def matches(layer: str, patterns: Sequence[str]) -> bool:
    """Tell whether a layer is one of those that are named by shell patterns; capitals do not matter.

    Examples
    --------
    >>> matches("TRACK-main", ["Track*"]), matches("Trees", ["Track*"])
    (True, False)
    """
    return any(fnmatch.fnmatchcase(layer.casefold(), pattern.casefold()) for pattern in patterns)


def mended_name(text: str) -> str:
    r"""Return a name or text with bytes that are not of the file's own encoding read as what they most likely are.

    Examples
    --------
    >>> mended_name("Wei\udcdfe"), mended_name("Track")
    ('Weiße', 'Track')
    """
    if text.isascii() or not any("\udc80" <= sign <= "\udcff" for sign in text):
        return text
    data = text.encode("utf-8", "surrogateescape")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return re.sub("[\udc80-\udcff]+", lambda found: _western(found[0]), text)


def _western(text: str) -> str:
    return text.encode("utf-8", "surrogateescape").decode("cp1252", "replace")
