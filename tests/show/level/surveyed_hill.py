"""A plan with a hill that was surveyed, too steep for what was meant from 24 in to 36 in."""

SURVEYED = """
scale = "HO"
unit = "in"
railhead.A = 0
line.Main = { from = "A", to = "B", track = [{ straight = 60 }] }
[survey.Main]
heights = [[0, 0], [12, "1/4 in"], [24, "5/16 in"], [36, "3/4 in"], [48, 1]]
reading = "1/64 in"
grade = "1 in 48"
"""
