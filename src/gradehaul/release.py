"""The release of this package, as `--version` and every answer for a program tell it."""

from __future__ import annotations

VERSION = "0.1.0"
