"""Tool paths: closed runs of lines and arcs, cut to depth in passes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from typing import Literal, TypeAlias

from shapely import MultiPolygon

from cutout.finding import Finding
from cutout.geom.outline import Ring
from cutout.kit import Bit

_PRACTICE = "common practice, no source"

Side: TypeAlias = Literal["inside", "outside"]
Purpose: TypeAlias = Literal["outline", "clearing", "corners"]


@dataclass(frozen=True, slots=True)
class Settings:
    """How deep, how held, how fast; mm, radians, mm/min. `origins()` tells where each default comes from."""

    breakthrough: float = field(default=0.4, metadata={"origin": _PRACTICE})
    """How far the last turn goes below the panel's underside."""
    safe_height: float = field(default=8.0, metadata={"origin": _PRACTICE})
    """Height above the panel at which the bit travels."""
    ramp: float = field(default=math.radians(4.0), metadata={"origin": _PRACTICE})
    """Slope at which the bit enters the wood along its path."""
    tab_width: float = field(default=6.0, metadata={"origin": _PRACTICE})
    """Wood that stays in a tab, along the path."""
    tab_height: float = field(default=3.0, metadata={"origin": _PRACTICE})
    """Wood that stays in a tab, above the underside; never more than a third of the thickness."""
    tab_spacing: float = field(default=250.0, metadata={"origin": _PRACTICE})
    """Path length one tab holds; three tabs at least."""
    feed_limit: float = field(default=3000.0, metadata={"origin": _PRACTICE})
    """Fastest feed of the user's machine."""
    rapid: float = field(default=3000.0, metadata={"origin": _PRACTICE})
    """Travel speed, for the estimate of time only."""
    tolerance: float = field(default=0.01, metadata={"origin": "working resolution of the geometry"})
    """How far the fitted path may stray from the exact offset."""

    @classmethod
    def origins(cls) -> dict[str, str]:
        """{setting: origin} for printing beside the values."""
        return {f.name: f.metadata["origin"] for f in fields(cls)}

    def feed(self, bit: Bit) -> float:
        """Feed of a bit in mm/min, held to the machine's limit."""
        return min(bit.feed, self.feed_limit)


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
    (counter-clockwise), seen from above. depths: z of each turn, negative, deepest last (mm); tab_top: z of
    the tabs' upper face. purpose: along the outline, clearing wood too small to hold, or what the larger
    bit left in corners.
    """

    order: int
    opening: int
    side: Side
    ring: Ring
    bit: Bit
    depths: tuple[float, ...]
    tabs: tuple[Tab, ...]
    tab_top: float = 0.0
    purpose: Purpose = "outline"


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
    settings: Settings = Settings()
