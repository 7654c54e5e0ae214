"""How trains do, in words: outcomes, sentences and headlines, the same in text, pictures, the page and its script."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from gradehaul.haulage.answers.check import CheckAnswer
from gradehaul.haulage.answers.judged import Judged, Misfit, StandsOut, TrainAnswer, worst_of_each
from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.verdict import FAILS, WORST_FIRST, HeadStretch, Outcome, Verdict, worst
from gradehaul.plan.rail_condition import CLEAN, PLANNED, RailCondition
from gradehaul.plan.records import Plan
from gradehaul.scales import Scale
from gradehaul.show.base.labels import apart, chance_words, listed, rail_name
from gradehaul.show.base.page import Piece, words_of
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.track.proximity.fouling import Fouling

OUTCOMES: Mapping[Outcome, tuple[str, str]] = {
    "stalls": ("STALLS", "bold red"),
    "runs away": ("RUNS AWAY", "bold red"),
    "too long": ("TOO LONG", "bold red"),
    "marginal": ("marginal", "yellow"),
    "climbs": ("climbs", "green"),
}
"""An outcome in a table, with its style."""

_DOWN: Outcome = "climbs"
HELD_BACK = ("held back", OUTCOMES[_DOWN][1])
"""The outcome ``climbs`` of a train that has nothing to climb."""

_MEETS = 1e-3
"""Tracks no farther apart than this, m, meet: at a turnout or a crossing."""

DOES: Mapping[Outcome, tuple[str, str]] = {
    "stalls": ("stalls", "stall"),
    "runs away": ("runs away", "run away"),
    "too long": ("is too long", "are too long"),
    "marginal": ("is marginal", "are marginal"),
    "climbs": ("gets through", "get through"),
}
"""What one train does behind its name, and what several do."""

SHORT: Mapping[Outcome, tuple[str, ...]] = {
    "stalls": (
        "stalls first at {at} on {track}; at worst {lacks} short, at {worst}",
        "stalls on {track}; at worst {lacks} short",
        "stalls at {at} on {track}",
        "stalls on {track}",
        "stalls",
    ),
    "runs away": ("runs away first from {at} to {end}, on {track}", "runs away on {track}", "runs away"),
    "too long": ("too long for {room}", "too long"),
    "marginal": (
        "marginal, {lacks} short if {when}, at {at} on {track}",
        "marginal, {lacks} short if {when}",
        "marginal",
    ),
    "climbs": ("climbs, {spare} to spare at {at} on {track}", "climbs, {spare} to spare", "climbs"),
}
"""An outcome in a few words, the longest wording first; places are those of the train's head."""

SENTENCES: Mapping[str, str] = {
    "stalls": "It stalls {head}. It needs more than it can pull {where}.",
    "marginal": "It gets through only with care.",
    "no stopping": "It must not stop, since it would not start again, {where}.",
    "no recovery": "It would not recover from a slip {where}.",
    "climbs": "It gets through even if the wheels slip, and can stop and start again anywhere.",
    "spare": "It has {spare} to spare where that is least, {head}.",
    "stand short": "At worst it is {lacks} short, {head}.",
    "slip short": "It is {lacks} short if the wheels slip, {head}.",
    "restart short": "It is {lacks} short if it must start again, {head}.",
    "hold short": "To be held back it is {lacks} short at worst, {head}.",
    "runs away": "Downhill it runs away: the cars push the locomotives {where}.",
    "held back": "Downhill it is held back.",
    "uphill": "Uphill: {words}",
    "too long": "It is {length} long and does not fit {room}, which holds {holds}.",
    "run-round": "Its locomotives are {length} long and do not fit {room}, which holds {holds}.",
    "head": "with its head at {at} on {track}",
}
"""The sentences of a verdict."""


def outcome_cells(train: Judged, units: UnitFormat) -> list[Piece]:
    """Return the outcome of a train, its risk, and the pull to spare; that it does not fit is sure, and no risk."""
    risk = "–" if train.outcome == "too long" else chance_words(train.risk)
    return [outcome_piece(train.outcome, train.verdict), risk, spare_words(train.outcome, train.verdict, units)]


def outcome_piece(outcome: Outcome, verdict: Verdict) -> tuple[str, str]:
    """Return an outcome in a table, with its style."""
    return HELD_BACK if outcome == "climbs" and not verdict.uphill else OUTCOMES[outcome]


