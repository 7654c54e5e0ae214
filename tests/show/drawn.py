"""What a picture shows, read back: its texts and where they lie, and the texts and figures of an SVG."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from unittest.mock import patch

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

MARGIN = 8 / 25.4
"""The margin that every sheet must have, inches."""


def drawn_texts(figure: Figure) -> list[tuple[str, Bbox]]:
    """Return the texts that are really drawn, with their boxes in dots."""
    found: list[Text] = []
    with patch.object(Text, "draw", autospec=True, side_effect=lambda text, *_, **__: found.append(text)):
        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
    shown = [text for text in found if text.get_visible() and text.get_text().strip()]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in shown]


def check_sheet(figure: Figure) -> list[str]:
    """Check that all words lie within the margins, and none over another; return their lines in order."""
    texts = drawn_texts(figure)
    edge = MARGIN * figure.dpi
    for text, box in texts:
        assert box.x0 >= edge - 1, text
        assert box.y0 >= edge - 1, text
        assert box.x1 <= figure.bbox.width - edge + 1, text
        assert box.y1 <= figure.bbox.height - edge + 1, text
    low, high = (np.array([getattr(box, end) for _, box in texts]) for end in ("min", "max"))
    shared = np.minimum(high[:, None], high) - np.maximum(low[:, None], low)  # of each with each
    over = np.argwhere(np.triu((shared > 1).all(axis=-1), 1))
    assert [(texts[one][0], texts[other][0]) for one, other in over] == []
    return [line.strip() for text, _ in texts for line in text.split("\n")]


def svg_texts(svg: bytes) -> list[str]:
    """Return the texts of an SVG, as whoever opens it finds them."""
    root = ET.fromstring(svg)
    return ["".join(text.itertext()).strip() for text in root.iter("{http://www.w3.org/2000/svg}text")]


def figures(text: str) -> list[str]:
    """Return the numbers in a text, each whole, so that 50 is not found in 350 or 50.5."""
    return re.findall(r"-?\d+(?:\.\d+)?", text.replace("\N{MINUS SIGN}", "-"))
