"""What a save changed: the outcomes and pulls to spare of the trains, before and after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from gradehaul.haulage.answers.judged import JudgedTrain, worst_of_each
from gradehaul.show.base.reading_units import Reader


def changes(before: Sequence[JudgedTrain], after: Sequence[JudgedTrain], reader: Reader) -> Iterator[str]:
    """Yield a line for each train that a save changed, for each new one, and for each that is gone.

    Both lists have the trains on the judged rail conditions.
    """
    was, now = ({train.name: train for train in worst_of_each(trains)} for trains in (before, after))
    for name, train in now.items():
        if name not in was:
            yield f"{name}: new, {train.outcome}, {reader.force(train.verdict.margin)} to spare"
            continue
        old = was[name]
        forces = reader.force(old.verdict.margin), reader.force(train.verdict.margin)
        (old_figure, old_unit), (figure, unit) = (force.split(" ") for force in forces)
        was_force = old_figure if old_unit == unit else forces[0]
        words = [f"{was_force} to {figure} {unit}"] if forces[0] != forces[1] else []
        words += [f"was {old.outcome}, now {train.outcome}"] if old.outcome != train.outcome else []
        if words:
            yield f"{name}: {'; '.join(words)}"
    yield from (f"{name}: gone" for name in was if name not in now)
