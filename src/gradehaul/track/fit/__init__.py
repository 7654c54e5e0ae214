"""Figures marked "fit" in the plan, found so that lines end at their joints."""
