"""Which helix a set of wishes settles: what follows from what, what is missing, and what contradicts."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from gradehaul.design.climb.helix import Helix, HelixBuild, lengths_of, radius_in, turn_length
from gradehaul.errors import DesignError
from gradehaul.haulage.answers.unusual import STEEP
from gradehaul.quantities import describe

_AGREE = 5e-4
"""HelixGiven that say one thing twice may differ by this share, which is rounding of what a person writes."""

NAMES: Mapping[str, str] = {
    "radius": "radius",
    "rise_per_turn": "rise per turn",
    "rise": "total rise",
    "turns": "turns",
    "grade": "grade",
    "floor": "floor",
}
"""What can be wished for, in words."""


@dataclass(frozen=True, slots=True)
class HelixGiven:
    """What is known of a helix: lengths in m, the grade a plain ratio, the floor its two sides; None where open."""

    radius: float | None = None
    rise_per_turn: float | None = None
    rise: float | None = None
    turns: float | None = None
    grade: float | None = None
    floor: tuple[float, float] | None = None

    def described(self, name: str, unit: str) -> str:
        """Return a wish in words, with its figure."""
        value = getattr(self, name)
        if name == "floor":
            return f"floor {' by '.join(describe(side, 'length', unit) for side in value)}"
        if name == "turns":
            return f"{value:.4g} turns"
        kind_unit = ("grade", "%") if name == "grade" else ("length", unit)
        return f"{NAMES[name]} {describe(value, *kind_unit)}"  # type: ignore[arg-type]


_Known = dict[str, float]
_Rule = tuple[str, tuple[str, ...], Callable[[HelixBuild, _Known], float]]


def _solved_radius(build: HelixBuild, known: _Known) -> float:
    per_turn, once = lengths_of(build, known["turns"])
    return (known["rise"] / known["grade"] - once) / per_turn


def _solved_turns(build: HelixBuild, known: _Known) -> float:
    """Return the turns of a climb of a rise at a grade; lengths are linear in turns."""
    length = known["rise"] / known["grade"]
    if not build.straight:
        return (length - build.ease) / (2 * math.pi * known["radius"])
    return (length + build.straight) / turn_length(build, known["radius"])


def settled_turns(radius: float, rise_per_turn: float, rise: float, build: HelixBuild) -> float:
    """Return the turns that a rise takes at a rise per turn, as whole half turns or not."""
    grade = rise_per_turn / turn_length(build, radius)
    return _solved_turns(build, {"radius": radius, "rise": rise, "grade": grade})


def _per_turn_radius(build: HelixBuild, known: _Known) -> float:
    extra = 2 * (build.ease + build.straight) if build.straight else 0.0
    return (known["rise_per_turn"] / known["grade"] - extra) / (2 * math.pi)


def _climb(build: HelixBuild, known: _Known) -> float:
    per_turn, once = lengths_of(build, known["turns"])
    return per_turn * known["radius"] + once


_RULES: tuple[_Rule, ...] = (
    ("grade", ("radius", "rise_per_turn"), lambda b, k: k["rise_per_turn"] / turn_length(b, k["radius"])),
    ("rise_per_turn", ("radius", "grade"), lambda b, k: k["grade"] * turn_length(b, k["radius"])),
    ("radius", ("rise_per_turn", "grade"), _per_turn_radius),
    ("rise", ("radius", "turns", "grade"), lambda b, k: k["grade"] * _climb(b, k)),
    ("grade", ("radius", "turns", "rise"), lambda b, k: k["rise"] / _climb(b, k)),
    ("turns", ("radius", "grade", "rise"), _solved_turns),
    ("radius", ("turns", "grade", "rise"), _solved_radius),
)
"""Each value with those that settle it. Two relations tie all five: rise per turn = grade x length of a turn, and total
rise = grade x length of the climb."""

_FULL = frozenset(NAMES) - {"floor"}


def _settled(names: frozenset[str]) -> frozenset[str]:
    """Return all that follows from some of the values."""
    while True:
        more = names | {name for name, of, _ in _RULES if names.issuperset(of)}
        if more == names:
            return names
        names = more


def helix_of(wishes: HelixGiven, build: HelixBuild, unit: str = "mm") -> Helix:
    """Return the helix that wishes settle.

    Parameters
    ----------
    wishes
        What is wished for.
    build
        How it is built.
    unit
        The unit in which messages tell lengths.

    Raises
    ------
    DesignError
        HelixGiven that contradict one another (which), that leave the helix open (what is missing), or that no helix
        meets.

    Examples
    --------
    >>> from gradehaul.design.climb.helix import usual_helix_build
    >>> from gradehaul.plan import read_plan
    >>> build = usual_helix_build(read_plan('scale = "HO"'))
    >>> helix = helix_of(HelixGiven(rise_per_turn=4 * 0.0254, grade=0.02, turns=3), build)
    >>> round(helix.radius / 0.0254, 1)
    31.8
    >>> helix_of(HelixGiven(radius=0.6096, turns=3), build)
    Traceback (most recent call last):
    gradehaul.errors.DesignError: not enough is known to size the helix, got radius and turns; write one more of
    --rise-per-turn, --rise, --grade
    """
    for name in NAMES:
        value = getattr(wishes, name)
        if value is not None and not all(math.isfinite(v) and v > 0 for v in (value if name == "floor" else (value,))):
            found, place = wishes.described(name, unit), f"--{name.replace('_', '-')}"
            raise DesignError(f"{NAMES[name]} must be more than 0", place=place, found=found)
    given: _Known = {name: getattr(wishes, name) for name in NAMES if name != "floor" and getattr(wishes, name)}
    known = dict(given)
    source: dict[str, tuple[str, ...]] = {name: (name,) for name in given}
    if wishes.floor is not None and "radius" not in _settled(frozenset(given)):
        known["radius"], source["radius"] = radius_in(wishes.floor, build), ("floor",)
    _refuse_open(frozenset(known), given)
    progress = True
    while progress:
        progress = False
        for name, of, rule in _RULES:
            if name not in known and all(part in known for part in of):
                known[name] = rule(build, known)
                source[name] = tuple(dict.fromkeys(part for each in of for part in source[each]))
                progress = True
                if known[name] <= 0:
                    cause = " and ".join(wishes.described(part, unit) for part in source[name])
                    raise DesignError(f"no helix has {cause}", found=f"{NAMES[name]} of 0 or less", write="less")
    _refuse_contradictions(wishes, build, known, source, unit)
    helix = Helix(known["radius"], known["turns"], known["rise"], build)
    _refuse_impossible(helix, wishes, unit)
    return helix


def _refuse_open(known: frozenset[str], given: _Known) -> None:
    if _settled(known) == _FULL:
        return
    more = [name for name in NAMES if name not in known and name != "floor" and _settled(known | {name}) == _FULL]
    if more:
        more += ["floor"] if "radius" in more else []
        write = f"one more of {', '.join('--' + name.replace('_', '-') for name in more)}"
    else:
        write = "--radius or --floor, --rise-per-turn or --grade, and --turns or --rise"
    fixed = " and ".join(NAMES[name] for name in given) or "nothing of it"
    raise DesignError("not enough is known to size the helix", found=fixed, write=write)


def _refuse_contradictions(
    wishes: HelixGiven, build: HelixBuild, known: _Known, source: Mapping[str, tuple[str, ...]], unit: str
) -> None:
    """Hold every rule against what was found: the wishes behind both sides of one that fails contradict."""
    for name, of, rule in _RULES:
        value = rule(build, known)
        if abs(value - known[name]) > _AGREE * abs(known[name]):
            others = tuple(dict.fromkeys(part for each in of for part in source[each]))
            against = [part for part in source[name] if part not in others] or list(source[name])
            rest = [part for part in others if part not in against]
            one = " and ".join(wishes.described(part, unit) for part in against)
            other = " and ".join(wishes.described(part, unit) for part in rest)
            made = HelixGiven(**{name: value}).described(name, unit)  # type: ignore[arg-type]
            raise DesignError(f"{one} contradicts {other}", found=f"{made} by the latter", write="without one of them")


def _refuse_impossible(helix: Helix, wishes: HelixGiven, unit: str) -> None:
    build = helix.build
    if helix.grade > STEEP * (1 + 1e-9):
        raise DesignError(
            f"a helix is no steeper than {describe(STEEP, 'grade', '%')}, which is rack-railway country",
            found=describe(helix.grade, "grade", "%"),
            write="a larger radius, or less rise",
        )
    if build.straight and abs(2 * helix.turns - round(2 * helix.turns)) > 1e-6:
        whole = max(1, round(2 * helix.turns)) / 2
        raise DesignError(
            "a helix with straight sides makes whole half turns",
            place="--turns",
            found=f"{helix.turns:.4g}",
            write=f"--turns {whole:g} and leave another wish out",
        )
    angle = math.pi if build.straight else 2 * math.pi * helix.turns
    if helix.radius * angle < build.ease:
        raise DesignError(
            "the easements are longer than the curve between them",
            place="--ease",
            found=describe(build.ease, "length", unit),
            write=f"at most {describe(helix.radius * angle, 'length', unit)}",
        )
    if wishes.floor is not None:
        needed, room = helix.floor, (max(wishes.floor), min(wishes.floor))
        if any(need > side * (1 + _AGREE) for need, side in zip(needed, room, strict=True)):
            sides = " by ".join(describe(side, "length", unit) for side in needed)
            others = ", ".join(
                wishes.described(name, unit) for name in NAMES if name != "floor" and getattr(wishes, name) is not None
            )
            raise DesignError(
                f"{wishes.described('floor', unit)} contradicts {others}",
                found=f"{sides} needed",
                write="a larger floor",
            )
