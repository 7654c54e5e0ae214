"""Tables of the bench as a builder writes them, and the pull of a gram."""

from __future__ import annotations

GF = 9.80665e-3
"""A gram-force, N."""
HILL = """
scale = "HO"
unit = "mm"
railhead.Foot = 0
line.Hill = { from = "Foot", to = "Top", track = [{ straight = 3000, grade = "2 %" }] }
car.ore = { mass = "100 g", length = 120 }
route.Up = { from = "Foot", to = "Top" }
"""
"""A straight hill of 2 % with the cars that `string` and `tilt` read, to which a plan adds its locomotives."""


def reading(loco: str, force: str, more: str = "") -> str:
    """Return a reading of a pull; `force` as TOML."""
    return f'[[reading]]\nloco = "{loco}"\nforce = {force}\n{more}\n'


def string(force: str, more: str = "", car: str = "ore") -> str:
    """Return a reading of a string of ten cars."""
    return f'[[reading]]\ncar = "{car}"\ncars = 10\nforce = {force}\n{more}\n'


def tilt(kind: str, rises: list[float], car: str = "ore") -> str:
    """Return a reading of a tilt of 1000 mm; `kind` is starts or rolls."""
    return f'[[tilt]]\ncar = "{car}"\nover = 1000\n{kind} = {rises}\n'
