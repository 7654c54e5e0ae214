"""Room to stand: no train is rated, or climbs, that is longer than the longest run of track that it may stand on."""

from __future__ import annotations

import re
from collections.abc import Collection

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gradehaul.errors import GradehaulError
from gradehaul.haulage.answers.layout import Layout
from gradehaul.haulage.answers.trial_train import try_train
from gradehaul.network.route import Route
from gradehaul.plan import read_plan
from gradehaul.plan.records import Plan
from network.networks import HEAD, line, network, random_networks, route, routes_of, turnout

STOCK = '[loco.mule]\nmass = "1 kg"\nlength = 0.3\npull.clean = "9 N"\n[car.ore]\nmass = "1 g"\nlength = 0.5\n'


def longest_run(plan: Plan, over: Route) -> float:
    """Return the longest track on which a train stands whose head is at the end of a route, by trying every way back.

    It knows ends of lines and joints alone. No joint is passed twice, and none where the head stands.
    """
    lines = {track.id: line for line in plan.lines.values() for track in line.tracks}
    ends = {(end.line, end.end): joint for joint in plan.joints.values() for end in joint.ends}

    def back(name: str, front: str, passed: Collection[str]) -> float:
        """The longest run back over a line whose end `front` is toward the head, and beyond it."""
        rear = "from" if front == "to" else "to"
        own, joint = plan.lines[name], ends[name, rear]
        if own.runs == ("backward" if front == "to" else "forward"):
            return 0.0
        beyond = [
            back(other.line, other.end, {*passed, joint.name})
            for pair in joint.through
            for this, other in (pair, pair[::-1])
            if (this.line, this.end) == (name, rear) and joint.name not in passed
        ]
        return sum(track.length for track in own.tracks) + max(beyond, default=0.0)

    fronts = ["to" if way.forward else "from" for way in over.ways]
    run = list(dict.fromkeys((lines[way.track].name, front) for way, front in zip(over.ways, fronts, strict=True)))
    passed = {ends[each].name for each in run}
    on_route = sum(track.length for name, _ in run[1:] for track in plan.lines[name].tracks)
    return on_route + back(*run[0], passed)


@given(random_networks(most=7), st.data())
@settings(max_examples=30, deadline=None)
def test_no_train_is_longer_than_the_track_it_may_stand_on(text: str, data: st.DataObject) -> None:
    text = re.sub(r', berth = "[^"]*"', "", text)
    joints = sorted(read_plan(HEAD + text).joints)
    one, other = data.draw(st.sampled_from([(a, b) for a in joints for b in joints if a != b]))
    heights = "".join(f"railhead.{joint} = 0\n" for joint in joints)
    try:
        layout = Layout(read_plan(HEAD + heights + text + STOCK + route("Run", one, other)))
    except GradehaulError:
        assume(False)
    whole = longest_run(layout.plan, layout.route("Run"))
    most = layout.longest_train("Run", "mule", "ore").to_run
    assert most == 0 or 0.3 + 0.5 * most <= whole + 1e-9
    for count in (most, most + 1):
        (train,) = try_train(layout.plan, "Run", ["mule", f"{count} ore"] if count else ["mule"]).trains
        assert train.judged.outcome == ("climbs" if train.length <= whole + 1e-9 and count == most else "too long")


def test_track_goes_on_behind_a_route_by_the_shortest_way_to_the_farthest_place() -> None:
    station = [
        line("Lead", "West", "J", 4), line("Spur", "Stop", "J", 7), line("Hill", "J", "Top", 5),
        line("Up", "Top", "East", 50), turnout("J", "Hill", "Lead", "Spur"),
    ]  # fmt: skip
    (found,) = routes_of(*station, route("Run", "J", "Top")).routes
    assert found.track_behind == 7  # and nothing beyond Top, which is not judged
    assert longest_run(network(*station).plan, found) == 12
    (shut,) = routes_of(*station, route("Run", "West", "Top")).routes
    assert shut.track_behind == 0
