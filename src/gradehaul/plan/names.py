"""Names as the builder wrote them, compared with those that exist."""

from __future__ import annotations

from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from gradehaul.errors import PlanError, RouteError, quoted

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Mapping

T = TypeVar("T")

_LONGEST = 60
_LISTED = 6
_MOST_FILES = 2000
"""Files looked through in a folder at the most."""
_SHORT = 4
_ALIKE, _SHORT_ALIKE, _WORD_ALIKE = 0.7, 0.65, 0.65
"""Share of letters that two names, two short ones, and two words of names have in common where one is a typo."""


def some(names: Iterable[str], most: int, form: Callable[[str], str] = str) -> str:
    """Return names in a form, at most so many of them, and how many more there are.

    >>> some(["A", "B", "C"], 2)
    'A, B and 1 more'
    """
    every = list(names)
    return ", ".join(map(form, every[:most])) + (f" and {len(every) - most} more" if len(every) > most else "")


def listed(names: Iterable[str]) -> str:
    """Return names in quotes, the first few of many."""
    return some(names, _LISTED, quoted)


def header(section: str, name: str) -> str:
    """Return a table's header as it is written, its name bare where TOML allows it, e.g. ``[line."Up ore"]``."""
    bare = name.isascii() and name.replace("-", "a").replace("_", "a").isalnum()
    return f"[{section}.{name if bare else quoted(name)}]"


def nearest(name: str, known: Iterable[str], *, alike: float | None = None) -> str | None:
    """Return the known name that looks most like this one, or None where none is `alike` by that share.

    Names of as many words must be alike word by word: a siding is not a loading track of the same yard.

    Examples
    --------
    >>> nearest("lenght", ["length", "ease"]), nearest("trian", ["trial", "train"])
    ('length', 'train')
    >>> nearest("Main loading", ["Quarry loading"]), nearest("Quary loading", ["Quarry loading"])
    (None, 'Quarry loading')
    """
    import difflib  # only where something is wrong

    folded = {other.casefold(): other for other in known}
    letters = name.casefold()[:_LONGEST]
    for at in range(len(letters) - 1):  # two letters swapped are nearer than two changed
        swapped = f"{letters[:at]}{letters[at + 1]}{letters[at]}{letters[at + 2 :]}"
        if swapped in folded:
            return folded[swapped]
    if alike is None:
        alike = _ALIKE if len(letters) > _SHORT else _SHORT_ALIKE
    found = difflib.get_close_matches(letters, folded, 1, alike)
    if not found:
        return None
    words, others = letters.split(), found[0].split()
    pairs = zip(words, others, strict=True) if len(words) == len(others) else ()
    near = all(difflib.SequenceMatcher(None, *pair).ratio() >= _WORD_ALIKE for pair in pairs)
    return folded[found[0]] if near else None


def unknown(what: str, name: str, known: Collection[str], *, declare: str = "", guess: bool = True) -> PlanError:
    """Return the error for a name that nothing in the plan bears; `instead` says what to write."""
    return PlanError(f"there is no {what} {quoted(name)}", write=instead(name, known, declare=declare, guess=guess))


def look_up(name: str, known: Mapping[str, T], kind: str, *, file: str = "", place: str = "", declare: str = "") -> T:
    """Return what bears a name, of a `kind` such as ``train``; `declare` says how to declare one where there is none.

    Raises
    ------
    RouteError
        Nothing bears it; the message has the nearest name.
    """
    if name in known:
        return known[name]
    write = instead(name, known) or declare or f"a plan that has a {kind}"
    raise RouteError(f"the plan has no {kind} of this name", file=file, place=place, found=quoted(name), write=write)


def instead(name: str, known: Collection[str], *, declare: str = "", guess: bool = True) -> str:
    """Return what to write instead of an unknown name: the nearest, else how to declare one, else those there are.

    Without `guess` the nearest is not looked for, which takes time.
    """
    near = nearest(name, known) if guess else None
    if near is not None:
        return quoted(near)
    if declare:
        return declare
    return listed(known) if len(known) == 1 else f"one of {listed(known)}" if known else ""


def near_file(path: Path, *endings: str) -> str:
    """Return the name of the file beside a missing one that is most like it; empty where none is.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     written = Path(folder, "tarn-branch.toml").write_text("")
    ...     print(near_file(Path(folder, "tarn-branch"), ".toml"), near_file(Path(folder, "tan-brnch.toml"), ".toml"))
    tarn-branch.toml tarn-branch.toml
    """
    try:
        beside = sorted(each.name for each in islice(path.parent.iterdir(), _MOST_FILES))
    except (OSError, ValueError):  # ValueError: a NUL in the path
        return ""
    names = [name for name in beside if name.isprintable() and name.lower().endswith(endings)]
    by_stem = {Path(name).stem: name for name in names}  # endings alike would make all names alike
    near = path.name if path.name in by_stem else nearest(path.stem, by_stem)
    return "" if near is None else by_stem[near]
