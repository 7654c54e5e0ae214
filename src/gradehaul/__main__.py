"""`python -m gradehaul`: the same as the command."""

from __future__ import annotations

from gradehaul.command import main

if __name__ == "__main__":
    main(prog_name="gradehaul")
