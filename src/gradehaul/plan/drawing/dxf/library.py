"""The library that reads and writes DXF, loaded without the list of fonts that it would make by itself."""

from __future__ import annotations

import configparser
import contextlib
import io
import logging
import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from gradehaul.errors import DrawingError

_LOCK = threading.Lock()
_HOMES = ("XDG_CACHE_HOME", "XDG_CONFIG_HOME")


def dxf_library() -> Any:  # noqa: ANN401 - a module
    """Return ezdxf, imported the first time it is needed.

    By itself it lists the fonts of the machine in a cache in the home folder. Reading a drawing needs no fonts, so an
    empty list takes their place; the environment is afterwards what it was before.

    Raises
    ------
    DrawingError
        The library's own settings file, ``ezdxf.ini`` in the current folder, cannot be read.

    Examples
    --------
    >>> dxf_library().__name__
    'ezdxf'
    """
    with _LOCK:
        if "ezdxf" not in sys.modules:
            with tempfile.TemporaryDirectory() as folder, _homes(folder), contextlib.redirect_stdout(io.StringIO()):
                cache = Path(folder) / "ezdxf"
                cache.mkdir()
                (cache / "font_manager_cache.json").write_text('{"version": 0, "font-faces": []}', encoding="utf-8")
                try:
                    import ezdxf
                except (SystemExit, configparser.Error) as error:
                    for name in [name for name in sys.modules if name.partition(".")[0] == "ezdxf"]:
                        del sys.modules[name]
                    raise DrawingError(
                        "the settings of the drawing library cannot be read",
                        file="ezdxf.ini",
                        write="another name for that file",
                    ) from error
                # Without a handler its messages would go to standard error, past everything that prints for us.
                logging.getLogger("ezdxf").addHandler(logging.NullHandler())
        import ezdxf

        return ezdxf


@contextlib.contextmanager
def _homes(folder: str) -> Iterator[None]:
    """Set the folders of caches and settings while the block runs."""
    before = {name: os.environ.get(name) for name in _HOMES}
    os.environ.update(dict.fromkeys(_HOMES, folder))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
