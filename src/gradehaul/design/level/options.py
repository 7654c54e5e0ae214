"""What is asked of leveling, read from text: surveys by name or from a table, with what was meant."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal, NamedTuple

from gradehaul.design.level.railheads import MOST_CHANGE, Leveled, leveled
from gradehaul.design.level.risers import SHIM, STEP, Corrections, corrections
from gradehaul.design.level.survey import READING, survey_of_table, surveyed
from gradehaul.errors import DesignError, QuantityError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan.names import instead, quoted
from gradehaul.plan.records import Plan
from gradehaul.quantities import Kind, read_quantity


class Shims(NamedTuple):
    """What is asked about surveys, as text: their names, a table, the target, the largest shim and the step."""

    surveys: tuple[str, ...] = ()
    table: str | None = None
    target: str | None = None
    shim: str | None = None
    step: str | None = None

    @property
    def any(self) -> bool:
        """Whether anything about surveys is asked."""
        return any(value for value in self)


class Heights(NamedTuple):
    """What is asked about railheads, as text: trains, heights to clear and not to exceed, and the change of grade."""

    trains: tuple[str, ...] = ()
    least: tuple[str, ...] = ()
    most: tuple[str, ...] = ()
    change: str | None = None


def leveled_as_asked(plan: Plan, asked: Heights) -> Leveled:
    """Return the leveled railheads of a plan.

    Raises
    ------
    DesignError
        Limits that are not a joint and a height, or that contradict one another.
    QuantityError
        Text that is not the quantity asked for.
    """

    def limits(option: str, texts: Sequence[str]) -> dict[str, float]:
        found: dict[str, float] = {}
        for text in texts:
            name, sign, height = text.rpartition("=")
            if not sign:
                raise DesignError(
                    "a limit is a joint and a height",
                    place=option,
                    found=quoted(text),
                    write=f'{option} "Bridge = 4 in"',
                )
            try:
                found[name.strip()] = read_quantity(_bare(height.strip()), "length", unit=plan.unit)
            except QuantityError as error:
                raise error.at(place=option) from error
        return found

    try:
        change = MOST_CHANGE if asked.change is None else read_quantity(asked.change, "grade")
    except QuantityError as error:
        raise error.at(place="--change") from error
    if change <= 0:
        raise DesignError("a change of grade is more than 0", place="--change", found=quoted(str(asked.change)))
    return leveled(
        Layout(plan),
        trains=asked.trains,
        least=limits("--at-least", asked.least),
        most=limits("--at-most", asked.most),
        change=change,
    )


def _bare(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def corrected_surveys(
    plan: Plan,
    system: Literal["metric", "imperial"],
    *,
    surveys: Sequence[str] = (),
    table: str | None = None,
    target: str | None = None,
    shim: str | None = None,
    step: str | None = None,
) -> tuple[Corrections, ...]:
    """Return the corrections of surveys by name, of all where neither names nor a table are given.

    Raises
    ------
    DesignError
        No such survey, a survey that cannot be used, or wishes that contradict one another.
    QuantityError
        Text that is not the quantity asked for.
    OSError
        A table that cannot be read.
    """
    names = list(dict.fromkeys(surveys or ([] if table else plan.surveys)))
    for name in names:
        if name not in plan.surveys:
            write = instead(name, plan.surveys) or "[survey.NAME] in the plan"
            raise DesignError("the plan has no survey of this name", place="--survey", found=quoted(name), write=write)
    if not names and table is None:
        write = "[survey.NAME] with heights = [[0, 0], ...], or --heights FILE.csv"
        raise DesignError("the plan has no survey", file=plan.file, write=write)
    own = [plan.surveys[name] for name in names]
    if table is not None:
        own.append(survey_of_table(Path(table), plan.unit))

    def read(option: str, text: str | None, kind: Kind) -> float | None:
        try:
            return None if text is None else read_quantity(text, kind, unit=plan.unit)
        except QuantityError as error:
            raise error.at(place=f"--{option}") from error

    asked_target, asked_shim = read("target", target, "grade"), read("shim", shim, "length")
    asked_step = read("step", step, "length")
    found = []
    for survey in own:
        hill = surveyed(survey, file=plan.file, unit=plan.unit, reading=READING[system])
        meant = survey.grade if asked_target is None else asked_target
        usual = min(SHIM[system], survey.deck or SHIM[system])
        largest = (survey.shim or usual) if asked_shim is None else asked_shim
        smallest = (survey.step or STEP[system]) if asked_step is None else asked_step
        if largest < smallest or smallest <= 0:
            raise DesignError(
                "the largest shim must be at least one step that can be read",
                file=plan.file,
                place=f"survey {quoted(survey.name)}",
                found=f"{1000 * largest:g} mm with steps of {1000 * smallest:g} mm",
                write="a larger shim, or a smaller step",
            )
        if survey.deck is not None and largest > survey.deck:
            raise DesignError(
                "a shim must not go through the deck",
                file=plan.file,
                place="--shim",
                found=f"{1000 * largest:g} mm, where the deck is {1000 * survey.deck:g} mm thick",
                write="a smaller shim",
            )
        found.append(corrections(hill, target=meant, step=smallest, shim=largest))
    return tuple(found)
