"""A verdict in whole sentences; the page's script writes the same (web/words.js)."""

from __future__ import annotations

import re
from collections.abc import Iterable

from gradehaul.haulage.profile import RouteProfile
from gradehaul.haulage.verdict import Stretch, Verdict
from gradehaul.show.reading_units import Reader

_TO_LEFT = re.compile("[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]")


def apart(name: str) -> str:
    r"""Return a name kept apart from the words around it where it is written from right to left.

    Examples
    --------
    >>> apart("Quarry"), ascii(apart("\u05de\u05d7\u05e6\u05d1\u05d4")).startswith("'\\u2068")
    ('Quarry', True)
    """
    return f"\u2068{name}\u2069" if _TO_LEFT.search(name) else name


def verdict_words(verdict: Verdict, profile: RouteProfile, reader: Reader) -> str:
    """Return what becomes of a train, in sentences: whether it climbs, where it must take care, and downhill."""

    def stretches(list_: Iterable[Stretch]) -> str:
        return "; ".join(_stretch(each, profile, reader) for each in list_)

    head = f"with its head at {reader.length(verdict.at)} on {apart(verdict.track)}"
    spare = f"{reader.force(verdict.margin)} to spare where it is least, {head}."
    match verdict.outcome:
        case "stalls":
            told = [
                f"It gets no further than {head}: at the worst it lacks {reader.force(-verdict.margin)}.",
                f"It asks more than it has {stretches(verdict.stalling)}.",
            ]
        case "marginal":
            told = [f"It gets through only as long as the wheels never slip: {spare}"]
            if verdict.no_stopping:
                told.append(f"It must not stop, since it would not start again, {stretches(verdict.no_stopping)}.")
            if verdict.no_recovery:
                told.append(f"It would not recover from a slip {stretches(verdict.no_recovery)}.")
        case "climbs":
            told = [f"It gets through even if the wheels slip, with {spare}", "It can stop and start again anywhere."]
    if verdict.runs_away_at is None:
        told.append("Downhill it holds back.")
    else:
        place, track = reader.length(verdict.runs_away_at), apart(profile.track_at(verdict.runs_away_at, ahead=True))
        told.append(f"Downhill it runs away: the cars push the locomotives, first with its head at {place} on {track}.")
    return " ".join(told)


def _stretch(stretch: Stretch, profile: RouteProfile, reader: Reader) -> str:
    first, last = profile.track_at(stretch.start, ahead=True), profile.track_at(stretch.stop)
    one = first == last or stretch.stop <= stretch.start
    under = f"on {apart(first)}" if one else f"{apart(first)} to {apart(last)}"
    start, stop = reader.length(stretch.start), reader.length(stretch.stop)
    return f"at {start}, {under}" if start == stop else f"from {start} to {stop}, {under}"
