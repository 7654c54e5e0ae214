"""What to do about a train that does not climb: leave cars, take it over in two parts, or help it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.outcome import Outcome
from gradehaul.haulage.train import made_up
from gradehaul.treatment.dividing import Doubling, Undivided, cars_to_leave, doubling
from gradehaul.treatment.helping import Help, helps


@dataclass(frozen=True, slots=True)
class WaysOver:
    """The ways over the hill for a train that does not climb on a rail condition.

    `leave` is the fewest cars to leave behind, None where that does not help; `double` how to take it over in two
    parts, or why that cannot be done; `help` what each locomotive does as a helper. Over reversals all of it holds leg
    by leg, with the train's order turned between them.
    """

    KEYS: ClassVar[str] = "train rail cars leave_cars=leave doubling=parts no_doubling=undivided helpers=help"

    train: str
    rail: str
    outcome: Outcome
    cars: int
    leave: int | None
    double: Doubling | Undivided
    help: tuple[Help, ...]

    @property
    def parts(self) -> Doubling | None:
        """How to take it over in two parts, None where that cannot be done."""
        return self.double if isinstance(self.double, Doubling) else None

    @property
    def undivided(self) -> Undivided | None:
        """Why it cannot be taken over in two parts, None where it can."""
        return None if isinstance(self.double, Doubling) else self.double


def ways_over(layout: Layout, answer: CheckAnswer) -> tuple[WaysOver, ...]:
    """Return the ways over for every named train that does not climb on a rail by which the layout is judged.

    Any locomotive of the plan may help.

    Examples
    --------
    >>> from gradehaul.haulage.answers.check import check
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan('''
    ... scale = "HO"
    ... unit = "m"
    ... railhead = { Foot = 0, Top = 0.1 }
    ... line.Yard = { from = "Far", to = "Foot", track = [{ straight = 4 }] }
    ... line.Hill = { from = "Foot", to = "Top", track = [{ straight = 4 }] }
    ... loco.tank = { mass = "400 g", length = "200 mm", pull.clean = "80 gf" }
    ... car.ore = { mass = "100 g", length = "140 mm" }
    ... train.up = { route = "Up", consist = ["tank", "10 ore"] }
    ... route.Up = { from = "Far", to = "Top" }
    ... ''')
    >>> found = ways_over(Layout(plan), check(plan, rails=["treated"]))[0]
    >>> found.rail, found.outcome, found.leave
    ('treated', 'marginal', 4)
    >>> found.help[0].districts[0].on, found.help[0].districts[0].off, found.help[0].enough
    ('Foot', 'Top', True)
    """
    plan = layout.plan
    found: list[WaysOver] = []
    for judged in answer.trains:
        if judged.rail not in answer.judged_rails or judged.outcome == "climbs":
            continue
        train = made_up(plan, plan.trains[judged.name])
        profile = layout.profile(judged.route)
        found.append(
            WaysOver(
                judged.name,
                judged.rail,
                judged.outcome,
                sum(count for _, count in train.cars),
                cars_to_leave(profile, train, judged.rail, layout.pulls),
                doubling(layout, profile, train, judged.rail),
                helps(layout, profile, train, judged.rail, tuple(plan.locos.values())),
            )
        )
    return tuple(found)
