"""What all tests share: a browser, a live page, and random searches without a deadline on machines that are shared.

Where ``CI`` is set the searches look at the same examples every time, so that a run can be repeated; at a desk they
look on.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

from project import ROOT

if TYPE_CHECKING:
    from playwright.sync_api import Browser

    from live.served import Serve

settings.register_profile("patient", deadline=None, derandomize="CI" in os.environ)
settings.load_profile("patient")

if sys.dont_write_bytecode:  # where none may lie beside the source, so that not every process compiles all of it again
    sys.dont_write_bytecode, sys.pycache_prefix = False, str(ROOT / ".pytest_cache" / "bytecode")
    del os.environ["PYTHONDONTWRITEBYTECODE"]
    os.environ["PYTHONPYCACHEPREFIX"] = sys.pycache_prefix


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Chromium without a window; without one a test is skipped, or fails where GRADEHAUL_BROWSER_REQUIRED is set."""
    from playwright.sync_api import sync_playwright

    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if program is None:
        missing = "no Chromium is installed"
        if os.environ.get("GRADEHAUL_BROWSER_REQUIRED"):
            pytest.fail(missing)
        pytest.skip(missing)
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program)
        yield chromium
        chromium.close()


@pytest.fixture
def serve(tmp_path) -> Iterator[Serve]:
    """Serve a plan of the demo plans by name, or a small hill."""
    from live.served import serving

    with serving(tmp_path) as start:
        yield start
