"""Pictures as bytes, PNG, SVG or PDF with plain text, the same from run to run; points of curves, and colors."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Concatenate, Literal, ParamSpec, get_args

import numpy as np

from gradehaul.errors import PlanError, clean
from gradehaul.haulage.verdict import Outcome
from gradehaul.quantities import convert
from gradehaul.track.piecewise import FloatArray, PiecewiseQuadratic

if TYPE_CHECKING:
    from matplotlib.figure import Figure

P = ParamSpec("P")

Format = Literal["png", "svg", "pdf"]
"""How a picture is kept: dots, or drawn lines with text that can be searched."""

DOTS_PER_INCH = 200
"""For pictures made of dots."""

_UNSAID: dict[Format, dict[str, Any]] = {
    "png": {"Software": None},
    "svg": {"Date": None, "Creator": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}
"""What would differ between days or versions, left out."""

_RULES: dict[Any, Any] = {
    "font.family": ["sans-serif"],
    # the first is at hand wherever pictures are drawn; the others are as wide or narrower, for whoever shows an SVG
    "font.sans-serif": ["DejaVu Sans", "Verdana", "Helvetica", "Arial"],
    "text.parse_math": False,  # a $ in a name is a $
    "text.usetex": False,
    "text.hinting": "none",
    "svg.fonttype": "none",  # names stay text: whoever shows them has the letters and turns the writing as it runs
    "svg.hashsalt": "gradehaul",
    "pdf.fonttype": 3,
    "path.simplify": False,
    "hatch.linewidth": 0.6,
    "axes.unicode_minus": True,
}

_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def picture_format(path: str) -> Format:
    """Return the format that the name of a file stands for.

    Examples
    --------
    >>> picture_format("hill.SVG")
    'svg'
    """
    ending = Path(path).suffix
    for known in get_args(Format):
        if ending.lower() == f".{known}":
            return known  # type: ignore[no-any-return]
    raise PlanError(
        "a picture is written as .png, .svg or .pdf",
        file=path,
        found=ending or "a name without an ending",
        write="another name after -o",
    )


def plain(text: str) -> str:
    r"""Return text that every format can hold, without control characters.

    Examples
    --------
    >>> plain("Up\x1b[2J \uffff$ore$")
    'Up[2J $ore$'
    """
    return _NOT_XML.sub("", clean(text))


@contextmanager
def drawing_rules() -> Iterator[None]:
    """Draw by our own rules, whatever the settings of whoever runs this, and without a word on letters a font lacks."""
    import matplotlib as mpl

    with mpl.rc_context(), warnings.catch_warnings():
        mpl.rcdefaults()
        mpl.rcParams.update(_RULES)
        warnings.filterwarnings("ignore", "Glyph |Matplotlib currently does not support", UserWarning)
        yield


def as_picture(draw: Callable[P, Figure]) -> Callable[Concatenate[Format, P], bytes]:
    """Return a function that draws a figure as the content of a PNG, SVG or PDF, the same bytes from run to run."""

    def picture(form: Format, /, *args: P.args, **kwargs: P.kwargs) -> bytes:
        with drawing_rules():
            return picture_bytes(draw(*args, **kwargs), form)

    return picture


def picture_bytes(figure: Figure, form: Format) -> bytes:
    """Return a figure as the content of a file; call it by the same rules as the figure was drawn."""
    _hold(figure)
    stream = io.BytesIO()
    figure.savefig(stream, format=form, dpi=DOTS_PER_INCH, metadata=_UNSAID[form])
    return stream.getvalue()


def pages_bytes(figures: Iterable[Figure]) -> bytes:
    """Return figures as the pages of one PDF; call it by the same rules as they were drawn."""
    from matplotlib.backends.backend_pdf import PdfPages

    stream = io.BytesIO()
    with PdfPages(stream, metadata=_UNSAID["pdf"]) as pages:
        for figure in figures:
            _hold(figure)
            pages.savefig(figure)
    return stream.getvalue()


def _hold(figure: Figure) -> None:
    """Fix where panels lie: the solver that lays them out leaves other last digits from run to run."""
    if (engine := figure.get_layout_engine()) is not None:
        engine.execute(figure)
        figure.set_layout_engine("none")
        for axes in figure.axes:
            left, bottom, width, height = (round(each, 5) for each in axes.get_position().bounds)
            axes.set_position((left, bottom, width, height))


ON_PARABOLA = 16
"""Points for a parabola: from the 15 chords between them it departs by 1/15² of what it departs from a single one."""


def curve_points(function: PiecewiseQuadratic) -> tuple[FloatArray, FloatArray]:
    """Return places and values to be joined by straight lines; a jump has both its values at one place."""
    width = np.diff(function.breaks)
    count = np.where(function.seconds == 0, 2, ON_PARABOLA)
    piece = np.repeat(np.arange(width.size), count)
    first = np.repeat(np.cumsum(count) - count, count)
    t = width[piece] * (np.arange(piece.size) - first) / (count[piece] - 1)
    x = function.breaks[piece] + t
    x[np.cumsum(count) - 1] = function.breaks[1:]
    return x, function.values[piece] + t * (function.slopes[piece] + 0.5 * t * function.seconds[piece])


def curve_points_in(function: PiecewiseQuadratic, across: str, up: str) -> tuple[FloatArray, FloatArray]:
    """Return such places and values in the units in which they are drawn."""
    x, y = curve_points(function)
    return convert(1.0, across) * x, convert(1.0, up) * y


# The colors of things, the same in every picture; each is distinct in gray too, by width, dashes or hatches


INK, FAINT = "#1a1a1a", "#8a8a8a"

OUTCOME_COLORS: Mapping[Outcome, str] = {
    "stalls": "#9c2f1b",
    "runs away": "#9c2f1b",
    "too long": "#9c2f1b",
    "marginal": "#805100",
    "climbs": "#2c6238",
}
"""An outcome, as on the page: red fails, amber is marginal, and only green climbs."""

SHORT, SPARE = "#f2b8b5", "#dcebdf"
"""The gap between pull and demand, where the pull falls short and where it has some to spare."""

EARTH, PALE_EARTH = "#e4d8c3", "#f3ede2"
"""Below the rail, and every other track of a band."""

CURVED, PALE_CURVED = "#6a51a3", "#e4def2"
"""Curves, and what they add."""

VERTICAL = "#56b4e9"
"""Vertical curves."""

FILM, PALE_FILM = "#0057a8", "#cfe6f5"
"""Track with film, and the ground under its dashes."""

EVEN = "#0057a8"
"""What was there before: even heights, measured ones."""

RAILS: tuple[tuple[str, Any], ...] = (
    ("#0072b2", "-"),
    ("#d55e00", (0, (6, 2))),
    ("#a3527f", (0, (6, 2, 1.2, 2))),
    ("#00775a", (0, (3, 1.5))),
    ("#7a6000", (0, (8, 2, 1.2, 2, 1.2, 2))),
)
"""Color and dashes of the rail conditions in turn: Okabe and Ito's palette, some darker so that thin lines show."""
