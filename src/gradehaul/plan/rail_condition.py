"""Rail condition: clean rail or a film, rested or on its first day, and the name that a person writes for it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Collection

CLEAN = "clean"
CARRY_OVER = 2.0
"""How far wheels carry a film, m: assumed, since nobody has measured it."""
SETTLED_HOURS = 12.0
"""Hours after which a film counts as settled, that is, after a rest; before that it is fresh (common practice: after a
day)."""
_FRESH = " fresh"


@dataclass(frozen=True, slots=True)
class RailCondition:
    """A film on the rail, fresh on the day on which it goes on; clean rail has none.

    Layouts and records know a condition by its `name`. Nothing else reads or makes such a name. A film whose own name
    ends in " fresh" is refused by the reader, so the two cannot be confused.
    """

    film: str | None
    """The film by name, or `AS_PLANNED` for each track's own; None on clean rail."""
    fresh: bool = False

    @classmethod
    def named(cls, name: str) -> RailCondition:
        """Return the condition of a name."""
        film = name.removesuffix(_FRESH)
        return cls(None if name == CLEAN else film, fresh=film != name)

    @property
    def name(self) -> str:
        """The name as it is written and shown."""
        return CLEAN if self.film is None else self.film + _FRESH * self.fresh

    @property
    def rested(self) -> RailCondition:
        """The same rail after a rest."""
        return replace(self, fresh=False)

    @property
    def on_first_day(self) -> RailCondition:
        """The same rail on the day on which its film goes on."""
        return replace(self, fresh=self.film is not None)

    def at(self, hours: float | None) -> RailCondition:
        """Return the same rail so many hours after its film went on: fresh or rested; rested where None."""
        return self.on_first_day if hours is not None and hours < SETTLED_HOURS else self.rested


def ages(film: str) -> tuple[str, str]:
    """Return the names of a film's conditions, rested and fresh."""
    return film, RailCondition(film, fresh=True).name


def conditions(films: Collection[str]) -> tuple[str, ...]:
    """Return the names of all rail conditions."""
    return (CLEAN, *(name for film in films for name in ages(film)))


AS_PLANNED = "as planned"
"""The rail condition of each track as the plan has it."""

PLANNED = ages(AS_PLANNED)
"""The names that stand for a condition of each track's own; fresh, every film that the plan has on a track is."""