def spare_words(outcome: Outcome, verdict: Verdict, units: UnitFormat) -> str:
    """Return the pull to spare in a table; none where no pull helps: a train that is too long."""
    return "–" if outcome == "too long" else units.force(verdict.spare)


def plain_words(outcome: Outcome, verdict: Verdict, misfits: Sequence[Misfit]) -> str:
    """Return an outcome with its place, without a figure: ``stalls on Hill:3``."""
    wording = {"stalls": 3, "runs away": 1, "too long": 0}.get(outcome, -1)
    room = misfits[0].place if misfits else ""
    words = SHORT[outcome][wording].format(track=apart(verdict.fails_on), room=apart(room))
    return HELD_BACK[0] if outcome == "climbs" and not verdict.uphill else words


def marginal_words(verdict: Verdict, profile: RouteProfile) -> str:
    """Return by which rule a train is marginal, with the first place: its pull while the wheels hold is enough."""
    rules = [
        (verdict.no_stopping, "it would not start again after a stop on {track}"),
        (verdict.no_recovery, "slipping wheels would not recover on {track}"),
    ]
    found = {words: profile.track_at(stretches[0].start, ahead=True) for stretches, words in rules if stretches}
    if len(found) > len(set(found.values())):
        return f"it would not restart after a stop or a slip on {apart(next(iter(found.values())))}"
    return " and ".join(words.format(track=apart(track)) for words, track in found.items())


def short_words(outcome: Outcome, verdict: Verdict, misfits: Sequence[Misfit], units: UnitFormat) -> list[str]:
    """Return wordings of an outcome in a few words, the fullest first."""
    away = verdict.running_away[0] if outcome == "runs away" else None
    values = {
        "at": units.length(verdict.fails_at),
        "end": units.length(away.stop) if away is not None else "",
        "track": verdict.fails_on,
        "spare": units.force(verdict.spare),
        "lacks": units.force(-verdict.spare),
        "worst": units.length(verdict.spare_at),
        "when": "it must start again" if verdict.spare_by == "restart" else "the wheels slip",
        "room": misfits[0].place if misfits else "",
    }
    found = [words.format(**values) for words in SHORT[outcome]]
    down = outcome == "climbs" and not verdict.uphill
    return [words.replace("climbs", HELD_BACK[0], 1) for words in found] if down else found


def misfit_words(misfit: Misfit, units: UnitFormat) -> str:
    """Return in a sentence that a place does not hold a train."""
    kind = "run-round" if misfit.kind == "run-round" else "too long"
    length, holds = units.lengths_apart(misfit.length, misfit.available)
    return SENTENCES[kind].format(length=length, room=apart(misfit.place), holds=holds)


def standing_out_words(standing: StandsOut, units: UnitFormat) -> str:
    """Return in a sentence which part of a train stands out of a berth as it reverses there, and on which track."""
    holds, outside = units.length(standing.clear), units.length(standing.outside)
    on = listed([apart(track) for track in standing.tracks])
    return f'As it reverses, berth "{apart(standing.berth)}" holds {holds} of it; {outside} of it stand on {on}.'


def spread_words(plan: Plan, units: UnitFormat) -> str:
    """Return how far film counts past wiped track; a guess, unless the plan states it."""
    guess = " (a guess)" if plan.carry_basis == "assumed" else ""
    return f"Wheels spread film: it is counted up to {units.length(plan.carry_over)}{guess} past wiped track."


def fouled_words(fouled_by: Iterable[Fouling], scale: Scale, units: UnitFormat) -> str:
    """Return what ends the clear length of a berth: the track, how near it comes, and what trains need to pass.

    On curves that is more than on straight track, where it is that under which `clearance` fails.
    """

    def centers(value: float) -> str:
        return units.length(value, fine=units.system == "imperial")  # as `clearance` has them

    words, straight = [], scale.fouling_distance
    for each in fouled_by:
        near = f"{units.length(each.distance)} away" if each.distance > _MEETS else "which it meets"
        curved = each.needed > straight + 5e-5
        needs = f"{centers(each.needed)} between track centers"
        needs += f" on the curves there, {centers(straight)} on straight track" if curved else ""
        words.append(f"fouls {each.track}, {near}; to pass, trains need {needs}")
    return "; ".join(words)


