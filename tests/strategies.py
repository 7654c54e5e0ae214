"""Random chains of tracks, trains and whole plans for property tests, each plan also as the text a builder would write.

    `layouts(lap=...)`    a `Layout`: a chain, a train and a power with a car for it, and all of it as plan text
    `some_texts(count, layouts())`    the texts of some of these, for tests that look at a fixed number

`lap` is True for a closed lap, False for an open chain, None for either. In the text the chain is cut into lines
joined at plain joints, some written against the running direction. Every number is short in decimals, except where a
lap has to close; so what is read from the text is the record's value but for rounding in the last place or two.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from math import ceil, pi
from random import Random
from typing import TYPE_CHECKING

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brute_walk import Car, Chain, Loco, Piece, Train

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

LINE_NAMES = ("Alder", "Birch", "Cedar", "Damson", "Elm", "Fir", "Gorse", "Hazel", "Ivy", "Juniper", "Larch", "Maple")
LOCO_NAMES = ("dray", "mule")
CAR_NAMES = ("hopper", "flat", "tanker")
BERTH = "Quay"
ROUTE = "Trip"
TRAIN = "Mixed"
TEAM = "team"


@dataclass(frozen=True)
class Layout:
    """A chain with a train and a power, and the plan text that says the same.

    The route is `ROUTE`, the train `TRAIN`, the power and the car are names in the text. The chain's rails are the
    plan's own (`brute_walk.on_rail` gives the whole layout in one condition).
    """

    chain: Chain
    train: Train
    power: str
    car: str
    text: str


@dataclass(frozen=True)
class _Worded:
    """A piece and its TOML keys but for hand and grade; grade in hundredths of a percent, or as closing text."""

    piece: Piece
    size: str
    radius: int
    grade: str


def _mm(tenths: int) -> float:
    """Meters from tenths of a millimeter."""
    return tenths / 10 / 1000


def _text(tenths: int) -> str:
    return f"{tenths // 10}.{tenths % 10}"


# ---- chains ----


@st.composite
def _worded_pieces(draw: st.DrawFn, *, lap: bool, most: int) -> tuple[_Worded, ...]:
    count = draw(st.integers(1, most))
    kinds = draw(
        st.lists(st.sampled_from(["straight", "curve", "curve", "eased", "easement"]), min_size=count, max_size=count)
    )
    if lap:  # the last track closes the heights, so it must be free in length
        kinds[-1] = draw(st.sampled_from(["straight", "curve"]))
    for i in range(count):
        if kinds[i] != "easement":
            continue
        neighbors = [kinds[j % count] for j in (i - 1, i + 1) if lap or 0 <= j < count]
        if "curve" not in neighbors or "easement" in neighbors or "eased" in neighbors:
            # an easement eases some curve; two in a row are no track, and an eased curve needs no other easement
            kinds[i] = "straight"
    grade = 0
    worded: list[_Worded] = []
    climbed = 0.0
    for i, kind in enumerate(kinds):
        if draw(st.integers(0, 2)):  # else the grade of the track before goes on
            grade = draw(st.one_of(st.just(0), st.integers(-400, 400)))
        tenths = draw(st.integers(200, 9000))
        length = _mm(tenths)
        radius = draw(st.integers(300, 1200)) if kind in ("curve", "eased") else 0
        left = draw(st.booleans())
        rail = draw(st.sampled_from(["clean", "clean", "treated"]))
        slope, slope_text = grade / 100 / 100, f"{grade / 100:.2f} %"
        if lap and i == count - 1:
            tenths = max(tenths, ceil(abs(climbed) / 0.04 * 10_000))
            length = _mm(tenths)
            percent = round(-climbed / length * 100, 15) or 0.0  # never minus nothing
            slope, slope_text = percent / 100, f"{percent:.15f} %"
        ease = 0.0
        if kind == "straight":
            size = f"straight = {_text(tenths)}"
        elif kind == "easement":
            size = f"easement = {_text(tenths)}"
        else:
            by_angle = draw(st.booleans()) and not (lap and i == count - 1)
            if by_angle:
                angle = draw(st.integers(20, 1800))  # tenths of a degree
                length = radius / 1000 * (angle / 10 * pi / 180)
                size, room = f"angle = {_text(angle)}", int(length * 9000)  # nine tenths of it
            else:
                size, room = f"length = {_text(tenths)}", tenths // 2
            if kind == "eased":
                ease_tenths = draw(st.integers(1, room))
                ease = _mm(ease_tenths)
                size += f", ease = {_text(ease_tenths)}"
                if by_angle:
                    length += ease  # half of each easement is lost to the turn, and there are two
        curvature = (1 if left else -1) * 1000 / radius if radius else 0.0
        piece = Piece(length, curvature, ease, easement=kind == "easement", grade=slope, rail=rail)
        climbed += slope * length
        worded.append(_Worded(piece, size, radius, slope_text))
    if lap:  # the lap may begin on any track
        turn = draw(st.integers(0, count - 1))
        worded = worded[turn:] + worded[:turn]
    return tuple(worded)


@st.composite
def _worded_chains(
    draw: st.DrawFn, *, lap: bool | None, most: int
) -> tuple[Chain, tuple[_Worded, ...], dict[str, str]]:
    closed = draw(st.booleans()) if lap is None else lap
    worded = draw(_worded_pieces(lap=closed, most=most))
    vertical = draw(st.one_of(st.just(0), st.integers(100, 6000)))
    coefficient = draw(st.integers(100, 1500))  # hundredths of a millimeter
    starting = draw(st.sampled_from([100, 100, 130, 250]))  # hundredths
    start = draw(st.integers(0, 3000))
    chain = Chain(
        tuple(one.piece for one in worded),
        vertical=_mm(vertical),
        coefficient=coefficient / 100 / 1000,
        starting=starting / 100,
        lowest=1 - 1.6448536 * 0.10,  # of a measured one: its 5th percentile
        lap=closed,
        berth=not closed and draw(st.booleans()),
        start=_mm(start),
    )
    words = {"vertical": _text(vertical), "coefficient": f"{coefficient / 100:.2f} mm"}
    words |= {"starting": f"{starting / 100:.2f}", "start": _text(start)}
    return chain, worded, words


# ---- stock ----


@st.composite
def _worded_cars(draw: st.DrawFn) -> tuple[Car, str]:
    mass = draw(st.integers(500, 2500))  # tenths of a gram
    length = draw(st.integers(600, 2500))
    rolling = draw(st.integers(80, 300))  # hundredths of a percent
    starting = rolling + draw(st.integers(0, 150))
    car = Car(mass / 10 / 1000, _mm(length), rolling / 100 / 100, starting / 100 / 100)
    text = (
        f'mass = "{_text(mass)} g"\nlength = {_text(length)}\n'
        f'rolling = "{rolling / 100:.2f} %"\nstarting = "{starting / 100:.2f} %"\n'
    )
    return car, text


@st.composite
def _worded_locos(draw: st.DrawFn) -> tuple[Loco, str]:
    """A locomotive that pulls 8 to 25 % of its weight on clean rail, half of that or more on treated rail."""
    mass = draw(st.integers(1500, 6000))
    length = draw(st.integers(1200, 3500))
    clean = mass * draw(st.integers(8, 25)) * 98 // 10_000  # mN
    treated = clean * draw(st.integers(50, 100)) // 100
    kept = draw(st.integers(55, 90))
    clean_slipping = clean * kept // 100
    treated_slipping = treated * draw(st.integers(50, kept)) // 100
    loco = Loco(
        mass / 10 / 1000,
        _mm(length),
        {"clean": clean / 1000, "treated": treated / 1000},
        {"clean": clean_slipping / 1000, "treated": treated_slipping / 1000},
    )
    text = (
        f'mass = "{_text(mass)} g"\nlength = {_text(length)}\n'
        f'pull = {{ clean = "{clean / 1000:.3f} N", treated = "{treated / 1000:.3f} N" }}\n'
        f'slipping = {{ clean = "{clean_slipping / 1000:.3f} N", treated = "{treated_slipping / 1000:.3f} N" }}\n'
    )
    return loco, text


@st.composite
def _consists(draw: st.DrawFn) -> tuple[str, ...]:
    """Names of vehicles from head to tail: cars, with locomotives at the head, in the middle or at the tail."""
    blocks = draw(st.lists(st.tuples(st.sampled_from(CAR_NAMES), st.integers(1, 8)), min_size=1, max_size=4))
    names = [name for name, count in blocks for _ in range(count)]
    middle = draw(st.integers(0, len(names)))
    places = draw(st.lists(st.sampled_from([0, middle, len(names)]), min_size=1, max_size=3))
    for place in sorted(places, reverse=True):
        names.insert(place, draw(st.sampled_from(LOCO_NAMES)))
    return tuple(names)


@st.composite
def _shares(draw: st.DrawFn, locos: int) -> int | None:
    """Percent of the sum that locomotives give together, None to leave it unsaid; one alone gives all it has."""
    return draw(st.one_of(st.none(), st.integers(50, 100))) if locos > 1 else None


def _stock() -> st.SearchStrategy[tuple[list[tuple[Loco, str]], list[tuple[Car, str]]]]:
    return st.tuples(
        st.lists(_worded_locos(), min_size=len(LOCO_NAMES), max_size=len(LOCO_NAMES)),
        st.lists(_worded_cars(), min_size=len(CAR_NAMES), max_size=len(CAR_NAMES)),
    )


def _by_name(locos: Sequence[tuple[Loco, str]], cars: Sequence[tuple[Car, str]]) -> dict[str, Loco | Car]:
    stock: dict[str, Loco | Car] = dict(zip(LOCO_NAMES, (loco for loco, _ in locos), strict=True))
    return stock | dict(zip(CAR_NAMES, (car for car, _ in cars), strict=True))


def _assemble(names: Sequence[str], stock: dict[str, Loco | Car], share_of: Callable[[int], int | None]) -> Train:
    share = share_of(sum(name in LOCO_NAMES for name in names))
    return Train(tuple(stock[name] for name in names), None if share is None else share / 100)


# ---- whole plans ----


@st.composite
def layouts(draw: st.DrawFn, *, lap: bool | None = None, most: int = 12) -> Layout:
    """Whole plans: a chain cut into lines, its route, a train on it, and a power with a car."""
    chain, worded, words = draw(_worded_chains(lap=lap, most=most))
    cuts = draw(st.sets(st.integers(1, len(worded) - 1))) if len(worded) > 1 else set()
    edges = [0, *sorted(cuts), len(worded)]
    forward = draw(st.lists(st.booleans(), min_size=len(edges) - 1, max_size=len(edges) - 1))
    berth_tracks = draw(st.integers(1, edges[1])) if chain.berth else 0
    whole_line = berth_tracks == edges[1] and draw(st.booleans())

    lines: list[str] = []
    for i, along in enumerate(forward):
        joints = f"Post {i}", f"Post {0 if chain.lap and i == len(forward) - 1 else i + 1}"
        tracks = []
        for j in range(edges[i], edges[i + 1]):
            berth = f', berth = "{BERTH}"' if j < berth_tracks and not whole_line else ""
            tracks.append(_track_text(worded[j], along=along, berth=berth))
        lines.append(
            f"[line.{LINE_NAMES[i]}]\n"
            f'from = "{joints[0 if along else 1]}"\nto = "{joints[1 if along else 0]}"\n'
            + (f'berth = "{BERTH}"\n' if i == 0 and whole_line else "")
            # one line, or two, run the same way round in either direction: say which is meant
            + (f'runs = "{"forward" if along else "backward"}"\n' if chain.lap and len(forward) <= 2 else "")
            + "track = [\n"
            + "".join(f"  {track},\n" for track in (tracks if along else reversed(tracks)))
            + "]\n"
        )
    if chain.lap:
        route = f"lap = {list(LINE_NAMES[: len(forward)])}\n"
    else:
        origin = draw(st.sampled_from(["Post 0", BERTH])) if chain.berth else "Post 0"
        route = f'from = "{origin}"\nto = "Post {len(forward)}"\n'

    locos, cars = draw(_stock())
    stock = _by_name(locos, cars)
    consist = draw(_consists())
    train = _assemble(consist, stock, lambda count: draw(_shares(count)))
    team = draw(st.lists(st.sampled_from(LOCO_NAMES), min_size=1, max_size=3))
    share = draw(_shares(len(team)))
    power = TEAM if len(team) > 1 else team[0]
    car = draw(st.sampled_from(CAR_NAMES))

    text = "\n".join(
        [
            'title = "Random"\nscale = "HO"\nunit = "mm"\n',
            f'[railhead]\n"Post 0" = {words["start"]}\n',
            f"[vertical_curve]\nlength = {words['vertical']}\n",
            f'[curve_resistance]\nmodel = "coefficient"\ncoefficient = "{words["coefficient"]}"',
            f"starting = {words['starting']}\n",
            *(lines if draw(st.booleans()) else reversed(lines)),
            f"[route.{ROUTE}]\n{route}",
            *(f"[loco.{name}]\n{body}" for name, (_, body) in zip(LOCO_NAMES, locos, strict=True)),
            *(f"[car.{name}]\n{body}" for name, (_, body) in zip(CAR_NAMES, cars, strict=True)),
            *([f"[power.{TEAM}]\nlocos = {team}\n" + _together_text(share)] if len(team) > 1 else []),
            f'[train.{TRAIN}]\nroute = "{ROUTE}"\nconsist = {_consist_text(consist)}\n'
            + _together_text(None if train.together is None else round(train.together * 100)),
        ]
    )
    return Layout(chain, train, power, car, text)


def some_texts(count: int, drawn: st.SearchStrategy[Layout]) -> list[str]:
    """Return the texts of so many layouts, the same in every run.

    They are read from bytes with a seed of their own: what `given` draws depends on the modules that are loaded, since
    it tries numbers that it finds in them.
    """
    texts: list[str] = []

    @settings(database=None, deadline=None, suppress_health_check=list(HealthCheck))
    @given(drawn)
    def collect(layout: Layout) -> None:
        texts.append(layout.text)

    source = Random(2019)
    while len(texts) < count:
        collect.hypothesis.fuzz_one_input(source.randbytes(4096))
    return texts


def _track_text(worded: _Worded, *, along: bool, berth: str) -> str:
    """One track as a table; against the running direction the hand and the sign of the grade change."""
    grade = worded.grade
    if not along and float(grade.removesuffix(" %")):
        grade = grade.removeprefix("-") if grade.startswith("-") else f"-{grade}"
    hand = ""
    if worded.radius:
        left = (worded.piece.curvature > 0) == along
        hand = f"{'left' if left else 'right'} = {worded.radius}, "
    rail = f', rail = "{worded.piece.rail}"' if worded.piece.rail != "clean" else ""
    return f'{{ {hand}{worded.size}, grade = "{grade}"{rail}{berth} }}'


def _together_text(percent: int | None) -> str:
    return "" if percent is None else f'together = "{percent} %"\n'


def _consist_text(names: Sequence[str]) -> str:
    cuts = [(name, len(list(run))) for name, run in groupby(names)]
    return "[" + ", ".join(f'"{count} {name}"' if count > 1 else f'"{name}"' for name, count in cuts) + "]"
