"""Random small plans for the film: a line of tracks, a train with its locomotives at head, tail or both."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from hypothesis import strategies as st

from gradehaul.treatment.units import Units

LOCOS = {
    "mule": 'mass = "300 g", length = 200, pull = { clean = "75 gf", treated = "52 gf", "treated fresh" = "46 gf" }',
    "dray": 'mass = "420 g", length = 260, on_drivers = "400 g", driven_wheels = 8, tyred_wheels = 4',
}


def treated_rails(units: Units, treated: Collection[int]) -> list[tuple[str]]:
    """Return the rail of each unit with film on some beside those that have it already."""
    return [(unit.film or ("treated" if n in treated else "clean"),) for n, unit in enumerate(units.all)]


@dataclass(frozen=True)
class Line:
    """Tracks as plan text, with the rails they have in the plan, and a train."""

    tracks: tuple[str, ...]
    consist: tuple[str, ...]
    rails: tuple[str | None, ...]
    together: str
    lap: bool = False
    """A closed circuit, which rises and falls back to where it began."""

    def text(self, rails: dict[int, str] | None = None) -> str:
        """Return the plan, with other rails where told."""
        own = {number: rail for number, rail in enumerate(self.rails) if rail} if rails is None else rails
        tracks = ",\n".join(
            "{ " + track + (f', rail = "{own[number]}"' if number in own else "") + " }"
            for number, track in enumerate(self.tracks)
        )
        stock = "\n".join(f"loco.{name} = {{ {keys} }}" for name, keys in LOCOS.items())
        consist = ", ".join(f'"{cut}"' for cut in self.consist)
        return f"""
scale = "HO"
unit = "mm"
railhead.A = 0
vertical_curve.length = 0
carry_over.length = 0
line.Main = {{ from = "A", to = "{"A" if self.lap else "B"}", track = [
{tracks}
] }}
{stock}
car.ore = {{ mass = "100 g", length = 140, rolling = "2.0 %", starting = "2.5 %" }}
route.Up = {{ {'lap = ["Main"]' if self.lap else 'from = "A", to = "B"'} }}
train.up = {{ route = "Up", consist = [{consist}]{self.together} }}
"""


HILL = Line(
    tuple(
        f'straight = {length}, grade = "{grade} %"' for length, grade in ((4000, 0), (3000, 2.5), (1300, 0), (4000, 0))
    ),
    ("mule", "9 ore"),
    (None, None, None, None),
    "",
)
"""A train on the level and over a hill: with film it stalls on the hill alone."""


@st.composite
def lines(draw: st.DrawFn, most: int = 7) -> Line:
    """Draw a line of up to `most` tracks and a train."""
    lap = draw(st.booleans())
    count = draw(st.integers(2, max(2, most // 2 if lap else most)))
    tracks, rails = [], []
    for _ in range(count):
        grade = draw(st.integers(-20, 40)) / 10
        if draw(st.booleans()):
            tracks.append(f'straight = {draw(st.integers(80, 900))}, grade = "{grade} %"')
        else:
            radius = draw(st.integers(400, 900))
            tracks.append(f'left = {radius}, length = {draw(st.integers(100, 900))}, grade = "{grade} %"')
        rails.append(draw(st.sampled_from([None, None, None, None, "treated"])))
    if lap:  # even tracks there and back, so that the heights close
        tracks += [track.replace('grade = "-', 'grade = "+').replace('grade = "', 'grade = "-', 1) for track in tracks]
        tracks = [track.replace('"-+', '"') for track in tracks]
        rails += rails
        tracks.append("straight = 3000")  # the longest train fits
        rails.append(None)
    cars = draw(st.integers(1, 18))
    consist = draw(
        st.sampled_from(
            [
                ("mule", f"{cars} ore"),
                ("dray", f"{cars} ore"),
                ("mule", "dray", f"{cars} ore"),
                ("2 mule", f"{cars} ore"),
                ("mule", f"{cars} ore", "dray"),
                ("mule", f"{cars} ore", "mule", "3 ore"),
            ]
        )
    )
    together = draw(st.sampled_from(["", ", together = 0.8"]))
    return Line(tuple(tracks), consist, tuple(rails), together, lap)
