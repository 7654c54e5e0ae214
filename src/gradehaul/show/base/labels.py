"""What parts of the answer are called for a person: tests, sources, places along a route."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from gradehaul.plan.rail_condition import PLANNED
from gradehaul.plan.records import Basis
from gradehaul.plan.resolve.stock import MOST_CARS

if TYPE_CHECKING:
    from gradehaul.treatment.keep_clean import Use
    from gradehaul.treatment.needs import FilmTest as Needed

FILM_CAUTION = "Try a film on a spare length of track first: it does not come off."

RISK = "Risk: chance of stalling or running away; being marginal does not count"

USE_WORDS: Mapping[Use, str | tuple[str, str]] = {
    "film": ("film", "green"),
    "has film": "has film",
    "keep clean": ("KEEP CLEAN", "bold red"),
    "buffer": ("keep clean (carry-over)", "yellow"),
    "no effect": "no effect",
}
"""What is to become of track, in a table, with its style."""

USE_MEANINGS: Mapping[Use, str] = {
    "film": "may be treated",
    "has film": "has film already",
    "keep clean": "keep clean",
    "buffer": "also keep clean: wheels would spread film",
    "no effect": "may have film or not: no locomotive in question runs there",
}
"""What the uses of track mean, in a sum or the key of a picture."""

WOULD: Mapping[Needed, str] = {
    "stand": "would stall",
    "restart": "would not restart",
    "slip": "would not recover from a slip",
    "hold": "would run away downhill",
}
"""What a train would do with film under it that it must not have."""


def rail_name(rail: str) -> str:
    """Return a rail condition in a table.

    >>> rail_name("treated fresh"), rail_name("as planned fresh")
    ('treated fresh', 'as planned (fresh)')
    """
    return f"{PLANNED[0]} (fresh)" if rail == PLANNED[1] else rail


def rail_words(rail: str) -> str:
    """Return a rail condition behind a train's name.

    >>> rail_words("treated"), rail_words("as planned fresh")
    ('on treated rail', 'as planned (fresh)')
    """
    return rail_name(rail) if rail in PLANNED else f"on {rail} rail"


def from_to(first: str, last: str) -> str:
    """Return two figures as a range, or one where they read alike; a unit that both have is not said twice.

    >>> from_to("88.0 gf", "92.0 gf"), from_to("2 %", "2 %"), from_to("1 in 50", "1 in 40")
    ('88.0 to 92.0 gf', '2 %', '1 in 50 to 1 in 40')
    """
    number, _, unit = first.rpartition(" ")
    alike = bool(number) and " " not in number and last.endswith(f" {unit}")
    return last if first == last else f"{number if alike else first} to {last}"


def cars_words(count: int) -> str:
    """Return a number of cars; the most that are counted means at least as many.

    >>> cars_words(6), cars_words(999)
    ('6', '999+')
    """
    return f"{count}+" if count >= MOST_CARS else str(count)


def counted(count: int, what: str) -> str:
    """Return a number of things.

    >>> counted(1, "car"), counted(3, "car")
    ('1 car', '3 cars')
    """
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def listed(words: Sequence[str], most: int | None = None) -> str:
    """Return words as a list in a sentence, those beyond the most as a count.

    >>> listed(["clean"]), listed(["clean", "film", "mud"]), listed(["clean", "film", "mud"], 1)
    ('clean', 'clean, film and mud', 'clean and 2 more')
    """
    if most is not None and len(words) > most:
        words = [*words[:most], f"{len(words) - most} more"]
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def basis_words(standing: Basis, slipping: Basis) -> str:
    """Return in words where the pulls behind a figure come from.

    >>> basis_words("measured", "measured"), basis_words("scaled", "assumed")
    ('measured', 'scaled, slipping assumed')
    """
    return standing if standing == slipping else f"{standing}, slipping {slipping}"


def chance_words(share: float) -> str:
    """Return a share of random trials as a chance in whole percent, certain only where every trial agrees.

    >>> chance_words(0.0), chance_words(0.005), chance_words(0.123), chance_words(0.995), chance_words(1.0)
    ('0 %', '<1 %', '12 %', '>99 %', '100 %')
    """
    if 0 < share < 0.01:
        return "<1 %"
    return ">99 %" if 0.99 < share < 1 else f"{100 * share:.0f} %"


def percent_words(share: float) -> str:
    """Return a share in whole percent, with decimals where it would read as 0 or 100 % and is neither.

    >>> percent_words(0.42), percent_words(0.004), percent_words(0.997), percent_words(1.0)
    ('42 %', '0.4 %', '99.7 %', '100 %')
    """
    decimals = 0
    while decimals < 3 and share not in (0, 1) and float(f"{100 * share:.{decimals}f}") in (0, 100):
        decimals += 1
    return f"{100 * share:.{decimals}f} %"


def spans(numbers: Sequence[int]) -> str:
    """Return rising numbers as text, those in a row as a span.

    >>> spans([1, 2, 3, 7, 9, 10])
    '1-3, 7, 9, 10'
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs)


_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")


def apart(name: str) -> str:
    r"""Return a name kept apart from the words around it where it is written from right to left.

    Examples
    --------
    >>> apart("Quarry"), ascii(apart("\u05de\u05d7\u05e6\u05d1\u05d4")).startswith("'\\u2068")
    ('Quarry', True)
    """
    return f"\u2068{name}\u2069" if _TO_LEFT.search(name) else name
