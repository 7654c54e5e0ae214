"""Names as the builder wrote them, compared with those that exist."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, TypeVar

from gradehaul.errors import PlanError, RouteError, clean, cut, quoted, shown

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Mapping

__all__ = [
    "clean",
    "cut",
    "header",
    "instead",
    "key_text",
    "listed",
    "look_up",
    "nearest",
    "quoted",
    "shown",
    "unknown",
]

T = TypeVar("T")

_LONGEST = 60
_LISTED = 6
_SHORT = 4
_ALIKE, _SHORT_ALIKE, _WORD_ALIKE = 0.7, 0.65, 0.65
"""Share of letters that two names, two short ones, and two words of names have in common where one is a typo."""


def listed(names: Iterable[str]) -> str:
    """Return names in quotes, the first few of many.

    Examples
    --------
    >>> listed(["Main", "Hill"])
    '"Main", "Hill"'
    """
    every = list(names)
    more = f" and {len(every) - _LISTED} more" if len(every) > _LISTED else ""
    return ", ".join(quoted(name) for name in every[:_LISTED]) + more


def key_text(name: str) -> str:
    """Return a name as it is written in a table's header: bare where TOML allows it, else in quotes.

    Examples
    --------
    >>> key_text("Main"), key_text("Up ore")
    ('Main', '"Up ore"')
    """
    bare = name.isascii() and name.replace("-", "a").replace("_", "a").isalnum()
    return name if bare else quoted(name)


def header(section: str, name: str) -> str:
    """Return a table's header as it is written, e.g. ``[line."Up ore"]``."""
    return f"[{section}.{key_text(name)}]"


def nearest(name: str, known: Iterable[str], *, alike: float | None = None) -> str | None:
    """Return the known name that looks most like this one, or None where none is `alike` by that share.

    Names of as many words must be alike word by word: a siding is not a loading track of the same yard. A name that
    begins just one known name stands for that one.

    Examples
    --------
    >>> nearest("lenght", ["length", "ease"]), nearest("trian", ["trial", "train"])
    ('length', 'train')
    >>> nearest("Main loading", ["Quarry loading"]), nearest("Quary loading", ["Quarry loading"])
    (None, 'Quarry loading')
    """
    folded = {other.casefold(): other for other in known}
    letters = name.casefold()[:_LONGEST]
    for at in range(len(letters) - 1):  # two letters swapped are nearer than two changed
        swapped = f"{letters[:at]}{letters[at + 1]}{letters[at]}{letters[at + 2 :]}"
        if swapped in folded:
            return folded[swapped]
    begun = [other for other in folded if other.startswith(letters + " ")]
    if begun:
        return folded[begun[0]] if len(begun) == 1 else None
    if alike is None:
        alike = _ALIKE if len(letters) > _SHORT else _SHORT_ALIKE
    found = difflib.get_close_matches(letters, folded, 1, alike)
    return folded[found[0]] if found and _words_alike(letters, found[0]) else None


def _words_alike(name: str, other: str) -> bool:
    """Return whether two names have as many words, each like its partner, or not as many words."""
    words, others = name.split(), other.split()
    return len(words) != len(others) or all(
        difflib.SequenceMatcher(None, word, partner).ratio() >= _WORD_ALIKE
        for word, partner in zip(words, others, strict=True)
    )


def unknown(what: str, name: str, known: Collection[str], *, declare: str = "", guess: bool = True) -> PlanError:
    """Return the error for a name that nothing in the plan bears.

    Parameters
    ----------
    what
        What was expected, e.g. ``joint``.
    name
        The name found.
    known
        The names it could have been.
    declare
        How to declare such a thing, shown where no known name is near.
    guess
        Whether to look for the nearest known name, which takes time.

    Examples
    --------
    >>> print(unknown("joint", "Warf", ["Wharf", "Summit"]))
    there is no joint "Warf"; write "Wharf"
    """
    return PlanError(f"there is no {what} {quoted(name)}", write=instead(name, known, declare=declare, guess=guess))


def look_up(name: str, known: Mapping[str, T], kind: str, *, file: str = "", place: str = "", declare: str = "") -> T:
    """Return what bears a name.

    Parameters
    ----------
    name
        The name.
    known
        What there is of the kind, by name.
    kind
        What it should be, in a word, e.g. ``train``.
    file, place
        The plan and where the name was given, for a message.
    declare
        How to declare such a thing, written where there is none.

    Raises
    ------
    RouteError
        Nothing bears it; the message has the nearest name.

    Examples
    --------
    >>> look_up("locl", {"local": 1}, "train", file="tarn.toml", place="--train")
    Traceback (most recent call last):
    ...
    gradehaul.errors.RouteError: tarn.toml: --train: the plan has no train of this name, got "locl"; write "local"
    """
    if name in known:
        return known[name]
    write = instead(name, known) or declare or f"a plan that has a {kind}"
    raise RouteError(f"the plan has no {kind} of this name", file=file, place=place, found=quoted(name), write=write)


def instead(name: str, known: Collection[str], *, declare: str = "", guess: bool = True) -> str:
    """Return what to write instead of an unknown name: the nearest, else how to declare one, else those there are.

    Examples
    --------
    >>> instead("Warf", ["Wharf", "Summit"]), instead("X", ["Wharf", "Summit"]), instead("X", ["Wharf"])
    ('"Wharf"', 'one of "Wharf", "Summit"', '"Wharf"')
    """
    near = nearest(name, known) if guess else None
    if near is not None:
        return quoted(near)
    if declare:
        return declare
    return listed(known) if len(known) == 1 else f"one of {listed(known)}" if known else ""