def stretch_words(stretch: HeadStretch, profile: RouteProfile, units: UnitFormat) -> str:
    """Return where a stretch of a route begins and ends, and on which track."""
    first, last = profile.track_at(stretch.start, ahead=True), profile.track_at(stretch.stop)
    one = first == last or stretch.stop <= stretch.start
    under = f"on {apart(first)}" if one else f"{apart(first)} to {apart(last)}"
    start, stop = units.length(stretch.start), units.length(stretch.stop)
    return f"at {start}, {under}" if start == stop else f"from {start} to {stop}, {under}"


def care_lines(verdict: Verdict, profile: RouteProfile, units: UnitFormat) -> Iterator[str]:
    """Yield where a train stalls or runs away; where it gets by, also where it must not stop and would not recover."""
    cares = {"stalls": verdict.stalling, "runs away, its cars pushing the locomotives,": verdict.running_away}
    if not verdict.stalling:
        cares["must not stop, since it would not start again,"] = verdict.no_stopping
        cares["would not recover from a slip"] = verdict.no_recovery
    for words, stretches in cares.items():
        if stretches:
            yield f"{words} {'; '.join(stretch_words(stretch, profile, units) for stretch in stretches)}"


_NAMED = 6
"""Trains that a headline names, the worst first."""


def headline(answer: CheckAnswer) -> list[Piece]:
    """Return in a sentence or two how all named trains do on the judged rails, and what was left out."""
    judged = worst_of_each(answer.on(answer.judged_rails))
    total = len(answer.plan.trains)
    pieces: list[Piece] = []
    if judged:
        pieces = sentence(judged, total, judged_on(answer.judged_rails, answer.hours), f" of {total} trains")
        run = {each.route for each in judged}
        falls = any(route.profile.fall for route in answer.routes if route.route.name in run)
        if falls and len(judged) == total and all(each.outcome == "climbs" for each in judged):
            pieces[-1:] = [f"{words_of(pieces[-1])[:-1]}, and {'is' if total == 1 else 'are'} held back downhill."]
        if answer.not_checked and worst(each.outcome for each in judged) not in FAILS:
            pieces = [piece if isinstance(piece, str) else (piece[0], "yellow") for piece in pieces]
    elif total:
        pieces = [("No train is judged.", "bold red")]
    if answer.not_checked:
        pieces += [" " if pieces else "", ("NOT CHECKED", "bold red"), f": {'; '.join(answer.not_checked)}."]
    return pieces


def film_headlines(answer: CheckAnswer) -> list[list[Piece]]:
    """Return for each film in a sentence how the trains would do with it on all rails, at its worse age."""
    total = len(answer.plan.trains)
    return [sentence(trains, total, f" with {name}") for name, trains in film_everywhere(answer).items()]


def film_everywhere(answer: CheckAnswer) -> dict[str, list[TrainAnswer]]:
    """Return the trains with each film everywhere that is not judged, each at the age that is worse for it."""
    found = {name: answer.on(ages) for name, ages in everywhere(answer.film_rails, answer.hours).items()}
    return {name: worst_of_each(trains) for name, trains in found.items() if trains}


def everywhere(film_rails: Iterable[str], hours: float | None = None) -> dict[str, list[str]]:
    """Return what it is called to have each film everywhere, at an age of all film or not, with the names of its ages.

    >>> everywhere(["treated", "treated fresh"])
    {'film everywhere': ['treated', 'treated fresh']}
    """
    films: dict[str, list[str]] = {}
    for rail in film_rails:
        films.setdefault(RailCondition.named(rail).rested.name, []).append(rail)
    one, age = len(films) == 1, at_age(hours)
    return {f"film {'' if one else f'{apart(film)} '}everywhere{age}": ages for film, ages in films.items()}


def summary(answer: CheckAnswer) -> str:
    """Return the headlines as one text without style."""
    return " ".join("".join(map(words_of, each)) for each in (headline(answer), *film_headlines(answer))).strip()


