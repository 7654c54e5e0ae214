"""The command from its first moment, as `gradehaul` or `python -m gradehaul`: who stops it while it loads is heard."""

from __future__ import annotations

import gc
import sys


def run() -> None:
    """Run the command; stopped from the keyboard before it listens itself, it ends as it does later on."""
    try:
        from gradehaul.command import main

        main(prog_name="gradehaul")
    except KeyboardInterrupt:
        sys.stderr.write("stopped\n")
        sys.exit(130)
    finally:
        # all that was loaded goes with the process: looking through it once more for garbage takes a fifth of a check
        gc.freeze()


if __name__ == "__main__":
    run()
