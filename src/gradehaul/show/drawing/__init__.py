"""Drawings (DXF): what was read from one, and the plan written as one."""
