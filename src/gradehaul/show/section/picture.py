"""The picture of a long section: a train's pull against its demand, the railhead, and a band of figures below."""

from __future__ import annotations

from typing import TYPE_CHECKING

from gradehaul.haulage.verdict import how_well
from gradehaul.haulage.views.section import Haul, LongSection, PullGiven
from gradehaul.quantities import convert
from gradehaul.show.base.colors import FAINT
from gradehaul.show.base.paper import SIZES, Panel, Paper, SizeName
from gradehaul.show.base.picture import as_picture
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.outcome_words import short_words
from gradehaul.show.section.pull import care_key, draw_care, draw_pull, name_care, troubles
from gradehaul.show.section.text import condition_words
from gradehaul.show.section.track import draw_effective, draw_railhead, figures_band
from gradehaul.track.heights.vertical import UNCHANGED

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_PULL_SHARE = 0.4
"""The share of the sheet's height that the pull takes, with what happens along the route below it."""


def long_section_figure(section: LongSection, units: UnitFormat, *, size: SizeName = "a4") -> Figure:
    """Return the picture as a figure; to be called by the `drawing_rules`, as is all that is done with it."""
    haul = section.haul
    judged = [] if haul is None else [each for each in haul.given if each.judged]
    unit, roomy = units.length_unit, SIZES[size].height is not None
    paper = Paper(SIZES[size], _headline(section, units, judged), _words(section, units, judged), key=care_key(judged))
    band = figures_band(paper, section, units)
    troubled = [each for each in judged if any(troubles(each).values())]
    care = len(troubled) * (0.14 if roomy else 0.28)
    pull = {"pull": Panel(_PULL_SHARE * paper.figure.get_figheight() - care - 0.3 * bool(troubled) if roomy else 2.6)}
    panels = paper.panels(
        {
            **(pull if haul else {}),
            **({"care": Panel(care)} if troubled else {}),
            "railhead": Panel(0.42, 0.55),
            "grade": Panel(0.36, 0.45),
            "band": Panel(band.height),
        },
        (0.0, convert(section.profile.length, unit)),
    )
    if haul is not None:
        draw_pull(paper, panels["pull"], haul, judged, units)
    if haul is not None and troubled:
        name_care(paper, panels["care"], [condition_words(haul, each) for each in troubled], roomy=roomy)
    times = draw_railhead(paper, panels["railhead"], section, units, draw_effective(panels["grade"], section, units))
    band.prepare(panels["band"])
    paper.settle()
    if haul is not None and troubled:
        draw_care(panels["care"], haul, judged, troubled, unit)
    band.draw(panels["band"])
    times()
    for joint in section.joints:
        for name in panels.keys() & {"pull", "railhead", "grade"}:
            panels[name].axvline(convert(joint.at, unit), color=FAINT, lw=0.6, ls=(0, (1.2, 1.8)), zorder=1)
    return paper.figure


long_section_picture = as_picture(long_section_figure)


def _headline(section: LongSection, units: UnitFormat, judged: list[PullGiven]) -> str:
    """Return the answer: what becomes of the train on the worst of the judged rails, else the ruling grade."""
    if section.haul is None:
        ruling = section.profile.ruling()
        if ruling.effective < UNCHANGED:
            return f"{section.route.name}: nothing to climb"
        where = section.profile.track_at(ruling.start, ahead=True)
        return f"{section.route.name}: ruling grade {units.grade(ruling.effective)} on {where}"
    worst = _worst(judged)
    words = outcome_text(section.haul, worst, units)
    rail = f" ({condition_words(section.haul, worst)})" if len(judged) > 1 or section.haul.hours is not None else ""
    return f"{section.haul.name} {'is ' if words.startswith(('marginal', 'too long')) else ''}{words}{rail}"


def _words(section: LongSection, units: UnitFormat, judged: list[PullGiven]) -> list[str]:
    plan, profile, haul = section.plan, section.profile, section.haul
    length, climb, fall = (units.length(value) for value in (profile.length, profile.climb, profile.fall))
    scale = "" if plan.scale.name.startswith("1:") else f"{plan.scale.name} "
    train = "" if haul is None else f". Train {haul.name}: {units.length(haul.train.length)} long"
    begins = "leg" if section.route.number else "route"
    whole = (
        f"{plan.title}: route {section.route.name}, {length} long, climbs {climb}, falls {fall}, scale {scale}"
        f"1:{plan.scale.ratio:.4g}{train}. Distances are from where the {begins} begins, in {units.lengths}"
    )
    words = [whole]
    if haul is not None:
        rails = [f"{condition_words(haul, each)}: {outcome_text(haul, each, units)}"
                 for each in judged if each is not _worst(judged)]  # fmt: skip
        films = [f"with {condition_words(haul, each)}: {outcome_text(haul, each, units)}"
                 for each in haul.given if not each.judged]  # fmt: skip
        words += [". ".join(each[0].upper() + each[1:] for each in rails + films)]
    return words


def _worst(judged: list[PullGiven]) -> PullGiven:
    return min(judged, key=lambda each: how_well(each.verdict))


def outcome_text(haul: Haul, given: PullGiven, units: UnitFormat) -> str:
    """Return the outcome in words; of a leg, with that of the whole route where it differs."""
    here = given.verdict.outcome
    if given.outcome in (here, "too long"):
        return short_words(given.outcome, given.verdict, haul.misfits, units)[0]
    leg = short_words(here, given.verdict, haul.misfits, units)[0]
    return f"{leg} on this leg; {given.outcome} on the whole route"
