"""What lies between the railhead and the underside of a deck, where nothing is stated: one figure for every answer."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.quantities.si import Meters
from gradehaul.scales import Scale

TRACK_HEIGHT = 0.512
"""Height of rail and ties at full size, m: 3.2 mm in N, in a stack of 6.0 + 4.0 + 3.2 + 37.0 mm on one private page
(assumed)."""

SOURCE = "common practice: a deck of 1/2 in with 1/4 in of roadbed; height of rail and ties assumed"


class Structure(NamedTuple):
    """Thickness of the deck, of the roadbed on it, and the height of rail and ties on that, m."""

    deck: Meters
    roadbed: Meters
    track: Meters

    @property
    def total(self) -> Meters:
        """All three together."""
        return self.deck + self.roadbed + self.track


def usual_structure(scale: Scale) -> Structure:
    """Return what is assumed of a scale.

    Examples
    --------
    >>> from gradehaul.scales import scale_named
    >>> round(1000 * usual_structure(scale_named("H0")).total, 1)
    24.9
    """
    return Structure(0.0127, 0.00635, TRACK_HEIGHT / scale.ratio)
