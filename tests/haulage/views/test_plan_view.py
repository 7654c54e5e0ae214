"""What a plan view tells: points on the track, effective grades, what passes over what, and where trains get stuck."""

from __future__ import annotations

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from demos import layout_of
from gradehaul.errors import PlanError, RouteError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.stretches import on_tracks
from gradehaul.haulage.views.plan_view import PlanView, plan_view
from gradehaul.plan import read_plan

DEMOS = ("first-hill", "n-mountain", "switchback", "two-levels", "yard", "full-size-example", "cove", "hollow")


@cache
def view_of(name: str) -> PlanView:
    return plan_view(layout_of(name))


def crossing(lower: float, upper: float) -> PlanView:
    """Two straights that cross at right angles at (1, 0), at two heights."""
    return plan_view(
        Layout(
            read_plan(f"""
            scale = "HO"
            unit = "m"
            railhead = {{ A = {lower}, B = {lower} }}
            map = {{ joint = "A" }}
            line.Ground = {{ from = "A", to = "B", track = [{{ straight = 3 }}] }}
            line.Over = {{ from = "B", to = "C", track = [
              {{ left = 1, angle = 270, railhead = {upper} }}, {{ straight = 2, railhead = {upper} }},
            ] }}
            """)
        )
    )


@pytest.mark.parametrize("name", DEMOS)
def test_points_heights_and_grades_are_those_of_the_alignment(name):
    layout, view = layout_of(name), view_of(name)
    for track in view.tracks.values():
        own = layout.alignment.tracks[track.id]
        assert track.length == pytest.approx(own.length, abs=1e-9)
        assert track.railhead == pytest.approx(own.railhead.at(track.distance))
        # chords are a little shorter than the track between, never longer
        chords = np.hypot(*np.diff(track.xy, axis=0).T)
        assert np.all(chords <= np.diff(track.distance) * (1 + 1e-9))
        assert chords.sum() == pytest.approx(track.length, rel=1e-3)
        middle = 0.5 * (track.distance[1:] + track.distance[:-1])
        slope, bend = own.railhead.derivative().at(middle), own.summed_curvature.derivative().at(middle)
        # they stray from it by a twentieth of the gauge
        assert np.all(np.diff(track.distance) ** 2 * bend / 8 <= 0.0501 * layout.plan.scale.gauge)
        assert track.effective.mean(axis=1) == pytest.approx(np.abs(slope) + layout.coefficient * bend, abs=1e-9)
        # headings by brute force: the chord's own
        along = np.arctan2(*np.diff(track.xy, axis=0).T[::-1])
        halfway = 0.5 * (track.heading[1:] + track.heading[:-1])
        assert np.cos(along - halfway) == pytest.approx(np.ones(along.size), abs=1e-3)


def test_the_ruling_grade_of_a_route_is_the_steepest_of_its_tracks():
    layout, view = layout_of("two-levels"), view_of("two-levels")
    for route in layout.routes:
        steepest = max(view.tracks[way.track].steepest[0 if way.forward else 1] for way in route.ways)
        assert layout.profile(route).ruling().effective == pytest.approx(steepest)


def test_the_higher_of_two_tracks_that_cross_is_over():
    (one,) = crossing(0.0, 0.1).overpasses
    assert (one.over.track, one.under.track) == ("Over:2", "Ground:1")
    assert (one.over.x, one.over.y) == pytest.approx((2.0, 0.0), abs=1e-6)
    assert one.height == pytest.approx(0.1)
    assert one.angle == pytest.approx(np.pi / 2)
    (other,) = crossing(0.1, 0.0).overpasses
    assert (other.over.track, other.under.track) == ("Ground:1", "Over:2")
    assert crossing(0.0, 0.0).overpasses == ()


def test_turns_of_a_helix_over_one_another_are_no_crossings():
    assert view_of("two-levels").overpasses == ()


