"""One run at a time in a folder."""

from __future__ import annotations

import contextlib
import errno
import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WAIT = 30.0
"""Seconds to wait for another run that is writing in the folder; writing a set takes a fraction of one."""
_LOCK_FILE = ".cutout-lock"
_TAKEN = frozenset([errno.EAGAIN, errno.EACCES, errno.EWOULDBLOCK, errno.EDEADLK])
_PAUSE = 0.02
"""Seconds between two tries: shorter than anybody notices."""


class BusyError(Exception):
    """Another run has held the folder for as long as was waited."""


@contextmanager
def alone_in(folder: Path, wait: float = WAIT) -> Iterator[None]:
    """Nobody else who asks writes in this folder meanwhile; waits for who does. Raises BusyError, OSError.

    The system takes the lock back when a run ends, however it ends. The folder itself is locked where the system
    can, so that no file stays; else a file in it. A disk that knows no locks at all has none.
    """
    until = time.monotonic() + wait
    while True:
        handle, named = _open(folder)
        try:
            if not _locked(handle, until):
                raise BusyError(folder)
            if not _still_there(handle, named):
                folder.mkdir(parents=True, exist_ok=True)
                continue  # removed by who had it before
            try:
                yield
            finally:
                if named.name == _LOCK_FILE:
                    with contextlib.suppress(OSError):
                        named.unlink()
            return
        finally:
            os.close(handle)


if sys.platform == "win32":
    import msvcrt

    def _open(folder: Path) -> tuple[int, Path]:
        return _open_file(folder)

    def _try(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _open(folder: Path) -> tuple[int, Path]:
        """The folder itself, or a file in it where the disk (a network's) locks no folders."""
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
            fcntl.flock(handle, fcntl.LOCK_UN)
        except OSError as error:
            if error.errno not in _TAKEN:
                os.close(handle)
                return _open_file(folder)
        return handle, folder

    def _try(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def _open_file(folder: Path) -> tuple[int, Path]:
    path = folder / _LOCK_FILE
    return os.open(path, os.O_RDWR | os.O_CREAT, 0o600), path


def _locked(handle: int, until: float) -> bool:
    while True:
        try:
            _try(handle)
            return True
        except OSError as error:
            if error.errno not in _TAKEN:
                return True  # no locks on this disk
        if time.monotonic() > until:
            return False
        time.sleep(_PAUSE)


def _still_there(handle: int, named: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), named.stat())
    except OSError:
        return False
