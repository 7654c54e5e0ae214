"""Names that one slip of the pen turns into one another."""

from __future__ import annotations

from collections.abc import Callable, Mapping

_WORD, _SHORT = 4, 3


def alike(names: Mapping[str, object]) -> dict[str, str]:
    """Return, for names that one slip of the pen turns into another, that other name.

    A slip is a letter left out, changed or swapped with its neighbor in a long word without digits, or a blank; in a
    word of three letters it is a swap alone. Names that differ in a number or else in a short word, as ``Yard 1`` and
    ``Yard 2`` do, are kept apart on purpose. Names are
    looked up by what all of them but one word says, rather than compared pair by pair, so that thousands of joints
    take no time.

    Examples
    --------
    >>> alike({"Junction": 0, "Junktion": 0, "Yard 1": 0, "Yard 2": 0})
    {'Junction': 'Junktion', 'Junktion': 'Junction'}
    """
    found: dict[str, str] = {}

    def take(one: str, other: str) -> None:
        found.setdefault(one, other)
        found.setdefault(other, one)

    solid: dict[str, str] = {}
    framed: dict[tuple[str, ...], dict[str, str]] = {}
    for name in names:
        words = name.casefold()[:80].split()
        first = solid.setdefault("".join(words), name)
        if first != name:
            take(name, first)
        for at, word in enumerate(words):
            if len(word) >= _SHORT and not any(map(str.isdigit, word)):
                framed.setdefault((*words[:at], "", *words[at + 1 :]), {}).setdefault(word, name)
    for by_word in framed.values():
        if len(by_word) > 1:
            _one_slip_apart(by_word, take)
    return {name: found[name] for name in names if name in found}


def _one_slip_apart(names: Mapping[str, str], take: Callable[[str, str], None]) -> None:
    """Take the names, by a word each, whose words are one slip apart: drop at most one letter of each, and no two."""
    by_rest: dict[str, str] = {}
    for word, name in names.items():
        for rest in dict.fromkeys((word, *(word[:at] + word[at + 1 :] for at in range(len(word))))):
            other = by_rest.setdefault(rest, word)
            if other != word and _slip(word, other):
                take(name, names[other])


def _slip(one: str, other: str) -> bool:
    """Tell whether two words that leave the same when a letter of each is dropped are one slip apart."""
    short = min(len(one), len(other)) < _WORD
    if len(one) != len(other):
        return not short
    places = [place for place, pair in enumerate(zip(one, other, strict=True)) if pair[0] != pair[1]]
    first, last = places[0], places[-1]
    return (first == last and not short) or (last == first + 1 and one[first : last + 1] == other[last] + other[first])
