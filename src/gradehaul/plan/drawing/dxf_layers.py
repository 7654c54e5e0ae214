"""The layers of a DXF file by name: which are asked for, and what they are called in readable characters."""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Callable, Sequence

from gradehaul.plan.names import clean


class Wanted:
    """The layers asked for: whether a layer is one whose lines are read, or one whose texts are."""

    def __init__(self, layers: Sequence[str], height_layers: Sequence[str]) -> None:
        self.patterns = tuple(layers)
        self._lines = _matcher(layers)
        self._texts = _matcher(height_layers)
        self._known: dict[str, tuple[bool, bool, str]] = {}

    def _of(self, layer: str) -> tuple[bool, bool, str]:
        known = self._known.get(layer)
        if known is None:
            name = clean(mended_name(layer))
            lines = self._lines(name.casefold())
            known = self._known[layer] = (lines, lines or self._texts(name.casefold()), name)
        return known

    def told(self, layer: str) -> str:
        """Return a layer's name as it is told: mended, and without control characters."""
        return self._of(layer)[2]

    def lines(self, layer: str) -> bool:
        """Tell whether the lines of a layer are read."""
        return self._of(layer)[0]

    def any(self, layer: str) -> bool:
        """Tell whether anything of a layer is read."""
        return self._of(layer)[1]


def _matcher(patterns: Sequence[str]) -> Callable[[str], bool]:
    compiled = [re.compile(fnmatch.translate(pattern.casefold())) for pattern in patterns]
    return lambda name: any(pattern.match(name) for pattern in compiled)


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
