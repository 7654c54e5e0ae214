"""The hill that is not built yet: helix, incline, leveling, clearances."""
