"""The DXF file itself: refused by its first bytes, or read whole by the library, whose every failure ends here."""

from __future__ import annotations

import logging
import re
import stat
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from gradehaul.errors import DrawingError
from gradehaul.plan.drawing.dxf.library import dxf_library
from gradehaul.plan.names import clean, cut
from gradehaul.plan.near_file import near_file

LARGEST_FILE = 200_000_000
"""The most bytes a drawing may have."""
MOST_ENTITIES = 250_000
"""The most entities a drawing may have, in its blocks and on all its layers: about a minute's work and 1.2 GB."""
_SHORTEST_ENTITY = 30
"""An entity has this many bytes at the least; a file that cannot hold too many need not be searched."""
_ENTITY = re.compile(rb"\n *0\r?\n(?=[A-Z0-9_]*[A-Z])")
"""The code of an entity in a text file: a 0 on its line, and a name, which no value of 0 is followed by."""
_BINARY_ENTITY = re.compile(rb"\0(?:LINE|ARC|CIRCLE|ELLIPSE|SPLINE|LWPOLYLINE|POLYLINE|VERTEX|INSERT|ATTRIB|M?TEXT)\0")
_BLOCK = 1 << 22
_LONGEST = 64
"""Neither pattern is longer than this, bytes."""
_SENTINEL = b" Binary DXF\r\n\x1a\x00"
"""What the first 22 bytes of every binary DXF file end with."""
_OTHER = re.compile(rb"AC1[.0-9]|AC2\.|MC0\.0")
_BOM = {b"\xff\xfe": "UTF-16", b"\xfe\xff": "UTF-16", b"\xef\xbb\xbf": "UTF-8 with a byte-order mark"}


def check_file(path: Path, file: str) -> None:
    """Refuse what is no DXF file by its first bytes and its size."""
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
    with path.open("rb") as stream:
        head = stream.read(4096)
    if not head.strip():
        raise DrawingError("the drawing is empty", file=file, write="it again, saved as DXF")
    if _OTHER.match(head):
        raise DrawingError(
            "only DXF is an open format", file=file, found="a DWG file", write="it again, saved as DXF (2018 or older)"
        )
    for mark, name in _BOM.items():
        if head.startswith(mark):
            raise DrawingError("a DXF file is plain text", file=file, found=name, write="it again, saved as DXF")
    if head[7:22] != _SENTINEL and b"\0" in head:
        raise DrawingError("this is no DXF file", file=file, found="binary data", write="it again, saved as DXF")
    if about.st_size > MOST_ENTITIES * _SHORTEST_ENTITY:
        _check_count(path, file, _BINARY_ENTITY if head[7:22] == _SENTINEL else _ENTITY)


def _check_count(path: Path, file: str, entity: re.Pattern[bytes]) -> None:
    """Refuse a file of too many entities before it is read, which takes some 5 kB of memory for each."""
    count, rest = 0, b""
    with path.open("rb") as stream:
        while count <= MOST_ENTITIES and (data := stream.read(_BLOCK)):
            data = rest + data
            last = 0
            # What may go on in the next block is looked at with it.
            for found in entity.finditer(data, 0, max(len(data) - _LONGEST, 0)):
                count += 1
                last = found.end()
            rest = data[max(last, len(data) - 2 * _LONGEST) :]
    count += sum(1 for _ in entity.finditer(rest))
    if count > MOST_ENTITIES:
        what = f"a drawing has at most {MOST_ENTITIES:,} entities"
        raise DrawingError(what, file=file, found="more", write="a file of the track alone")


class Loaded(NamedTuple):
    """A file as the library read it, and its unit's code as the header has it, 0 for none."""

    document: Any
    unit_code: int


def _is_binary(path: Path) -> bool:
    with path.open("rb") as stream:
        return stream.read(22)[7:] == _SENTINEL


def load(path: Path) -> Loaded:
    """Read a file; all that the library raises over a damaged one ends here."""
    ezdxf = dxf_library()
    from ezdxf.lldxf.validator import binary_dxf_info, dxf_info

    try:
        if _is_binary(path):
            info = binary_dxf_info(path.read_bytes())
        else:
            with path.open(encoding="utf-8", errors="ignore") as stream:
                info = dxf_info(stream)
        document, unit_code = ezdxf.readfile(path), int(info.insert_units)
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
            raise DrawingError("this is no DXF file", found="other text", write="it again, saved as DXF") from None
        # only the library's own errors are about the file; Python's are about the code that reads it
        why = cut(clean(" ".join(str(error).split()))) if isinstance(error, ezdxf.DXFError) else ""
        raise _damaged(why.removeprefix("DXFStructureError: ")) from error
    if "Model" not in document.layouts:
        raise _damaged("no model space")
    return Loaded(document, unit_code)


def _damaged(found: str) -> DrawingError:
    return DrawingError(
        "the file is damaged or cut short",
        found=found,
        write="it anew: open it where it was drawn and save it",
    )


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
