"""The keep-clean plan for a person: how much may be treated, on what that depends, and its tracks, as a table too."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import groupby

from gradehaul.errors import clean
from gradehaul.haulage.answers.judged import Judged
from gradehaul.haulage.verdict import FAILS, WORST_FIRST, Need
from gradehaul.show import TREAT
from gradehaul.show.base.labels import RISK, USE_MEANINGS, USE_WORDS, WOULD, chance_words
from gradehaul.show.base.page import Page, Piece
from gradehaul.show.base.spreadsheet import table
from gradehaul.show.base.unit_format import UnitFormat
from gradehaul.show.check.first_screen import add_doubts
from gradehaul.show.check.outcome_words import DOES, at_age, misfit_words, outcome_cells, plain_words, short_words
from gradehaul.treatment.keep_clean import KeepCleanPlan, TrainOutcome, Use, UsedUnit, piece, used_stretches

_NEEDS: dict[Need, str] = {
    "climbs": "every train gets through even if its wheels slip, restarts anywhere, and is held back downhill",
    "marginal": "every train that climbs with no more film still climbs, any other gets through as long as its wheels "
    "never slip, and all hold back downhill",
}
_CAUTION = (
    "Film does not come off: try it on a spare length of track first, and measure there. Use very little, on a "
    "cloth, away from flames and with fresh air, as its maker's data sheet says; keep it from children. Switch track "
    "power off while you wipe and until it is dry."
)
_NAMED = 12
"""Tracks, or runs of tracks, of a use that are named one by one at the most."""
_MORE_FILM = 0.01
"""So much more film is worth wiping pieces of tracks, m."""
_FORCING = 3
"""Trains that keep track clean, named one by one at the most."""


def treat_page(found: KeepCleanPlan, units: UnitFormat, more: Collection[str] = ()) -> Page:
    """Return the keep-clean plan as a page, and below it the sections that are named in `more`."""
    page = Page()
    film = f'film "{found.film}"' if len(found.plan.films) > 1 else "the film"
    page.line((clean(found.plan.title), "bold"), f": where {film} may go{at_age(found.hours)}")
    add_doubts(page, found.doubts)
    page.line()
    _add_answer(page, found, units)
    page.line()
    page.line(_CAUTION)
    page.more(TREAT)
    if "tracks" in more and not found.beyond:
        _add_rows(page, found, units)
    if "trains" in more:
        _add_spreading(page, found, units)
    if "notes" in more:
        page.heading("Notes")
        reserve = f", with {100 * found.options.reserve:.3g} % of the pull held back" if found.options.reserve else ""
        film = f'film "{found.film}"{at_age(found.hours) or " fresh or rested"}'
        need = _NEEDS[found.options.need]
        page.line(f"So that {need}, with {film}, as wiped and once it has spread{reserve}.", indent=2)
        for doubt in found.doubts:
            page.line(str(doubt), indent=2)
    return page


def _add_answer(page: Page, found: KeepCleanPlan, units: UnitFormat) -> None:
    """Add what the plan depends on, what it comes to, and what becomes of trains."""
    failing = [train for train in found.trains if train.planned.outcome in FAILS]
    if failing and not found.beyond:
        words = [f"{each.name} {DOES[each.planned.outcome][0]}" for each in failing]
        page.line((f"With this plan {', '.join(words)}", "bold red"), ".")
    for line in depends_on(found, units):
        page.line(*line)
    for line in riskier(found):
        page.line(*line)
    if left := [name for name in found.plan.trains if name not in {train.name for train in found.trains}]:
        page.line(
            (f"NOT JUDGED: {', '.join(left)}, which run{'s' * (len(left) == 1)} on this film too", "bold red"), "."
        )
    page.line()
    if not found.beyond:
        page.table(["track", "length>", "which"], list(_uses(found, units)), indent=0)
        page.line()
    _add_trains(page, found, units)


def riskier(found: KeepCleanPlan) -> Iterator[list[Piece]]:
    """Yield in a line each train that takes more risk with the plan than now, and still gets by, the worst first."""
    if found.beyond:
        return
    for each in sorted(found.trains, key=lambda train: train.now.risk - train.planned.risk):
        now, then = (chance_words(judged.risk) for judged in (each.now, each.planned))
        if each.riskier and now != then and each.planned.outcome not in FAILS:
            yield [(f"{each.name} becomes riskier", "yellow"), f": risk {now} now, {then} with this plan."]


def _uses(found: KeepCleanPlan, units: UnitFormat) -> Iterator[list[Piece]]:
    """Yield a row for each use of track, with its length and the tracks."""
    order: tuple[Use, ...] = ("keep clean", "buffer", "has film", "film", "no effect")
    for use in order:
        rows = [row for row in found.rows if row.use == use]
        if rows:
            names = _runs(_parts_of_use(found, use, units))
            left = [f"{len(names) - _NAMED} more"] if len(names) > _NAMED else []
            between = "; " if any("," in name for name in names) else ", "
            yield [USE_WORDS[use], units.length(found.length(use)), between.join((*names[:_NAMED], *left))]


def _parts_of_use(found: KeepCleanPlan, use: Use, units: UnitFormat) -> Iterator[str]:
    """Yield the names of tracks of one use, with where it begins and ends on those of several uses."""
    names = {row.unit.track: row.unit.name for row in found.rows}
    for track, stretches in used_stretches(found).items():
        for each in stretches:
            if each.use == use:
                part = f" ({units.number(each.start)} to {units.length(each.stop)})" if len(stretches) > 1 else ""
                yield f"{names[track]}{part}"


def _runs(names: Iterable[str]) -> list[str]:
    """Return names of tracks with those of one line that follow one another as one.

    >>> _runs(["Hill:1", "Hill:2", "Hill:3", "Cut", "Hill:5"])
    ['Hill:1 to 3', 'Cut', 'Hill:5']
    """
    found: list[tuple[str, int, int]] = []
    for name in names:
        line, _, number = name.rpartition(":")
        place = int(number) if line and number.isdecimal() else -1
        if found and place > 0 and found[-1][0] == line and found[-1][2] == place - 1:
            found[-1] = line, found[-1][1], place
        else:
            found.append((line, place, place) if place >= 0 else (name, -1, -1))
    return [
        line if first < 0 else f"{line}:{first}" if first == last else f"{line}:{first} to {last}"
        for line, first, last in found
    ]


def add_film_plan(page: Page, found: KeepCleanPlan, units: UnitFormat) -> None:
    """Add all of it: the answer, each track with why it stays clean, and where trains fail if the film spreads."""
    _add_answer(page, found, units)
    if not found.beyond:
        _add_rows(page, found, units)
    _add_spreading(page, found, units)


def headline(found: KeepCleanPlan) -> str:
    """Return the answer in a line; a train that fails with this plan all the same is named."""
    return f"{_answer(found)}{at_age(found.hours)}"


def _answer(found: KeepCleanPlan) -> str:
    if found.beyond:
        short = ", ".join(dict.fromkeys(place.train for place in found.beyond))
        return f"No plan can help: even with no more film {short} would not come out as {found.options.need!r}"
    worst = min(found.trains, key=lambda each: WORST_FIRST.index(each.planned.outcome), default=None)
    if worst is None or worst.planned.outcome == "climbs":
        if found.length("film"):
            return f'Where film "{found.film}" may go, so that every train gets through'
        return f'No {"more " if found.length("has film") else ""}track may have film "{found.film}"'
    outcome = worst.planned.outcome
    words = plain_words(outcome, worst.planned.verdict, worst.planned.misfits)
    return f"With this plan {worst.name} {'is ' if outcome in ('too long', 'marginal') else ''}{words}"


def train_words(train: TrainOutcome, found: KeepCleanPlan, units: UnitFormat) -> str:
    """Return what becomes of a train with the plan, and with film everywhere."""
    now, then = (_short(each, units) for each in (train.planned, train.everywhere))
    return f"{train.name}, {_planned(found)}: {now}; with film everywhere: {then}"


def _planned(found: KeepCleanPlan) -> str:
    return "with the film that is there" if found.beyond else "with this plan"


def _short(train: Judged, units: UnitFormat) -> str:
    return short_words(train.outcome, train.verdict, train.misfits, units)[0]


def _beyond(found: KeepCleanPlan, units: UnitFormat) -> Iterator[list[Piece]]:
    """Yield the trains that no plan helps."""
    treated = any(track.rail for track in found.plan.tracks.values())
    there = "with the film that is there already, and no more" if treated else "even with all rail clean"
    yield [("No plan can help", "bold red"), f": {there}, not every train gets by."]
    for place in found.beyond:
        yield [
            (
                f"{place.train} {WOULD[place.test]} with its head at {units.length(place.head)}, on {place.track}: "
                f"{units.force(place.short)} of pull short."
            )
        ]
    yield ["Shorten these trains, or leave them out: treat --train names those that must run."]
    if found.options.need == "climbs":
        yield ["A train that is marginal all the same gets by with --need marginal."]


def _forcing(found: KeepCleanPlan, units: UnitFormat) -> list[str]:
    """Return the trains that keep track clean, the worst first, each with where it would fail."""
    worst = sorted(found.hardest, key=lambda reason: reason.short)
    of_train = {reason.train: reason for reason in worst}
    ordered = sorted(of_train.values(), key=lambda reason: -reason.short)
    places = [f"{each.train} {WOULD[each.test]} on {each.track}, {units.force(each.short)} short" for each in ordered]
    left = len(places[_FORCING:])
    return [*places[:_FORCING], *([f"{left} more train{'s fail' if left > 1 else ' fails'}"] if left else [])]


def _all_treated(trains: Sequence[Judged], names: Sequence[str]) -> list[Piece]:
    """Return that nothing must be kept clean, and which train is then most at risk."""
    marginal = any(train.outcome == "marginal" for train in trains)
    risk, name = max(zip((train.trust.fail_probability for train in trains), names, strict=True), default=(0.0, ""))
    words = f"All track may be treated{' if marginal will do' if marginal else ''}"
    chance = chance_words(risk).replace("<", "under ").replace(">", "over ")
    return [
        (words, "yellow" if marginal else "green"),
        f"; {name} then stalls or runs away in {chance} of trials." if risk else ".",
    ]


def depends_on(found: KeepCleanPlan, units: UnitFormat) -> Iterator[list[Piece]]:
    """Yield how much may be treated, and what the plan depends on; the trains that no plan helps, where none does."""
    if found.beyond:
        yield from _beyond(found, units)
        return
    kept = any(row.use == "keep clean" for row in found.rows)
    if not kept:
        yield _all_treated([train.planned for train in found.trains], [train.name for train in found.trains])
        return
    film = found.length("film")
    may = f"{units.length(film)} of" if film else "No more" if found.length("has film") else "No"
    clean_track = units.length(found.length("keep clean") + found.length("buffer"))
    rest: Sequence[Use] = ("has film", "no effect")
    others = [f"; {units.length(found.length(use))} {USE_MEANINGS[use]}" for use in rest if found.length(use)]
    yield [(f"{may} track may be treated; {clean_track} stays clean", "green" if film else "yellow"), *others, "."]
    carry = units.length(found.carry)
    if found.depends_on_carry:
        yield [
            ("This depends on a guess", "yellow"),
            f": wheels spread the film no farther than {carry}. Nobody has measured it.",
            " If they spread it farther, see film everywhere below.",
        ]
    elif found.carry > sum(row.unit.length for row in found.rows):  # film goes from any track to any other
        yield [f"A carry-over of {carry} is more than all track together."]
    else:
        yield [
            "Each track must stay clean",
            f", or is within {carry} of one that must.",
            " How far wheels carry film is a guess (--carry).",
        ]
        yield [f"If the track to keep clean were treated, {'; '.join(_forcing(found, units))}."]
    if found.options.step is None and film < found.length("buffer") and found.by_pieces() > film + _MORE_FILM:
        by_pieces, step = units.length(found.by_pieces()), piece(found.plan)
        yield [
            "Each track is treated as a whole or not at all",
            f": with --step {step}, {by_pieces} of track may be treated.",
        ]
    if found.at_risk:
        names = ", ".join(dict.fromkeys(row.unit.name for row in found.at_risk))
        yield [
            ("Film is there already", "bold red"),
            (
                f" within {carry} of track that must stay clean, and wheels will spread it there: {names}. The trains "
                "below are judged with it there."
            ),
        ]
    if found.need_film:
        yield [
            ("All that may be treated must be treated", "yellow"),
            f": {', '.join(found.need_film)} would not get through on clean rail.",
        ]
    if math.isinf(found.gap):
        yield ["It is not known whether more track may be treated."]
    elif found.gap > 0:
        yield [f"The search was stopped: a plan up to {100 * found.gap:.2g} % better may exist."]


def _add_rows(page: Page, found: KeepCleanPlan, units: UnitFormat) -> None:
    page.heading("Track by track")
    heads = ["track", "length>", "use"]
    table: list[list[Piece]] = []
    alike = groupby(found.rows, key=lambda row: (row.unit.track, row.use, _since(row, units)))
    for (_, use, since), group in alike:
        stretches = [row.unit for row in group]
        first, last = stretches[0], stretches[-1]
        own = [first.name, units.length(last.stop - first.start)]
        if found.options.step is not None:
            own[1:1] = [f"{units.length(first.start)} to {units.length(last.stop)}"]
        words = USE_WORDS[use]
        why = since and f": {since}"
        table.append([*own, words + why if isinstance(words, str) else (words[0] + why, words[1])])
    if found.options.step is not None:
        heads[1:1] = ["stretch of it>"]
    page.table(heads, table)
    page.line("A train's place is where its head is, from the start of its route.", indent=2)


def _since(row: UsedUnit, units: UnitFormat) -> str:
    if row.reason is not None:
        forced = row.reason
        return f"{forced.train} {WOULD[forced.test]} at {units.length(forced.head)}, {units.force(forced.short)} short"
    if row.carried is not None:
        onto, distance = row.carried.track, row.carried.distance
        return f"{onto} is {units.length(distance)} away" if distance else f"it leads to {onto}"
    return ""


def _add_trains(page: Page, found: KeepCleanPlan, units: UnitFormat) -> None:
    """Add a row for each train, the worst first: with the plan, and with film everywhere."""
    ordered = sorted(found.trains, key=lambda train: WORST_FIRST.index(train.planned.outcome))
    rows = [
        [each.name, *outcome_cells(each.planned, units), *outcome_cells(each.everywhere, units)] for each in ordered
    ]
    age = at_age(found.hours)
    heads = ["train", _planned(found), "risk>", "to spare>", f"film everywhere{age}", "risk>", "to spare>"]
    page.table(heads, rows, indent=0)
    check = "check" if found.hours is None else f"check --hours {found.hours:g}"
    writes = found.options.step is None and found.length("film")
    checked = f", as {check} does on the plan that treat -o writes" if writes else ""
    spread = "" if found.beyond else f" Both include film that wheels spread{checked}."
    page.line(f"{RISK}.{spread}")
    if age:
        page.line((f"Judged{age} alone", "yellow"), ": not on film that is younger or older.")
    for train in ordered:
        for misfit in train.planned.misfits:
            page.line(f"{train.name}: {misfit_words(misfit, units)}")


def _add_spreading(page: Page, found: KeepCleanPlan, units: UnitFormat) -> None:
    """Add where each train fails if the film spreads everywhere."""
    for train in found.trains:
        if train.everywhere.outcome in FAILS:
            page.line(f"If the film spreads everywhere, {train.name} {_short(train.everywhere, units)}.", indent=2)


def treat_csv(found: KeepCleanPlan, units: UnitFormat | None) -> str:
    """Return the plan as CSV (RFC 4180), with the train and the place that keep a stretch clean."""
    columns = (
        "track=unit.name unit.line from=unit.start to=unit.stop unit.length use reason.train reason.test "
        "at=reason.head reason.short"
    )
    return table(UsedUnit, columns, found.rows, units)
