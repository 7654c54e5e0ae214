"""Fuzzing of whatever reads what people write: `python tests/fuzz` gives each reader 60 s; `--seconds`, names.

What is tried are demo files with changes, by hypothesis; a failure is shrunk to the smallest one that still fails, and
shown with the bytes that raise it.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import random
import sys
import traceback
from pathlib import Path
from time import monotonic

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[1])]

NAMES = ("plan", "quantity", "drawing", "import", "readings", "fit", "try", "live")
_TURN = 100
"""Files tried between two looks at the clock."""

Change = tuple[str, int, int, bytes]


def changed(seed: bytes, changes: list[Change]) -> bytes:
    """Return a file with changes, each of a kind, at a place, of a length, with a word."""
    for kind, place, length, word in changes:
        at = place % (len(seed) + 1)
        rest = seed[at + length :]
        if kind == "put":
            seed = seed[:at] + word + seed[at:]
        elif kind == "replace":
            seed = seed[:at] + word + rest
        elif kind == "number":
            stop = at
            while stop < len(seed) and seed[stop : stop + 1] not in b" \n\r\t,;}]\"'":
                stop += 1
            seed = seed[:at] + word + seed[stop:]
        elif kind == "cut":
            seed = seed[:at] + rest
        elif kind == "double":
            seed = seed[: at + length] + seed[at:]
        else:
            seed = seed[:at] + rest[:length] + seed[at : at + length] + rest[length:]
    return seed


def fuzz(name: str, seconds: float) -> tuple[int, list[str]]:
    """Fuzz one reader; return how many files were tried, and each failure, the first at its place in the code."""
    from hypothesis import HealthCheck, Phase, given, seed, settings
    from hypothesis import strategies as st
    from readers import readers

    reader = readers()[name]
    tried = 0
    known: set[str] = set()
    failures: list[str] = []
    kinds = st.sampled_from(["put", "replace", "number", "cut", "double", "swap"])
    lengths = st.sampled_from([0, 1, 2, 5, 20, 100, 1000])
    words = st.one_of(st.sampled_from(reader.words), st.binary(max_size=4))
    change = st.tuples(kinds, st.integers(0, 100_000), lengths, words)
    patient = settings(
        max_examples=_TURN,
        deadline=None,
        database=None,
        report_multiple_bugs=False,
        phases=(Phase.generate, Phase.shrink),
        suppress_health_check=list(HealthCheck),
    )

    def once(start: bytes, changes: list[Change]) -> None:
        nonlocal tried
        tried += 1
        try:
            reader.read(changed(start, changes))
        except Exception as error:
            if where(error) not in known:
                raise

    end = monotonic() + seconds
    while monotonic() < end:
        try:
            turn = given(st.sampled_from(reader.seeds), st.lists(change, min_size=1, max_size=6))(once)
            with contextlib.redirect_stdout(io.StringIO()):
                seed(random.SystemRandom().getrandbits(32))(patient(turn))()
        except Exception as error:  # noqa: BLE001 - whatever comes out of a reader is what is looked for
            known.add(where(error))
            failures.append("".join(traceback.format_exception(error)[-12:]))
            sys.stdout.write(f"{name}: {failures[-1]}\n")
            sys.stdout.flush()
    return tried, failures


def where(error: BaseException) -> str:
    """Return what went wrong and where in the package, or where in its libraries."""
    frames = traceback.extract_tb(error.__traceback__)
    own = [frame for frame in frames if "gradehaul" in frame.filename and "fuzz" not in frame.filename]
    last = (own or frames)[-1]
    said = str(error)[:40] if not own or isinstance(error, AssertionError) else ""
    return f"{type(error).__name__} {last.filename}:{last.lineno} {said}"


def main() -> None:
    """Fuzz the readers named, or all."""
    parser = argparse.ArgumentParser(prog="python tests/fuzz", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="READER", help=f"of {', '.join(NAMES)}; all where none is named")
    parser.add_argument("--seconds", type=float, default=60, help="for each reader")
    arguments = parser.parse_args()
    if wrong := sorted(set(arguments.names) - set(NAMES)):
        parser.error(f"there is no reader {wrong[0]}")
    failed = False
    for name in arguments.names or NAMES:
        start = monotonic()
        tried, failures = fuzz(name, arguments.seconds)
        failed = failed or bool(failures)
        minutes = (monotonic() - start) / 60
        sys.stdout.write(f"{name}: {tried:,} files in {minutes:.1f} minutes, {len(failures) or 'no'} failures\n")
        sys.stdout.flush()
    sys.exit(failed)


if __name__ == "__main__":
    main()
