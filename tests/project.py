"""Where the project's files are, for tests in any folder."""

from pathlib import Path

ROOT = Path(__file__).parents[1]
PLANS = ROOT / "plans"
