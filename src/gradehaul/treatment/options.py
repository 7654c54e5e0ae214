"""The options of a keep-clean plan, read from text; and the plan file that holds its film."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from gradehaul.errors import DesignError, QuantityError
from gradehaul.plan.edit.rail_keys import plan_with_rails
from gradehaul.plan.resolve.stock import CLEAN
from gradehaul.quantities import Kind, read_quantity
from gradehaul.treatment.carry import CARRY
from gradehaul.treatment.keep_clean import KeepCleanOptions, KeepCleanPlan, Use
from gradehaul.treatment.needs import Need


def read_options(
    unit: str,
    *,
    trains: Sequence[str] = (),
    film: str | None = None,
    need: Need = "climbs",
    reserve: str = "0 %",
    step: str | None = None,
    carry: str | None = None,
) -> KeepCleanOptions:
    """Return options, of which lengths and shares are text; bare lengths read in the plan's unit.

    Raises
    ------
    QuantityError
        Text that is not the quantity expected.

    Examples
    --------
    >>> read_options("in", reserve="15 %", step="10").step
    0.254
    """
    return KeepCleanOptions(
        trains=tuple(trains),
        film=film,
        need=need,
        reserve=_read("reserve", reserve, "share", None),
        step=None if step is None else _read("step", step, "length", unit),
        carry=CARRY if carry is None else _read("carry", carry, "length", unit),
    )


def _read(option: str, text: str, kind: Kind, unit: str | None) -> float:
    try:
        return read_quantity(text, kind, unit=unit)
    except QuantityError as error:
        raise error.at(place=f"--{option}") from error


_RAIL: dict[Use, str] = {"keep clean": CLEAN, "buffer": CLEAN}
"""What is written on track that is not filmed: so a plan that leaves nothing to film says so."""


def plan_with_film(found: KeepCleanPlan, folder: Path | None = None) -> str:
    """Return the text of the plan's file with a rail key on all track that may be filmed or is to be kept clean.

    `folder` is that of the copy; None for that of the plan. Track on which no train in question runs is left as it is.

    Raises
    ------
    DesignError
        There is no plan to write, or it has stretches shorter than a track.
    PlanError
        Lines that do not stand in the file, or text that cannot be changed so.
    """
    if found.beyond:
        raise DesignError(
            "no plan can help, so none is written",
            file=found.plan.file,
            found=f"{', '.join(dict.fromkeys(place.train for place in found.beyond))} beyond its pull",
            write="--train with the trains that can run",
        )
    if found.options.step is not None:
        raise DesignError("a rail key is for a whole track", place="-o", found="stretches", write="-o without --step")
    rails = {row.unit.track: _RAIL.get(row.use, found.film) for row in found.rows if row.use in ("film", *_RAIL)}
    return plan_with_rails(found.plan, rails, folder=folder)
