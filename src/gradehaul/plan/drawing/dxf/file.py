"""The DXF file itself: refused by its first bytes, or read whole by the library, whose every failure ends here."""

from __future__ import annotations

import configparser
import contextlib
import io
import logging
import math
import os
import re
import stat
import struct
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from mmap import ACCESS_READ, mmap
from pathlib import Path
from typing import Any

from gradehaul.errors import DrawingError, clean, cut
from gradehaul.plan.names import near_file

LARGEST_FILE = 200_000_000
"""The most bytes a drawing may have."""
MOST_ENTITIES = 250_000
"""The most entities a drawing may have, in its blocks and on all its layers: about a minute's work and 1.2 GB."""
_SHORTEST_ENTITY = 30
"""An entity has this many bytes at the least; a file that cannot hold too many need not be searched."""
_ENTITY = re.compile(rb"\n *0\r?\n(?=[A-Z0-9_]*[A-Z])")
"""The code of an entity in a text file: a 0 on its line, and a name, which no value of 0 is followed by."""
_BINARY_ENTITY = re.compile(rb"\0(?:LINE|ARC|CIRCLE|ELLIPSE|SPLINE|LWPOLYLINE|POLYLINE|VERTEX|INSERT|ATTRIB|M?TEXT)\0")
_SENTINEL = b" Binary DXF\r\n\x1a\x00"
"""What the first 22 bytes of every binary DXF file end with."""
_OTHER = re.compile(rb"AC1[.0-9]|AC2\.|MC0\.0")
_BOM = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16", b"\xef\xbb\xbf": "UTF-8 with a byte-order mark"}
_LOCK = threading.Lock()


def dxf_library() -> Any:  # noqa: ANN401 - a module
    """Return ezdxf, imported the first time it is needed, without the cache of fonts that it would make at home.

    Raises
    ------
    DrawingError
        The library's own settings file, ``ezdxf.ini`` in the current folder, cannot be read.
    """
    with _LOCK:
        if "ezdxf" not in sys.modules:
            before = dict(os.environ)
            with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
                cache = Path(folder) / "ezdxf"
                cache.mkdir()
                (cache / "font_manager_cache.json").write_text('{"version": 0, "font-faces": []}', encoding="utf-8")
                os.environ.update(XDG_CACHE_HOME=folder, XDG_CONFIG_HOME=folder)
                try:
                    import ezdxf
                except (SystemExit, configparser.Error) as error:
                    wrong = "the settings of the drawing library cannot be read"
                    raise DrawingError(wrong, file="ezdxf.ini", write="another name for that file") from error
                finally:
                    os.environ.clear()
                    os.environ.update(before)
                # Without a handler its messages would go to standard error, past everything that prints for us.
                logging.getLogger("ezdxf").addHandler(logging.NullHandler())
        import ezdxf

        return ezdxf


def check_file(path: Path, file: str) -> None:
    """Refuse what is no DXF file by its first bytes and its size, and a file of too many entities."""
    try:
        about = path.stat()
    except (FileNotFoundError, NotADirectoryError, ValueError) as error:  # ValueError: a NUL in the path
        near = near_file(path, ".dxf")
        write = str(Path(file).with_name(near)) if near else ""
        raise DrawingError("there is no such file", file=clean(file), write=write) from error
    if not stat.S_ISREG(about.st_mode):
        what = "a folder" if stat.S_ISDIR(about.st_mode) else "no ordinary file"
        raise DrawingError("a drawing is a DXF file", file=file, found=what)
    if about.st_size > LARGEST_FILE:
        size = f"{about.st_size / 1e6:,.0f} MB"
        raise DrawingError("a drawing has at most 200 MB", file=file, found=size, write="a file of the track alone")
    _check_content(path, file, about.st_size)


def _check_content(path: Path, file: str, size: int) -> None:
    """Refuse what is no DXF file by its first bytes, or holds too many entities, or numbers that are none."""
    with path.open("rb") as stream:
        head = stream.read(4096)
    binary = head[7:22] == _SENTINEL
    again = "it again, saved as DXF"
    if not head.strip():
        raise DrawingError("the drawing is empty", file=file, write=again)
    if _OTHER.match(head):
        raise DrawingError(
            "only DXF is an open format", file=file, found="a DWG file", write=f"{again} (2018 or older)"
        )
    for mark, name in _BOM.items():
        if head.startswith(mark):
            raise DrawingError("a DXF file is plain text", file=file, found=name, write=again)
    if not binary and b"\0" in head:
        raise DrawingError("this is not a DXF file", file=file, found="binary data", write=again)
    if size <= MOST_ENTITIES * _SHORTEST_ENTITY:
        return
    with path.open("rb") as stream, mmap(stream.fileno(), 0, access=ACCESS_READ) as data:
        more = any(islice((_BINARY_ENTITY if binary else _ENTITY).finditer(data), MOST_ENTITIES, None))
    if more:
        what = f"a drawing has at most {MOST_ENTITIES:,} entities"
        raise DrawingError(what, file=file, found="more", write="a file of the track alone")


def load(path: Path) -> tuple[Any, int]:
    """Return a file as the library read it, and the code of its unit, 0 for none; a damaged one is refused."""
    ezdxf = dxf_library()
    try:
        document = ezdxf.readfile(path)
        with path.open("rb") as stream:  # where there is no header, the library assumes one
            code = int(document.header.get("$INSUNITS", 0)) if b"HEADER" in stream.read(1 << 16) else 0
    except (
        ezdxf.DXFError,
        OSError,
        ArithmeticError,
        AssertionError,
        AttributeError,
        LookupError,  # IndexError and KeyError
        MemoryError,
        RecursionError,
        StopIteration,
        TypeError,
        ValueError,  # UnicodeDecodeError too
        struct.error,
    ) as error:
        if isinstance(error, OSError) and error.errno is None:  # the library's own word, not the system's
            raise DrawingError("this is not a DXF file", found="other text", write="it again, saved as DXF") from None
        # only the library's own errors are about the file; Python's are about the code that reads it
        why = cut(clean(" ".join(str(error).split()))) if isinstance(error, ezdxf.DXFError) else ""
        raise _damaged(why.removeprefix("DXFStructureError: ")) from error
    if "Model" not in document.layouts:
        raise _damaged("no model space")
    return document, code


KINK_PROPERTY = "Track continues over kinks up to, degrees"
"""The property of a drawing in which export says how sharp its turnouts are drawn."""
_MOST_KINK = 45.0


def kink_of(document: Any) -> float | None:  # noqa: ANN401 - the library's
    """Return the angle, radians, that an exported drawing says its track continues over, None for any other."""
    text = str(document.header.custom_vars.get(KINK_PROPERTY, ""))
    degrees = float(text) if re.fullmatch(r"\d{1,2}(\.\d{1,3})?", text) else 0.0
    return math.radians(degrees) if 0 < degrees <= _MOST_KINK else None


def _damaged(found: str) -> DrawingError:
    cure = "it anew: open it where it was drawn and save it"
    return DrawingError("the file is damaged or cut short", found=found, write=cure)


@contextmanager
def warnings() -> Iterator[list[str]]:
    """Collect what the library warns of while it reads: content that it leaves out."""
    found: list[str] = []
    handler = logging.Handler(logging.WARNING)
    handler.emit = lambda record: found.append(record.getMessage())  # type: ignore[method-assign]
    logger = logging.getLogger("ezdxf")
    # a damaged file puts text in them that no other log may be able to write
    further, logger.propagate = logger.propagate, False
    logger.addHandler(handler)
    try:
        yield found
    finally:
        logger.removeHandler(handler)
        logger.propagate = further
