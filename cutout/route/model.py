"""Tool paths: closed runs of lines and arcs, cut to depth in passes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shapely import MultiPolygon

from cutout.check.finding import Finding
from cutout.geom.outline import Ring
from cutout.kit import Bit


@dataclass(frozen=True, slots=True)
class Tab:
    """A stretch of the path left standing: distances along the ring (mm) where it starts and ends."""

    start: float
    end: float
    at: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Pass:
    """One closed run of the bit's centre, in cutting order and direction; lines and arcs only.

    side "inside" = round the inside of an opening (clockwise), "outside" = round a piece that survives
    (counter-clockwise), seen from above. depths: z of each turn, negative, deepest last (mm).
    """

    order: int
    opening: int
    side: Literal["inside", "outside"]
    ring: Ring
    bit: Bit
    depths: tuple[float, ...]
    tabs: tuple[Tab, ...]


@dataclass(frozen=True, slots=True)
class ToolPath:
    """All passes, what the bits can't reach, and what the proof of the path measured (mm)."""

    passes: tuple[Pass, ...]
    unreached: MultiPolygon
    findings: tuple[Finding, ...]
    gouge: float
    travel: float
    cut_length: float
    minutes: float
