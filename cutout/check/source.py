"""What the picture itself makes doubtful: found while a job is put together, not on a pattern alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from cutout.finding import Facts
from cutout.geom.outline import Note


@dataclass(frozen=True, slots=True)
class Doubtful(Facts):
    """A reader's note that makes the whole picture doubtful."""

    note: Note


@dataclass(frozen=True, slots=True)
class OffSize(Facts):
    """The figure is no longer as large as asked; size: what it is, limit: what was asked for."""

    side: Literal["wide", "high"]
