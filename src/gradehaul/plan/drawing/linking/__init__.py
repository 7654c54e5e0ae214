"""Linking: reaches of track become a network of lines and joints; `link` is the door."""

from gradehaul.plan.drawing.linking.network import link

__all__ = ["link"]
