"""The plan room: what the builder wrote, checked and frozen."""

from __future__ import annotations

from gradehaul.plan.reader import load_plan, read_plan

__all__ = ["load_plan", "read_plan"]
