"""How much work something takes, counted in calls of functions: the same on a quiet machine and on a busy one."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any


@contextmanager
def at_most(limit: int) -> Iterator[None]:
    """Fail as soon as what is done within makes more than so many calls of functions, Python's own among them."""
    count = 0

    def counted(_frame: FrameType, event: str, _value: Any) -> None:
        nonlocal count
        count += event in {"call", "c_call"}
        if count > limit:
            raise AssertionError(f"more than {limit} calls")

    before = sys.getprofile()
    sys.setprofile(counted)
    try:
        yield
    finally:
        sys.setprofile(before)
    assert count <= limit  # though who was stopped may have caught it
