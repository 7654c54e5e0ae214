"""How answers look; no computation. Here: the sections below each first screen, by the names that --more takes."""

from __future__ import annotations

CHECK = ("trains", "loads", "limits", "berths", "ways", "figures", "sources", "notes")
PROFILE = ("track", "joints", "care")
MAP = ("tracks", "joints", "crossings", "notes")
CLEARANCE = ("places", "sources", "notes")
LEVEL = ("heights", "limits", "notes")
RISERS = ("stations",)
TREAT = ("tracks", "trains", "notes")
READINGS = ("scatter", "adhesion", "estimates", "films", "cars", "trials", "remarks", "notes")
CLIMB = ("loads", "trains", "notes")
IMPORT = ("faults", "changes", "layers")
