"""What lies between the railhead and the underside of a deck: one figure for every answer."""

from __future__ import annotations

from typing import NamedTuple

from gradehaul.plan.records import Deck, Plan
from gradehaul.quantities.si import Meters
from gradehaul.scales import Scale

TRACK_HEIGHT = 0.512
"""Height of rail and ties at full size, m: 3.2 mm in N, in a stack of 6.0 + 4.0 + 3.2 + 37.0 mm on one private page
(assumed)."""

STRENGTH = (
    "A deck (plywood subroadbed) is only as strong as you build it: follow local codes, and ask a qualified person "
    "where structure, house wiring or stairs are touched."
)
"""What is said wherever a deck is built or changed."""

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
    """Return what is assumed of a scale where nothing is stated."""
    return Structure(0.0127, 0.00635, TRACK_HEIGHT / scale.ratio)


def structure_of(plan: Plan) -> Structure:
    """Return what a plan states of its deck, and what is usual for the rest.

    Examples
    --------
    >>> from gradehaul.plan import read_plan
    >>> round(1000 * structure_of(read_plan('scale = "H0"')).total, 1)
    24.9
    """
    stated = (plan.deck.thickness, plan.deck.roadbed, plan.deck.track)
    usual = usual_structure(plan.scale)
    return Structure(*(each if own is None else own for own, each in zip(stated, usual, strict=True)))


def stated_thickness(deck: Deck) -> Meters:
    """Return the thickness of all that a plan states of its deck, m."""
    return (deck.thickness or 0.0) + (deck.roadbed or 0.0) + (deck.track or 0.0)


def assumed_layers(deck: Deck) -> tuple[str, ...]:
    """Return the layers of a deck that are not stated."""
    layers = (("deck", deck.thickness), ("roadbed", deck.roadbed), ("track", deck.track))
    return tuple(name for name, stated in layers if stated is None)
