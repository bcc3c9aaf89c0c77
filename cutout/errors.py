"""Errors the user sees. Each message is one sentence: what, where, what to do."""

from __future__ import annotations


class CutoutError(Exception):
    """Base of every error caused by input, options or the machine; the shell prints it as one line, exit 2."""


class UnitError(CutoutError):
    """A length or size that can't be read."""


class ReadError(CutoutError):
    """A source file that can't be read or holds no usable silhouette."""


class KitError(CutoutError):
    """An unknown or impossible blade, bit, drill, wood or paper."""


class LayoutError(CutoutError):
    """A silhouette or panel whose sizes can't be reconciled."""


class JobError(CutoutError):
    """A job file that can't be read, with the line where it goes wrong."""


class WriteError(CutoutError):
    """A folder or file that can't be written."""


def unexpected(error: Exception) -> str:
    """One line for an error that is a fault of this program."""
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    return (
        f"this should not have happened ({what}); nothing was written. Please report it with the source file; "
        "CUTOUT_TRACEBACK=1 shows where."
    )
