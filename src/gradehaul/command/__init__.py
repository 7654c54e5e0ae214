"""The command line: each verb reads its arguments, calls one function, and prints."""

from gradehaul.command.answers import check, profile, readings, report, treat, try_
from gradehaul.command.climbs import helix, incline
from gradehaul.command.group import main
from gradehaul.command.hills import clearance, fit, level, risers
from gradehaul.command.live import live
from gradehaul.command.plans import export, import_, map_, new

__all__ = ["main"]

for verb in (
    *(new, check, try_, profile, map_, live, report),
    *(readings, treat),
    *(fit, level, risers, clearance, helix, incline),
    *(import_, export),
):
    main.add_command(verb)
