"""Timing side by side: two things by turns in one run, told as the ratio of their medians."""

from __future__ import annotations

from collections.abc import Callable
from statistics import median
from time import perf_counter

import pytest

Timed = Callable[[], object]


@pytest.fixture
def ratio(benchmark, capsys):
    """Return a function that times two things by turns, prints and keeps the ratio of their medians, slow over fast."""

    def measure(what: str, slow: Timed, fast: Timed, *, rounds: int = 7, target: str = "") -> float:
        times: tuple[list[float], list[float]] = ([], [])

        def turn() -> None:
            for action, kept in zip((slow, fast), times, strict=True):
                start = perf_counter()
                action()
                kept.append(perf_counter() - start)

        benchmark.pedantic(turn, rounds=rounds, iterations=1)
        found = median(times[0]) / median(times[1])
        benchmark.extra_info |= {"what": what, "ratio": found, "target": target}
        with capsys.disabled():
            slower, faster = (1000 * median(kept) for kept in times)
            print(f"\n  {what}: {found:.3g} ({slower:.4g} ms against {faster:.4g} ms; target {target})")
        return found

    return measure