def test_marks_are_the_stretches_of_the_verdict_on_their_tracks():
    layout = layout_of("first-hill")
    view = plan_view(layout, rails=["treated", "treated fresh"])
    assert [(train.name, train.rail) for train in view.trains] == [("local", "treated"), ("local", "treated fresh")]
    for train in view.trains:
        verdict = layout.verdict(train.name, rail=train.rail)
        assert train.verdict.outcome == verdict.outcome == "stalls"
        told = {kind: [(m.start, m.stop) for m in train.marks if m.kind == kind] for kind in ("stalls", "no stopping")}
        assert told["stalls"] == [(each.start, each.stop) for each in verdict.stalling]
        assert told["no stopping"] == [(each.start, each.stop) for each in verdict.no_stopping]
        for mark in train.marks:
            assert sum(part.stop - part.start for part in mark.on) == pytest.approx(mark.stop - mark.start)
        assert train.stall is not None
        profile = layout.profile(train.route)
        (under,) = on_tracks(profile, verdict.at, verdict.at + 1e-6)
        assert (train.stall.track, train.stall.at) == (under.track, pytest.approx(under.start, abs=1e-6))


def test_where_a_train_stalls_its_heading_is_that_of_its_run():
    """The same hill drawn upward and drawn downward: the train stalls in one place, headed one way."""
    stock = """
[loco.tank]
mass = "200 g"
length = 110
[car.ore]
mass = "95 g"
length = 130
[train.long]
route = "Up"
consist = ["tank", "12 ore"]
[route.Up]
from = "Foot"
to = "Top"
"""
    head = 'scale = "HO"\nunit = "mm"\nrailhead.Foot = 0\n[line.Hill]\n'
    there = 'from = "Foot"\nto = "Top"\ntrack = [{ straight = 3000 }, { left = 700, angle = 90, grade = "4 %" }]\n'
    back = 'from = "Top"\nto = "Foot"\ntrack = [{ right = 700, angle = 90, grade = "-4 %" }, { straight = 3000 }]\n'
    turned = []
    for line in (there, back):
        view = plan_view(Layout(read_plan(head + line + stock)), ["long"], ["clean"])
        (train,), (foot,) = view.trains, (joint for joint in view.joints if joint.name == "Foot")
        assert train.stall is not None
        turned.append((train.verdict.at, math.remainder(train.stall.heading - foot.heading, 2 * math.pi)))
    assert turned[0] == pytest.approx(turned[1], abs=1e-9)
    assert turned[0][1] > 0.1


def test_running_against_a_line_turns_the_stretch():
    layout = layout_of("n-mountain")
    for route in layout.routes:
        profile = layout.profile(route)
        found = list(on_tracks(profile, 0.0, profile.length))
        assert [part.track for part in found] == [way.track for way in route.ways]
        turned = next((k for k, way in enumerate(route.ways) if not way.forward), None)
        if turned is not None:
            begin = float(profile.starts[turned])
            length = layout.alignment.tracks[route.ways[turned].track].length
            (part,) = on_tracks(profile, begin + 1e-3, begin + 2e-3)
            assert (part.start, part.stop) == pytest.approx((length - 2e-3, length - 1e-3))
            return
    raise AssertionError("no route runs against a line")


def test_trains_are_judged_as_check_judges():
    assert {train.rail for train in view_of("two-levels").trains} == {"as planned", "as planned fresh"}
    assert {train.rail for train in view_of("first-hill").trains} == {"clean"}
    one = plan_view(layout_of("two-levels"), ["express"], ["clean", "treated"])
    assert [(train.name, train.rail) for train in one.trains] == [("express", "clean"), ("express", "treated")]
    with pytest.raises(RouteError, match="no train of this name"):
        plan_view(layout_of("two-levels"), ["nightly"])
    with pytest.raises(RouteError, match="no rail condition of this name"):
        plan_view(layout_of("two-levels"), None, ["oily"])


def test_pieces_that_nothing_ties_lie_beside_one_another():
    view = view_of("yard")
    assert view.frames > 1
    boxes = []
    for frame in {track.frame for track in view.tracks.values()}:
        xy = np.concatenate([track.xy for track in view.tracks.values() if track.frame == frame])
        boxes.append((xy[:, 0].min(), xy[:, 0].max()))
    boxes.sort()
    assert all(right < left for (_, right), (left, _) in pairwise(boxes))
    assert any("drawn side by side" in note.text for note in view.notes)
    for track in view.tracks.values():
        assert (track.start.x, track.start.y) == pytest.approx(tuple(track.xy[0]))


