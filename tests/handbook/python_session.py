"""A Python session on a page, run again: what it shows stays where it still holds, and is written anew where not."""

from __future__ import annotations

import io
from contextlib import redirect_stdout
from doctest import ELLIPSIS, NORMALIZE_WHITESPACE, DocTestParser, Example, OutputChecker

_HEAD = "Traceback (most recent call last):\n"


def session(body: str, names: dict[str, object]) -> str:
    """Return a session as it runs now; `names` goes on from one session of a page to the next."""
    parts = []
    for part in DocTestParser().parse(body):
        if isinstance(part, Example):
            parts.append(_prompted(part.source) + _shown(part, names))
        else:
            parts.append(part)
    return "".join(parts)


def _prompted(source: str) -> str:
    first, *more = source.splitlines(keepends=True)
    return f">>> {first}" + "".join(f"... {line}" if line.strip() else "...\n" for line in more)


def _shown(example: Example, names: dict[str, object]) -> str:
    """Return what one example prints, in the page's own words where they still match."""
    with redirect_stdout(io.StringIO()) as printed:
        try:
            exec(compile(example.source, "page", "single"), names)
            error = ""
        except Exception as raised:
            if not example.exc_msg:  # the page shows no error here, so it must not come to show one
                raise
            error = f"{type(raised).__module__}.{type(raised).__qualname__}: {raised}\n"
    kept, got = (example.exc_msg, error) if error and example.exc_msg else (example.want, printed.getvalue())
    if OutputChecker().check_output(kept, got, NORMALIZE_WHITESPACE | ELLIPSIS):
        return example.want
    return f"{_HEAD}{error}" if error else got
