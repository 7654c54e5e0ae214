"""A train that reverses in a berth shorter than it may stand out of it: the answers say so, and on which track."""

from __future__ import annotations

from pathlib import Path

import pytest

from command_line import run
from gradehaul.haulage.answers.check import check_layout
from gradehaul.haulage.answers.judged import StandsOut, judged_trains
from gradehaul.haulage.answers.layout import Layout
from gradehaul.plan import read_plan
from gradehaul.show.check.load_card import load_cards

PLAN = """\
scale = "HO"
unit = "m"
railhead = { Foot = 0, Top = 0, Face = 0 }
line.Main = { from = "Foot", to = "J", track = [{ straight = 4, berth = "Yard" }] }
line.Up = { from = "J", to = "Top", track = [{ left = 1, angle = 40 }, { straight = 5, berth = "Shed" }] }
line.Mine = { from = "J", to = "Face", track = [
  { name = "Neck", straight = 0.6 },
  { name = "Bend", straight = 0.5 },
  { straight = 1, berth = "Pit" },
] }
turnout.J = { toe = "Mine", legs = ["Main", "Up"] }
loco.mule = { mass = "600 g", length = 0.2, pull.clean = "200 gf", slipping.clean = "150 gf" }
car.ore = { mass = "60 g", length = 0.1 }
route.Through = { from = "Yard", to = "Shed", via = ["Pit"], reversals = 1 }
route."To the mine" = { from = "Yard", to = "Pit" }
train.turn = { route = "Through", consist = ["mule", "CARS ore"] }
"""
"""From the joint to the end of track there are 2.1 m, of which the berth is the last 1 m."""


def with_cars(count: int) -> str:
    return PLAN.replace("CARS", str(count))


@pytest.mark.parametrize(
    ("cars", "outside", "tracks"),
    [(7, None, ()), (8, None, ()), (9, 0.1, ("Bend",)), (13, 0.5, ("Bend",)), (14, 0.6, ("Bend", "Neck"))],
)
def test_what_does_not_fit_the_berth_stands_on_the_track_before_it(
    cars: int, outside: float | None, tracks: tuple[str, ...]
) -> None:
    (train,) = judged_trains(Layout(read_plan(with_cars(cars))), ["clean"])
    assert train.outcome == "climbs"
    if outside is None:
        assert train.stands_out == ()
    else:
        assert train.stands_out == (StandsOut("Pit", 1.0, pytest.approx(outside), tracks),)


def test_try_and_check_say_where_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(with_cars(14))
    words = 'As it reverses, berth "Pit" holds 1.000 m of it; 0.600 m of it stand on Bend and Neck.'
    tried = " ".join(run("try", path, "turn").stdout.split())
    assert 'It reverses in the tail with berth "Pit". ' + words in tried
    assert words in " ".join(run("check", path, "--more", "trains").stdout.split())
    path.write_text(with_cars(8))
    assert "As it reverses" not in run("try", path, "turn").stdout
    assert "As it reverses" not in run("check", path, "--more", "trains").stdout


def test_a_train_that_does_not_clear_the_joint_is_too_long(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(with_cars(20))
    tried = " ".join(run("try", path, "turn").stdout.split())
    assert 'It is 2.200 m long and does not fit the tail with berth "Pit", which holds 2.100 m' in tried
    assert "As it reverses" not in tried


def test_a_longer_load_than_the_berth_holds_is_explained_where_loads_stand(tmp_path: Path) -> None:
    """On one route 19 cars fit the tail, on the other 8 the berth."""
    path = tmp_path / "mine.toml"
    path.write_text(with_cars(2))
    answer = check_layout(Layout(read_plan(with_cars(2))))
    fits = {route.route.name: route.loads[0].to_run for route in answer.routes}
    assert fits == {"Through": 19, "To the mine": 8}
    words = (
        'On Through the longest trains stand partly out of berth "Pit" as they reverse; '
        "those that begin or end there must fit it."
    )
    assert words in " ".join(run("check", path).stdout.split())
    (card,) = load_cards(answer)
    assert words in card.note
    assert "2.100 m long, 1.000 m of it the berth," in " ".join(run("check", path, "--more", "loads").stdout.split())
    weak = with_cars(2).replace("200 gf", "5 gf").replace("150 gf", "4 gf")
    path.write_text(weak)  # few cars on either route
    assert "stand partly out" not in run("check", path).stdout
    assert "stand partly out" not in load_cards(check_layout(Layout(read_plan(weak))))[0].note
