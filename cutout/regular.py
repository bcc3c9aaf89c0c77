"""Reading a regular file whole, and no more of it than is allowed: no pipe, no device, nothing without an end."""

from __future__ import annotations

import os
import stat
from pathlib import Path

_PIECE = 1 << 20
"""Bytes read at once."""


class NotAFileError(OSError):
    """What is to be read is no regular file, or a longer one than is taken."""

    def __init__(self, reason: str) -> None:
        super().__init__(0, reason)


def read_whole(path: Path, most: int) -> bytes:
    """The bytes of a regular file. Raises OSError; NotAFileError (its `strerror` a reason in words) for others.

    most: bytes it may have; no more than that is ever read, whatever its size was said to be.
    """
    # Without O_NONBLOCK a pipe that nobody writes to would be waited for before it can be looked at.
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    try:
        kind = os.fstat(handle)
        if not stat.S_ISREG(kind.st_mode):
            raise NotAFileError(
                "it is a folder" if stat.S_ISDIR(kind.st_mode) else "it is a device or a pipe, not a file"
            )
        too_long = NotAFileError(f"it is larger than {_megabytes(most)}")
        if kind.st_size > most:
            raise too_long
        pieces, got = [], 0
        while piece := os.read(handle, _PIECE):
            got += len(piece)
            if got > most:
                raise too_long
            pieces.append(piece)
        return b"".join(pieces)
    finally:
        os.close(handle)


def _megabytes(size: int) -> str:
    return f"{size >> 20} MB" if size >= 1 << 20 else f"{size >> 10} kB"
