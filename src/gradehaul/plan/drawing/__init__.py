"""Drawings: from the strokes of a drawing to the lines and joints of a plan."""
