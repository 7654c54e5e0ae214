"""Writing a file whole or not at all."""

from __future__ import annotations

import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path


def write_whole(path: str, data: bytes) -> None:
    """Write a file so that, whatever happens, it has either its old content or all of the new.

    The data goes to a temporary file in the same folder, to the disk, and then takes the file's name. A link stays a
    link to the file it names. What is no ordinary file, such as a pipe, is written to as it is.
    """
    target = Path(os.path.realpath(path))
    try:
        mode = target.stat().st_mode if target.exists() else None
        if mode is None or stat.S_ISREG(mode):
            _replace(target, data, mode)
        else:
            with target.open("wb") as stream:
                stream.write(data)
    except OSError as error:
        raise OSError(error.errno, f"cannot be written: {error.strerror or error}", path) from error


def _replace(target: Path, data: bytes, mode: int | None) -> None:
    if mode is not None and not os.access(target, os.W_OK):
        raise PermissionError(13, "Permission denied")
    temporary = target.with_name(f".{target.name[:100]}.{secrets.token_hex(6)}")
    try:
        descriptor = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o666)
        with open(descriptor, "wb") as stream:  # noqa: PTH123 - a descriptor is no path
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if mode is not None:
            temporary.chmod(stat.S_IMODE(mode))
        temporary.replace(target)
    except BaseException:
        with suppress(OSError):
            temporary.unlink()
        raise
