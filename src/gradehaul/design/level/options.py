"""The options of leveling, read from text: limits of railheads, and surveys by name or from a table."""

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


class SurveyOptions(NamedTuple):
    """Options about surveys, as text: their names, a table, the target, the largest shim and the step."""

    surveys: tuple[str, ...] = ()
    table: str | None = None
    target: str | None = None
    shim: str | None = None
    step: str | None = None

    @property
    def any(self) -> bool:
        """Whether there is any."""
        return any(value for value in self)


class LevelOptions(NamedTuple):
    """Options about railheads, as text: trains, heights to clear and not to exceed, and the change of grade."""

    trains: tuple[str, ...] = ()
    least: tuple[str, ...] = ()
    most: tuple[str, ...] = ()
    change: str | None = None


def leveled_by(plan: Plan, options: LevelOptions) -> Leveled:
    """Return the leveled railheads of a plan.

    Raises
    ------
    DesignError
        Limits that are not a joint and a height, or that contradict one another.
    QuantityError
        Text that is not the quantity expected.
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
                found[name.strip()] = read_quantity(height.strip(), "length", unit=plan.unit)
            except QuantityError as error:
                raise error.at(place=option) from error
        return found

    try:
        change = MOST_CHANGE if options.change is None else read_quantity(options.change, "grade")
    except QuantityError as error:
        raise error.at(place="--change") from error
    if change <= 0:
        raise DesignError("a change of grade is more than 0", place="--change", found=quoted(str(options.change)))
    return leveled(
        Layout(plan),
        trains=options.trains,
        least=limits("--at-least", options.least),
        most=limits("--at-most", options.most),
        change=change,
    )


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
        No such survey, a survey that cannot be used, or options that contradict one another.
    QuantityError
        Text that is not the quantity expected.
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

    all_target, all_shim = read("target", target, "grade"), read("shim", shim, "length")
    all_step = read("step", step, "length")
    found = []
    for survey in own:
        hill = surveyed(survey, file=plan.file, unit=plan.unit, reading=READING[system])
        meant = survey.grade if all_target is None else all_target
        usual = min(SHIM[system], survey.deck or SHIM[system])
        largest = (survey.shim or usual) if all_shim is None else all_shim
        smallest = (survey.step or STEP[system]) if all_step is None else all_step
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
