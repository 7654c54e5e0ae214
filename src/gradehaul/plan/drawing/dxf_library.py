"""The library that reads and writes DXF, loaded without the settings file and the cache it would use by itself."""

from __future__ import annotations

import configparser
import logging
import os
import sys
import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

_LOCK = threading.Lock()
_CACHE_HOME = "XDG_CACHE_HOME"


def dxf_library() -> Any:  # noqa: ANN401 - a module
    """Return ezdxf, imported the first time it is asked for.

    By itself it reads ``ezdxf.ini`` from the current folder and from the home folder, and lists the fonts of the
    machine in a cache in the home folder. A drawing must read the same wherever the command is started, and reading
    one needs no fonts, so neither happens. The environment is afterwards what it was before.

    Examples
    --------
    >>> dxf_library().__name__
    'ezdxf'
    """
    with _LOCK:
        if "ezdxf" not in sys.modules:
            # A list of fonts, if only an empty one, keeps the machine's from being searched and written down.
            with tempfile.TemporaryDirectory() as folder, _cache_home(folder), _no_settings():
                cache = Path(folder) / "ezdxf"
                cache.mkdir()
                (cache / "font_manager_cache.json").write_text('{"version": 0, "font-faces": []}', encoding="utf-8")
                import ezdxf

                # Without a handler its messages would go to standard error, past everything that prints for us.
                logging.getLogger("ezdxf").addHandler(logging.NullHandler())
        import ezdxf

        return ezdxf


@contextmanager
def _cache_home(folder: str) -> Iterator[None]:
    """Set the folder of caches while the block runs."""
    before = os.environ.get(_CACHE_HOME)
    os.environ[_CACHE_HOME] = folder
    try:
        yield
    finally:
        if before is None:
            del os.environ[_CACHE_HOME]
        else:
            os.environ[_CACHE_HOME] = before


def _read_nothing(_parser: object, _filenames: object, _encoding: str | None = None, **_: object) -> Sequence[str]:
    return []


@contextmanager
def _no_settings() -> Iterator[None]:
    """Let no settings file be read while the block runs.

    The file in the current folder cannot be turned off from outside, and one that is no text ends the whole program.
    """
    parser: Any = configparser.ConfigParser
    parser.read = _read_nothing
    try:
        yield
    finally:
        del parser.read  # what it inherits shows again
