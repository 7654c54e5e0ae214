"""Every verb with what it takes, over any plan; as a script, what each answers, as one line of digest each.

`python tests/hard_use/verbs.py FOLDER` runs all verbs over all plans of a folder and prints the digests: two runs must
print the same, under any PYTHONHASHSEED.
"""

from __future__ import annotations

import os
import sys
import tempfile
from hashlib import sha256
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # what tests in all folders share

from project import ROOT

PLANS = ROOT / "plans"

PRINTS = {
    "check": ("check", "{plan}", "--json"),
    "check text": ("check", "{plan}", "--all-routes"),
    "check table": ("check", "{plan}", "--csv"),
    "profile": ("profile", "{plan}", "--json"),
    "map": ("map", "{plan}", "--json"),
    "treat": ("treat", "{plan}"),
    "treat json": ("treat", "{plan}", "--json"),
    "readings": ("readings", "{plan}", "--json"),
    "level": ("level", "{plan}"),
    "clearance": ("clearance", "{plan}", "--json"),
}
"""What prints an answer to a plan."""

WRITES = {
    "check.json": ("check", "{plan}", "--json", "-o", "{out}"),
    "profile.pdf": ("profile", "{plan}", "-o", "{out}"),
    "profile.png": ("profile", "{plan}", "-o", "{out}"),
    "profile.svg": ("profile", "{plan}", "-o", "{out}"),
    "map.svg": ("map", "{plan}", "--treat", "-o", "{out}"),
    "treat.toml": ("treat", "{plan}", "--carry", "0", "-o", "{out}"),
    "readings.csv": ("readings", "{plan}", "--csv", "-o", "{out}"),
    "sheet.pdf": ("readings", "{plan}", "--sheet", "-o", "{out}"),
    "export.dxf": ("export", "{plan}", "--treat", "-o", "{out}"),
    "report.html": ("report", "{plan}", "--treat", "-o", "{out}"),
    "level.toml": ("level", "{plan}", "-o", "{out}"),
    "level.svg": ("level", "{plan}", "-o", "{out}"),
}
"""What writes a file for a plan, under the file's name."""

_HELIX = ("helix", "--scale", "HO", "--radius", "610 mm", "--rise", "400 mm", "--rise-per-turn", "115 mm")

DESIGNS = {
    "helix.toml": (*_HELIX, "-o", "{out}"),
    "helix.svg": (*_HELIX, "-o", "{out}"),
    "incline.toml": ("incline", "--scale", "HO", "--rise", "100 mm", "--length", "6 m", "-o", "{out}"),
    "incline.svg": ("incline", "--scale", "HO", "--rise", "100 mm", "--length", "6 m", "-o", "{out}"),
    "import.toml": ("import", "{drawing}", "--layers", "TRACK", "--scale", "HO", "-o", "{out}"),
}
"""What writes a file without a plan."""


def put(args: tuple[str, ...], **places: str) -> list[str]:
    """Return arguments with their places filled."""
    return [arg.format(**places) for arg in args]


def digests(plans: Path) -> list[str]:
    """Return a line for each verb, plan and file: its exit status and a digest of what it printed and wrote."""
    from click.testing import CliRunner

    from gradehaul.command import main

    lines = []
    os.chdir(plans)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        stems = sorted(path.stem for path in plans.glob("*.toml") if not path.stem.startswith("stock-"))
        asked = [(stem, name, args) for stem in stems for name, args in (PRINTS | WRITES).items()]
        asked += [("-", name, args) for name, args in DESIGNS.items()]
        for stem, name, args in asked:
            out = place / name
            out.unlink(missing_ok=True)
            done = CliRunner().invoke(main, put(args, plan=f"{stem}.toml", out=str(out), drawing="cove.dxf"))
            if done.exception is not None and not isinstance(done.exception, SystemExit):
                raise done.exception
            told = done.output_bytes.replace(folder.encode(), b"") + (out.read_bytes() if out.exists() else b"")
            lines.append(f"{stem} {name} {done.exit_code} {sha256(told).hexdigest()[:16]}")
    return lines


if __name__ == "__main__":
    sys.stdout.write("\n".join(digests(Path(sys.argv[1]).resolve())) + "\n")
