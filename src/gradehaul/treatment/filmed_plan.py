"""The plan file that holds a keep-clean plan."""

from __future__ import annotations

from pathlib import Path

from gradehaul.errors import DesignError
from gradehaul.plan.edit.tracks import plan_with_rails
from gradehaul.treatment.keep_clean import KeepCleanPlan


def filmed_plan(found: KeepCleanPlan, folder: Path | None = None) -> str:
    """Return the text of the plan's file with a rail key on all track that may be filmed or is to be kept clean.

    It has the carry-over that the plan was made for, so that `check` counts film on the same track.
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
    carry_over = None if found.carry == found.plan.carry_over else found.carry
    return plan_with_rails(found.plan, found.rails, carry_over=carry_over, folder=folder)
