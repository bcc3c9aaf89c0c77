"""Errors the user sees. Each message is one sentence: what, where, what to do."""

from __future__ import annotations

import os
import unicodedata
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Length:
    """A length (mm) within what an error says."""

    mm: float


class CutoutError(Exception):
    """Base of every error caused by input, options or the machine; the shell prints it as one line, exit 2.

    What it says comes in pieces, texts and lengths. As text the lengths are in mm; `cutout.say.worded` puts them in
    the units of a job.
    """

    def __init__(self, *said: str | Length) -> None:
        super().__init__(*said)
        self.said = said

    def __str__(self) -> str:
        return "".join(f"{part.mm:.3g} mm" if isinstance(part, Length) else str(part) for part in self.said)


class UnitError(CutoutError):
    """A length or size that can't be read."""


class ReadError(CutoutError):
    """A source file that can't be read or holds no usable silhouette."""


class NoFigureError(ReadError):
    """A picture without a figure that could be told apart by itself; marks by hand may tell it."""


class KitError(CutoutError):
    """An unknown or impossible blade, bit, drill, wood or paper."""


class LayoutError(CutoutError):
    """A silhouette or panel whose sizes can't be reconciled."""


class JobError(CutoutError):
    """A job file that can't be read, with the line where it goes wrong."""


class WriteError(CutoutError):
    """A folder or file that can't be written."""


class OutputError(CutoutError):
    """Standard output that takes no more."""


def in_one_line(error: Exception) -> str:
    """What any error is told as: a sentence of ours as it stands, else that it is a fault of this program."""
    if isinstance(error, CutoutError):
        return str(error)
    if isinstance(error, MemoryError):
        return "out of memory: use a smaller picture."
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    return (
        f"this should not have happened ({what}). Please report it with the source file; "
        "CUTOUT_TRACEBACK=1 shows where."
    )


def shown(path: Path) -> str:
    """A path as a message shows it, whatever bytes it is made of."""
    return plain(os.fsencode(path).decode("utf-8", "backslashreplace"))


_UNPRINTABLE = frozenset(["Cc", "Cf", "Cs", "Co", "Zl", "Zp"])
"""General categories of what a terminal would obey rather than show: controls, marks of direction, line ends."""


def plain(text: str) -> str:
    """A line as a terminal may safely show it: what steers a terminal or turns text round is spelled out."""
    return "".join(
        c if unicodedata.category(c) not in _UNPRINTABLE else c.encode("unicode_escape").decode()
        for c in text
    )