KNOT = """
scale = "HO"
unit = "m"
railhead.A = 0
line.Round = { from = "A", to = "B", track = [{ left = 1, angle = 180 }, { straight = 1 }] }
line.Back = { from = "B", to = "A", track = [{ left = 1, angle = 100 }] }
"""


def test_a_plan_without_usable_places_is_refused_in_words():
    with pytest.raises(PlanError, match=r"loop .*: nothing can be drawn .* must close to 1%.*, got .* off; write"):
        plan_view(Layout(read_plan(KNOT, file="knot.toml")))


def test_what_cannot_be_placed_is_left_out_and_told():
    more = 'line.Spur = { from = "S", to = "T", track = [{ straight = 1 }] }\n'
    view = plan_view(Layout(read_plan(KNOT.replace("railhead.A = 0", "railhead = { A = 0, S = 0 }") + more)))
    assert list(view.tracks) == ["Spur:1"]
    assert {joint.name for joint in view.joints} == {"S", "T"}
    (note,) = view.notes
    assert note.text.startswith('left out: "Back", "Round"')


def test_places_beyond_a_reversal_are_on_the_track_run_back_over():
    layout = layout_of("switchback")
    profile = layout.profile("Up to the quarry")
    (first, _), (_, turn), *_ = profile.runs
    assert turn == pytest.approx(first.length)
    (before,) = on_tracks(profile, turn - 0.01, turn)
    (after,) = on_tracks(profile, turn, turn + 0.01)
    assert before.track == after.track == "Lower tail:1"
    assert (before.start, before.stop) == pytest.approx((after.start, after.stop))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.sampled_from(["left", "right", "straight"]),
            st.floats(0.4, 1.5),
            st.integers(30, 200),
            st.floats(0.005, 0.03),
        ),
        min_size=3,
        max_size=8,
    )
)
def test_overpasses_are_those_of_a_walk_by_small_steps(pieces):
    """A climbing line walked in steps of 2 mm by plain trigonometry; shapely finds where the walk crosses itself."""
    tracks, x, y, heading, z = [], [0.0], [0.0], 0.0, [0.0]
    for hand, radius, angle, grade in pieces:
        if hand == "straight":
            length, turn = radius, 0.0
            tracks.append(f'{{ straight = {radius!r}, grade = "{100 * grade!r} %" }}')
        else:
            turn = math.radians(angle) * (1 if hand == "left" else -1)
            length = radius * abs(turn)
            tracks.append(f'{{ {hand} = {radius!r}, angle = {angle}, grade = "{100 * grade!r} %" }}')
        count = math.ceil(length / 0.002)
        for _ in range(count):
            heading += 0.5 * turn / count
            x.append(x[-1] + length / count * math.cos(heading))
            y.append(y[-1] + length / count * math.sin(heading))
            z.append(z[-1] + length / count * grade)
            heading += 0.5 * turn / count
    text = 'scale = "HO"\nunit = "m"\nrailhead.A = 0\nvertical_curve.length = 0\nmap = { joint = "A" }\n'
    view = plan_view(Layout(read_plan(f'{text}line.L = {{ from = "A", to = "B", track = [{", ".join(tracks)}] }}')))
    chords = shapely.linestrings(np.stack([np.column_stack([x, y])[:-1], np.column_stack([x, y])[1:]], axis=1))
    one, other = shapely.STRtree(chords).query(chords, predicate="crosses")
    walked, steep = [], []
    along = np.arctan2(np.diff(y), np.diff(x))
    for i, j in zip(one.tolist(), other.tolist(), strict=True):
        if j > i + 1:
            at = shapely.intersection(chords[i], chords[j])
            walked.append((at.x, at.y, z[j] - z[i]))
            if abs(math.sin(along[i] - along[j])) > 0.2:
                steep.append(walked[-1])
    told = [(each.over.x, each.over.y, each.height) for each in view.overpasses]

    def misses(some, among):
        return [a for a in some if not any(math.dist(a[:2], b[:2]) < 0.02 and abs(a[2] - b[2]) < 2e-3 for b in among)]

    # where tracks all but touch or lie along one another, a small step decides: those are left to either
    sharp = [(e.over.x, e.over.y, e.height) for e in view.overpasses if e.angle > 0.2]
    assert not misses(sharp, walked)
    assert not misses(steep, told)
