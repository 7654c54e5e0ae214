"""How the measuring of berths grows with the yard."""

from __future__ import annotations

from gradehaul.plan import read_plan
from gradehaul.track.alignment import align
from gradehaul.track.proximity.fouling import clear_lengths


def yard(berths: int) -> str:
    """A ladder of turnouts with a berth on every leg."""
    parts = ['scale = "HO"\nunit = "mm"\nrailhead.Start = 0']
    for k in range(berths):
        toe = "Lead" if k == 0 else f"L{k - 1}"
        parts.append(f'[line.B{k}]\nfrom = "J{k}"\nto = "E{k}"\nberth = "Berth {k}"')
        parts.append("track = [{ left = 600, angle = 10 }, { straight = 1200 }]")
        parts.append(f'[line.L{k}]\nfrom = "J{k}"\nto = "{f"J{k + 1}" if k + 1 < berths else "End"}"')
        parts.append(f'track = [{{ straight = 300 }}]\n[turnout.J{k}]\ntoe = "{toe}"\nlegs = ["B{k}", "L{k}"]')
    parts.append('[line.Lead]\nfrom = "Start"\nto = "J0"\ntrack = [{ straight = 300 }]')
    return "\n".join(parts)


def test_four_times_the_yard(ratio):
    small, large = (align(read_plan(yard(count))) for count in (50, 200))
    ratio(
        "200 berths measured over 50",
        lambda: clear_lengths(large),
        lambda: clear_lengths(small),
        most=6,
    )
