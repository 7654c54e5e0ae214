"""Writing a drawing's network as a plan file, new or over one that a person has gone on with."""

from gradehaul.plan.edit.writer.drawn_tables import heights_before, lines_before, unit_of
from gradehaul.plan.edit.writer.text import MARK
from gradehaul.plan.edit.writer.updating import Changes, Written, new_plan, updated_plan

__all__ = [
    "MARK",
    "Changes",
    "Written",
    "heights_before",
    "lines_before",
    "new_plan",
    "unit_of",
    "updated_plan",
]
