"""Figures that the builder left to be found, so that lines end at their joints."""