def sentence(trains: Sequence[TrainAnswer], total: int, where: str, of: str = "") -> list[Piece]:
    """Return what trains do in a sentence, with their rail first where some fail, else last.

    `of` says behind the first count of how many trains it is.
    """
    outcome = worst(each.outcome for each in trains)
    style = OUTCOMES[outcome][1]
    first = f"{where[1:2].upper()}{where[2:]} "
    if total == 1:
        if outcome == "climbs":
            return [(f"{apart(trains[0].name)} gets through", style), f"{where}."]
        return [first, (outcome_of_train(trains[0]), style), "."]
    if outcome == "climbs" and len(trains) == total:
        return [("Both trains get through" if total == 2 else f"All {total} trains get through", style), f"{where}."]
    count, colon, rest = "; ".join(_counted(trains, of)).partition(":")
    return [first, (count, style), f"{colon}{rest}."]


def _counted(trains: Sequence[TrainAnswer], of: str) -> Iterator[str]:
    """Yield how many trains come to each outcome, the worst first, those that do not climb by name."""
    left = _NAMED
    failing = [outcome for outcome in WORST_FIRST if any(each.outcome == outcome != "climbs" for each in trains)]
    for outcome in failing or WORST_FIRST[-1:]:
        those = [each for each in trains if each.outcome == outcome]
        every = len(those) == len(trains) > 1
        who = f"{len(those)}{of}" if not every else "both trains" if len(those) == 2 else f"all {len(those)} trains"
        words = f"{who} {DOES[outcome][len(those) > 1]}"
        of = ""
        bare = outcome == "climbs" or (every and outcome == "marginal")  # no place to name
        named = [] if bare else [_with_place(each) for each in those[:left]]
        left -= len(named)
        more = [f"{len(those) - len(named)} more"] if named and len(those) > len(named) else []
        yield f"{words}: {', '.join((*named, *more))}" if named else words


def _with_place(train: TrainAnswer) -> str:
    """Return the name of a train that does not climb, with where it fails."""
    name = apart(train.name)
    match train.outcome:
        case "marginal":
            return name
        case "too long":
            return f"{name} (for {apart(train.misfits[0].place)})"
        case _:
            return f"{name} (on {apart(train.verdict.fails_on)})"


def judged_on(rails: Collection[str], hours: float | None = None) -> str:
    """Return on which rail trains are judged, behind a verb."""
    if set(rails) <= set(PLANNED):
        return f" as planned{at_age(hours)}"
    names = conditions(rails) if hours is None else dict.fromkeys(RailCondition.named(r).rested.name for r in rails)
    return f" on {' and '.join(map(apart, names))} rail{'' if set(names) == {CLEAN} else at_age(hours)}"


def at_age(hours: float | None) -> str:
    """Return an age that all film is judged at, behind what is judged; nothing where both fresh and rested are.

    >>> "film everywhere" + at_age(6.0), "film everywhere" + at_age(None)
    ('film everywhere at 6 h', 'film everywhere')
    """
    return "" if hours is None else f" at {hours:g} h"


def rail_at(rail: str, hours: float | None) -> str:
    """Return a rail condition by its name, or with the age of all film.

    >>> rail_at("treated fresh", 6.0), rail_at("treated fresh", None), rail_at("clean", 6.0)
    ('treated at 6 h', 'treated fresh', 'clean')
    """
    return rail_name(next(iter(conditions([rail], hours))))


def conditions(rails: Collection[str], hours: float | None = None) -> dict[str, list[str]]:
    """Return rail conditions by name, both ages of a film as one where both are there, or with the age of all film.

    >>> conditions(["clean", "treated", "treated fresh", "graphite fresh"])
    {'clean': ['clean'], 'treated': ['treated', 'treated fresh'], 'graphite fresh': ['graphite fresh']}
    >>> conditions(["clean", "treated fresh"], 6.0)
    {'clean': ['clean'], 'treated at 6 h': ['treated fresh']}
    """
    found: dict[str, list[str]] = {}
    for rail in rails:
        rested = RailCondition.named(rail).rested.name
        name = rested if rested in rails or hours is not None else rail
        found.setdefault(name if name == CLEAN else name + at_age(hours), []).append(rail)
    return found


def outcome_of_train(train: TrainAnswer) -> str:
    """Return the outcome of a train behind its name, with its place, or what it must not do where it is marginal."""
    if train.outcome == "marginal":
        return f"{apart(train.name)} is marginal: it must not slip or stop on the hill"
    words = plain_words(train.outcome, train.verdict, train.misfits)
    return f"{apart(train.name)} {'is ' if train.outcome == 'too long' else ''}{words}"
