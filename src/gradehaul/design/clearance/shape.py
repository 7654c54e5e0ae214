"""The shape of single tracks: radius against stock, change of grade, and curves of opposite hand too near together."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from gradehaul.design.clearance.rules import TIE, Finding, Standard, figures
from gradehaul.haulage.stretches import grade_stretches
from gradehaul.network.graph import MovementGraph, Way
from gradehaul.plan.records import Plan, Track
from gradehaul.quantities.si import Meters, Ratio
from gradehaul.track.alignment import Alignment
from gradehaul.track.heights.vertical import UNCHANGED
from gradehaul.track.piecewise import join


def radii(plan: Plan, standard: Standard) -> Iterator[Finding]:
    """Judge the radius of every curve: by NEM 111 where it has the scale, and over the length of the longest stock.

    NEM 111 is the law of the practice NEM; under another practice what is sharper is to be looked at.
    """
    rule = figures()["radius_over_length"]
    for track in plan.tracks.values():
        if track.kind != "curve":
            continue
        radius = 1.0 / abs(track.curvature)
        if plan.scale.permitted_radii is not None and standard.longest is not None:
            group = standard.spacing.group
            number = "ABC".index(group)
            least = plan.scale.permitted_radii[number]
            main = plan.scale.branch_radii[number] if plan.scale.branch_radii else least
            touching = plan.scale.buffer_radii[number] / plan.scale.gauge if plan.scale.buffer_radii else 0.0
            yield Finding(
                "radius",
                track.id,
                0.0,
                radius,
                main,
                least,
                f"{plan.scale.source('permitted_radii')}; where side buffers touch: {touching:.0f} gauges",
                words=f"stock of group {group}",
                worst="fail" if plan.practice == "NEM" else "look",
            )
        if standard.longest is not None:
            wanted, least = (rule[key] * standard.longest for key in ("passes", "fails"))
            yield Finding(
                "radius",
                track.id,
                0.0,
                radius,
                wanted,
                least,
                rule["source"],
                words=f"{radius / standard.longest:.2f} lengths of the longest stock",
            )


def grade_changes(alignment: Alignment, standard: Standard) -> Iterator[Finding]:
    """Judge every change of grade by the length over which it happens, against that of practice.

    It passes where the vertical curve has the practice's length. It never fails: how sharp a break couplers and driven
    wheels still take depends on shapes that no plan has.
    """
    rule = figures()["grade_change"]
    each = standard.longest or rule["full_size"] / alignment.plan.scale.ratio
    for track, at, length, change in _changes(alignment):
        wanted, words = each * abs(change) / 0.01, f"the grade changes by {100 * change:+.2f} %"
        yield Finding("change of grade", track, at, length, wanted, 0.0, rule["source"], words=words)


def _changes(alignment: Alignment) -> Iterator[tuple[str, Meters, Meters, Ratio]]:
    """Yield every change of grade: its track and place on it, over which length, and how much."""
    plan = alignment.plan
    for chain in alignment.chains:
        order = [(alignment.tracks[track.id], forward) for track, forward in chain.tracks(plan)]
        pieces = [track.railhead if forward else track.railhead.reverse() for track, forward in order]
        start = np.concatenate([[0.0], np.cumsum([piece.stop for piece in pieces])])
        grades = [*grade_stretches(join(pieces))]
        kinks = [(two.start, two.start, two.first - one.last) for one, two in pairwise(grades)]
        found = [(each.start, each.stop, each.last - each.first) for each in grades if each.vertical_curve]
        found = sorted([*found, *(kink for kink in kinks if abs(kink[2]) > UNCHANGED)])
        if chain.closed:
            kink = float(pieces[0].slopes[0] + pieces[-1].reverse().slopes[0])
            if abs(kink) > UNCHANGED:
                found.append((0.0, 0.0, kink))
        for begin, stop, change in found:
            middle = 0.5 * (begin + stop)
            number = min(int(np.searchsorted(start[1:], middle - 1e-9)), len(order) - 1)
            track, forward = order[number]
            at = float(middle - start[number])
            yield track.id, at if forward else track.length - at, stop - begin, change
    for joint in plan.joints.values():
        if joint.kind in ("end", "plain"):
            continue
        for one, other in joint.through:
            slope = []
            for end in (one, other):
                tracks = plan.lines[end.line].tracks
                railhead = alignment.tracks[(tracks[0] if end.end == "from" else tracks[-1]).id].railhead
                piece = railhead if end.end == "from" else railhead.reverse()
                slope.append(float(piece.slopes[0]))
            if abs(slope[0] + slope[1]) > UNCHANGED:
                tracks = plan.lines[one.line].tracks
                own = tracks[0] if one.end == "from" else tracks[-1]
                yield own.id, 0.0 if one.end == "from" else own.length, 0.0, slope[0] + slope[1]


def reverse_curves(plan: Plan, graph: MovementGraph, standard: Standard) -> Iterator[Finding]:
    """Judge curves of opposite hand that follow one another: the straight between against the longest stock.

    Where an easement carries the curvature over it is to be looked at; without straight or easement it fails where
    the sharper radius is under 3 lengths of the longest stock, and is to be looked at else.
    """
    if standard.longest is None:
        return
    rule = figures()["reverse_curve"]
    tracks = plan.tracks
    known: set[frozenset[str]] = set()
    for start in graph.successors:
        curve = tracks[start.track]
        if curve.kind != "curve":
            continue
        hand = curve.curvature if start.forward else -curve.curvature
        for other, gap, eased in _next_curves(graph, tracks, start, standard.longest, curve.ease > 0):
            bend = tracks[other.track].curvature if other.forward else -tracks[other.track].curvature
            pair = frozenset({start.track, other.track})
            if hand * bend >= 0 or pair in known:
                continue
            known.add(pair)
            sharper = 1.0 / max(abs(hand), abs(bend))
            eases = eased or tracks[other.track].ease > 0
            bad = gap <= 1e-6 and not eases and sharper < 3 * standard.longest * (1 - TIE)
            at = curve.length if start.forward else 0.0
            yield Finding(
                "reverse curve",
                start.track,
                at,
                gap,
                standard.longest,
                0.0,
                rule["source"],
                other=other.track,
                other_at=0.0 if other.forward else tracks[other.track].length,
                words="with an easement between" if eases else "no straight between" if gap <= 1e-6 else "",
                best="fail" if bad else "look",
            )


def _next_curves(
    graph: MovementGraph, tracks: dict[str, Track], start: Way, reach: float, eased: bool
) -> Iterator[tuple[Way, float, bool]]:
    """Yield the curves next after one, with the straight between and whether an easement lies there."""
    queue = [(way, 0.0, eased) for way in graph.successors[start]]
    seen: set[Way] = set()
    while queue:
        way, gap, eases = queue.pop()
        if way in seen:
            continue
        seen.add(way)
        track = tracks[way.track]
        if track.kind == "curve":
            yield way, gap, eases
            continue
        easement = track.kind == "easement"
        farther = gap if easement else gap + track.length
        if farther < reach * (1 - TIE):
            queue += [(each, farther, eases or easement) for each in graph.successors[way]]
