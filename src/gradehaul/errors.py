"""The exceptions: what is wrong with the builder's input, in one line.

GradehaulError
├── PlanError (ValueError)        the plan file
├── DrawingError (ValueError)     a drawing
├── QuantityError (ValueError)    a number with a unit
├── RouteError (LookupError)      a way through the track that trains cannot take
├── DesignError (ValueError)      wishes for a hill that cannot all be met
└── Problems (ValueError)         several of the above, found in one reading
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Self

__all__ = ["DesignError", "DrawingError", "GradehaulError", "PlanError", "Problems", "QuantityError", "RouteError"]


class GradehaulError(Exception):
    """Something the builder gave that cannot be used; ``str()`` is one line that says what to write instead.

    Parameters
    ----------
    wrong
        What is wrong, e.g. ``radius must be longer than 0``.
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
    >>> print(PlanError("radius must be longer than 0", file="tarn.toml", place='line "Main", track 2',
    ...                 found="-24 in", write="right = 24 for a right-hand curve"))
    tarn.toml: line "Main", track 2: radius must be longer than 0, got -24 in; write right = 24 for a right-hand curve
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
    """Text that is not the quantity asked for."""


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
