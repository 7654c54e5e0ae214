"""Invented layouts of any size, as plan text, for the benchmarks."""

from __future__ import annotations

STOCK = """
[car.hopper]
mass = "100 g"
length = "120 mm"
"""


def loco(name: str, *, pull: float, length: float = 250.0, mass: float = 400.0) -> str:
    return (
        f'[loco."{name}"]\nmass = "{mass} g"\nlength = "{length} mm"\n'
        f'pull = {{ clean = "{pull} gf", treated = "{0.7 * pull} gf" }}\n'
    )


def long_hill(tracks: int, length: float) -> str:
    """One line of straights and curves that climbs at changing grades: `tracks` tracks, `length` m in all."""
    each = 1000 * length / tracks
    rows = []
    for k in range(tracks):
        grade = 1.5 + 1.0 * ((k * 7919) % 11) / 11 + (0.6 if 200 < k % 300 < 230 else 0.0) - 2.0 * (k % 90 < 20)
        curves = (f"left = 700, length = {each}", f"right = 900, length = {each}, ease = 100")
        shape = (f"straight = {each}", *curves)[k % 3]
        rows.append(f'  {{ {shape}, grade = "{grade:.3f} %" }},')
    return "\n".join(
        [
            'scale = "HO"\nunit = "mm"\nrailhead.Foot = 0',
            "[vertical_curve]\nlength = 150",
            '[line.Hill]\nfrom = "Foot"\nto = "Top"\ntrack = [',
            *rows,
            "]",
            '[route.Up]\nfrom = "Foot"\nto = "Top"',
            STOCK,
        ]
    )


def grid(stages: int, tracks_a_line: int, *, fixed_every: int = 20) -> str:
    """Passing places in a row, each of two lines between two turnouts; heights known here and there."""
    parts = ['scale = "HO"\nunit = "mm"', "[railhead]"]
    parts += [f"J{k} = {6 * k}" for k in range(0, stages + 1, fixed_every)]

    def line(name: str, start: str, stop: str, hand: str) -> None:
        rows = ", ".join(
            f"{{ {hand} = 800, length = 300 }}" if k % 2 else "{ straight = 400 }" for k in range(tracks_a_line)
        )
        parts.append(f'[line.{name}]\nfrom = "{start}"\nto = "{stop}"\ntrack = [ {rows} ]')

    for k in range(stages):
        line(f"A{k}", f"J{k}", f"K{k}", "left")
        line(f"B{k}", f"J{k}", f"K{k}", "right")
        line(f"C{k}", f"K{k}", f"J{k + 1}", "left")
        toe = f"C{k - 1}" if k else "Lead"
        parts.append(f'[turnout.J{k}]\ntoe = "{toe}"\nlegs = ["A{k}", "B{k}"]')
        parts.append(f'[turnout.K{k}]\ntoe = "C{k}"\nlegs = ["A{k}", "B{k}"]')
    line("Lead", "West", "J0", "left")
    return "\n".join(parts) + "\n" + STOCK
