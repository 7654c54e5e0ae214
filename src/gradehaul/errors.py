"""The exceptions: what is wrong with the builder's input, in one line, and how that line quotes what was found.

GradehaulError
├── PlanError (ValueError)        the plan file
├── DrawingError (ValueError)     a drawing
├── QuantityError (ValueError)    a number with a unit
├── RouteError (LookupError)      a way through the track that trains cannot take
├── DesignError (ValueError)      wishes for a hill that cannot all be met
└── Problems (ValueError)         several of the above, found in one reading
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import Self

_LONGEST = 60
"""Characters of a name or a value that a message shows."""
_BLANKS = "\t\n\r\v\f\u2028\u2029"
_BIDI = {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F, 0x061C)}


class GradehaulError(Exception):
    """Something the builder gave that cannot be used; ``str()`` is one line that says what to write instead.

    Parameters
    ----------
    wrong
        What is wrong, e.g. ``radius must be more than 0``.
    file
        The file it stands in, as the builder named it, with the line of its table where known.
    place
        Where in the file, in the builder's words, e.g. ``line "Main", track 2``.
    found
        What was found there.
    write
        What to write instead, without the word itself.

    Examples
    --------
    >>> print(PlanError("radius must be more than 0", file="tarn.toml", place='line "Main", track 2',
    ...                 found="-24 in", write="right = 24 for a right-hand curve"))
    tarn.toml: line "Main", track 2: radius must be more than 0, got -24 in; write right = 24 for a right-hand curve
    """

    def __init__(self, wrong: str, *, file: str = "", place: str = "", found: str = "", write: str = "") -> None:
        super().__init__(wrong)
        self.wrong = wrong
        self.file = file
        self.place = place
        self.found = found
        self.write = write

    def __str__(self) -> str:
        where = "".join(f"{part}: " for part in (self.file, self.place) if part)
        found = f", got {self.found}" if self.found else ""
        write = f"; write {self.write}" if self.write else ""
        return f"{where}{self.wrong}{found}{write}"

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.wrong, self.file, self.place, self.found, self.write)

    def at(self, *, file: str = "", place: str = "") -> Self:
        """Return the same error with the file and place filled in where it does not know them yet."""
        return type(self)(
            self.wrong, file=self.file or file, place=self.place or place, found=self.found, write=self.write
        )


def _rebuild(kind: type[GradehaulError], wrong: str, file: str, place: str, found: str, write: str) -> GradehaulError:
    return kind(wrong, file=file, place=place, found=found, write=write)


class PlanError(GradehaulError, ValueError):
    """A plan file that cannot be used as it stands."""


class DrawingError(GradehaulError, ValueError):
    """A drawing that cannot be used as it stands."""


class QuantityError(GradehaulError, ValueError):
    """Text that is not the quantity that is needed."""


class RouteError(GradehaulError, LookupError):
    """A route that no train can follow."""


class DesignError(GradehaulError, ValueError):
    """Wishes for a hill that contradict one another."""


class Problems(GradehaulError, ValueError):  # noqa: N818 - it is a list of errors, and named as one
    """All that was found wrong in one reading; ``str()`` has a line for each.

    Examples
    --------
    >>> print(Problems([PlanError("no scale"), PlanError("no lines")]))
    no scale
    no lines
    """

    def __init__(self, errors: Sequence[GradehaulError]) -> None:
        super().__init__("; ".join(error.wrong for error in errors))
        self.errors = tuple(errors)

    def __str__(self) -> str:
        return "\n".join(str(error) for error in self.errors)

    def __reduce__(self) -> tuple[object, ...]:
        return Problems, (self.errors,)


def unseen(sign: str) -> bool:
    """Return whether a sign is a control character or a mark that turns the direction of writing; tabs are none."""
    return sign in _BIDI or (sign not in _BLANKS and unicodedata.category(sign) == "Cc")


def clean(name: str) -> str:
    r"""Return a name without control characters and without blanks at its ends.

    Tabs and line breaks become blanks. Marks that turn the direction of writing go too, since they would let a
    name look like another. A byte that no text encoding knew becomes a mark that can be printed.
    """
    if not name.isprintable():
        name = "".join(" " if sign in _BLANKS else sign for sign in name if not unseen(sign))
        name = "".join("\N{REPLACEMENT CHARACTER}" if "\ud800" <= sign <= "\udfff" else sign for sign in name)
    return name.strip()


def cut(text: str) -> str:
    """Return the text, shortened so that one message stays one readable line."""
    return text if len(text) <= _LONGEST else text[: _LONGEST - 1] + "…"


def quoted(name: str) -> str:
    """Return a name in quotes, for a message."""
    text = cut(clean(name))
    if not text.isprintable():
        text = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)
    return f"'{text}'" if '"' in text and "'" not in text else f'"{text}"'


def shown(value: object) -> str:
    """Return a value of a plan file as a message shows it, whatever it is."""
    match value:
        case bool():
            return "true" if value else "false"
        case int():  # one too long to print in decimals can be written in TOML as hexadecimal
            return str(value) if value.bit_length() < 64 else f"a number of {value.bit_length()} bits"
        case float():
            return f"{value:.12g}"
        case str():
            return quoted(value)
        case list() | tuple():
            return "a list"
        case dict():
            return "a table"
    return "nothing" if value is None else cut(clean(str(value)))
