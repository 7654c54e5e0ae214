"""The command line: each verb reads its arguments, calls one function, and prints."""

from gradehaul.command.answers import check, profile, report
from gradehaul.command.bench import readings
from gradehaul.command.climbs import helix, incline
from gradehaul.command.drawings import export, import_, map_
from gradehaul.command.film import treat
from gradehaul.command.fit import fit
from gradehaul.command.group import main
from gradehaul.command.hills import clearance, level
from gradehaul.command.new import new
from gradehaul.command.risers import risers

__all__ = ["main"]

for verb in (
    new,
    check,
    profile,
    report,
    map_,
    export,
    import_,
    readings,
    treat,
    helix,
    incline,
    clearance,
    level,
    fit,
    risers,
):
    main.add_command(verb)
