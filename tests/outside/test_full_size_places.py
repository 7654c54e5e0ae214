"""Places at full size, entered as plans, against their published grades, lengths and climbs.

Sources
-------
- Madison incline: state historical marker 39.1996.1 of the Indiana Historical Bureau (read): 7,012 ft, 413 ft, 5.89 %.
- Big Hill: 4.5 % (an encyclopedia, read second-hand); 237.5 ft a mile is from memory.
- Gotthard line: 758 m, 945 m and 8.2 km, out of the profile in Röll, Enzyklopädie des Eisenbahnwesens, volume 5, 1914,
  pp. 356 and 357 (read second-hand); 22.8 per mille is arithmetic.
- Horseshoe Curve: 1.45 %, 220 degrees at 9 degrees 15 minutes per 100 ft, about 2,375 ft (an encyclopedia, read
  second-hand); 76.6 ft a mile is arithmetic.
- Brusio spiral: 70 m and 70 per mille, the railway's own page on the viaduct (read); the climb of a turn is arithmetic.

Degrees of curve are by the arc definition, 5,729.578 ft of radius over the degrees.
"""

from __future__ import annotations

import pytest
from full_chain import FOOT, FULL_SIZE, Answers, answer


def hill(tracks: str) -> Answers:
    return answer(f'{FULL_SIZE}\nline.Hill = {{ from = "Foot", to = "Top", track = [ {tracks} ] }}')


# Length, rise, grade in per cent and half its last figure.
@pytest.mark.parametrize(
    ("length", "rise", "printed", "within"),
    [
        ("7012 ft", "413 ft", 5.89, 0.005),  # Madison incline
        ("1 mile", "237.5 ft", 4.5, 0.05),  # Big Hill
        ("8.2 km", "187 m", 2.28, 0.005),  # Gotthard, Faido to Rodi-Fiesso, 945 - 758 m
        ("1 mile", "76.6 ft", 1.45, 0.005),  # Horseshoe Curve
    ],
)
def test_ruling_grade_from_length_and_rise(length: str, rise: str, printed: float, within: float) -> None:
    railway = hill(f'{{ straight = "{length}", rise = "{rise}" }}')
    ruling = railway.profile().ruling()
    assert 100 * ruling.effective == pytest.approx(printed, abs=within)
    assert ruling.curve == 0
    # and the other way round: the printed grade climbs the rise, to the figures it is printed with
    climb = hill(f'{{ straight = "{length}", grade = "{printed} %" }}').profile().climb
    assert climb == pytest.approx(railway.profile().climb, rel=within / printed)


def test_gotthard_between_two_railheads() -> None:
    # Faido 758 m, Rodi-Fiesso 945 m above sea level, 8.2 km: 22.8 per mille.
    profile = answer("""
    scale = { ratio = 1, gauge = "1435 mm" }
    unit = "m"
    railhead = { Faido = 758, Rodi-Fiesso = 945 }
    route.Up = { from = "Faido", to = "Rodi-Fiesso" }
    route.Down = { from = "Rodi-Fiesso", to = "Faido" }
    line.Gotthard = { from = "Faido", to = "Rodi-Fiesso", track = [ { straight = 5000 }, { straight = 3200 } ] }
    """)
    assert 1000 * profile.profile("Up").ruling().effective == pytest.approx(22.8, abs=0.05)
    assert 1000 * profile.profile("Down").ruling().effective == pytest.approx(-22.8, abs=0.05)
    assert profile.profile("Up").climb == pytest.approx(187)
    assert profile.profile("Down").fall == pytest.approx(187)


def test_horseshoe_curve() -> None:
    # 220 degrees at 9 degrees 15 minutes per 100 ft: 2,378 ft; published as about 2,375.
    profile = hill(f'{{ left = {5729.578 / 9.25}, angle = 220, grade = "1.45 %" }}').profile()
    assert profile.length / FOOT == pytest.approx(2378, abs=0.5)
    assert profile.length / FOOT == pytest.approx(2375, rel=0.002)
    # on an uncompensated 1.45 % the curve adds 0.04 % x 9.25 = 0.37 % more
    assert 100 * profile.ruling().effective == pytest.approx(1.82, abs=0.005)


def test_brusio_spiral() -> None:
    # Radius 70 m at 7 %: one turn climbs 30.8 m.
    profile = hill('{ left = "70 m", angle = 360, grade = "7 %" }').profile()
    assert profile.climb == pytest.approx(30.8, abs=0.05)
