"""The private folder a run of the page works in, and those that runs which were killed left behind."""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
import time
from contextlib import ExitStack
from pathlib import Path

from cutout.write.lock import BusyError, alone_in

_PREFIX = "cutout-page-"
_YOUNG = 60.0
"""A folder younger than this (s) may belong to a run that is just about to lock it."""


class Scratch:
    """A folder of this run alone, locked for as long as the run lives, however it ends."""

    def __init__(self) -> None:
        """Make it, after what dead runs left is thrown away."""
        self._held = ExitStack()
        made = tempfile.TemporaryDirectory(prefix=_PREFIX, ignore_cleanup_errors=True)
        self.path = Path(self._held.enter_context(made))
        self._held.enter_context(alone_in(self.path, 0.0))
        if _is_held(self.path):  # Where the disk knows no locks nobody's death can be told.
            _clear_dead(self.path)

    def close(self) -> None:
        """Remove it."""
        self._held.close()


def _clear_dead(own: Path) -> None:
    """Throw away the folders beside our own that belong to us and to no run that lives."""
    for folder in own.parent.glob(f"{_PREFIX}*"):
        if folder != own and _is_ours(folder) and not _is_held(folder):
            shutil.rmtree(folder, ignore_errors=True)


def _is_ours(folder: Path) -> bool:
    try:
        about = folder.lstat()
    except OSError:
        return False
    mine = not hasattr(os, "getuid") or about.st_uid == os.getuid()
    return mine and stat.S_ISDIR(about.st_mode) and time.time() - about.st_mtime > _YOUNG


def _is_held(folder: Path) -> bool:
    """Whether a run that lives works there."""
    try:
        with alone_in(folder, 0.0):
            return False
    except (BusyError, OSError):
        return True
