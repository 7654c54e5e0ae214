"""Leveling: railheads that make a hill as easy as it can be, and corrections of one that is built."""
