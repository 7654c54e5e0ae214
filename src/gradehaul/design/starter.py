"""Plans to start from: small invented layouts for any scale, with a word on every line that a builder will change."""

from __future__ import annotations

from collections.abc import Mapping

from gradehaul.design.starter_tracks import LAYOUTS, Form, Sizes
from gradehaul.errors import DesignError, QuantityError
from gradehaul.plan.names import instead, quoted
from gradehaul.quantities import length_unit
from gradehaul.scales import Practice, scale_named

_REMARKS = 54
"""The column in which remarks stand behind a line."""

FORMS: Mapping[Form, str] = {name: layout.words for name, layout in LAYOUTS.items()}
"""What there is to start from."""


def starter(form: str, *, scale: str, unit: str, title: str) -> str:
    """Return the text of a plan to start from, which `check` runs as it stands.

    Its lengths are those of a small layout in HO, brought to the scale and rounded; its stock is invented, to be
    weighed, measured and replaced.

    Parameters
    ----------
    form
        One of `FORMS`.
    scale
        A scale of the table, such as ``HO``.
    unit
        What a bare length means; metric ones go with NEM practice, inches and feet with NMRA.
    title
        The title.

    Raises
    ------
    DesignError
        No such form.
    PlanError
        No such scale.
    QuantityError
        No such unit.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> plan = read_plan(starter("helix", scale="N", unit="mm", title="Two levels"))
    >>> plan.scale.name, plan.unit, plan.practice, list(plan.lines), list(plan.trains)
    ('N', 'mm', 'NEM', ['Helix'], ['freight'])
    """
    import tomlkit

    layout = next((each for name, each in LAYOUTS.items() if name == form), None)
    if layout is None:
        raise DesignError("there is no such layout", place="--layout", found=quoted(form), write=instead(form, FORMS))
    own = scale_named(scale, option="--scale")
    try:
        unit = length_unit(unit)
    except QuantityError as error:
        raise error.at(place="--unit") from error
    practice: Practice = "NMRA" if unit in ("in", "ft") else "NEM"
    size = Sizes(own, practice, unit)
    start, end = layout.route
    return _aligned(f"""\
# {layout.words.capitalize()}, to start from: change its figures to yours. All is invented.
# Run it as it stands with: gradehaul check FILE

title    = {tomlkit.string(title).as_string()}
scale    = {quoted(own.name)}
unit     = "{unit}"                            # of bare lengths; any other is a string, as in "70 cm"
practice = "{practice}"                        # whose weights and clearances hold

# Track: heights of the railhead where you measured or decided them; between them it climbs evenly.
{layout.track(size)}
# Stock. Weigh it, and read pulls from a spring balance; what you leave out is taken from common practice.

[loco.engine]
mass   = "{size.loco}"
length = {size.bare(180)}                          # over couplers
driven_wheels = 8
tyred_wheels  = 0                           # of these, how many have rubber traction tires
# [loco.engine.pull]                        # standing pull, read on level straight track, a few times
# clean           = ["{size.pull(0.235)}", "{size.pull(0.242)}"]
# "treated fresh" = "{size.pull(0.127)}"                 # on the day the film is wiped on a loose plank of track
# treated         = "{size.pull(0.153)}"                 # after a day's rest

[car.boxcar]
mass   = "{size.car}"
length = {size.bare(150)}

# Trains, and the ways they take.

[route.Up]
from = "{start}"
to   = "{end}"

[train.freight]
route   = "Up"
consist = ["engine", "{layout.cars} boxcar"]             # head to tail
""")


def _aligned(text: str) -> str:
    """Return text with the remarks behind its lines in one column."""
    lines = []
    for line in text.splitlines():
        code, mark, remark = line.partition("  #")
        lines.append(f"{code.rstrip():<{_REMARKS}}  #{remark}" if mark and code.strip() else line)
    return "\n".join(lines) + "\n"
