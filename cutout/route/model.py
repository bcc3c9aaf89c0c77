"""Tool paths: closed runs of lines and arcs, cut to depth in passes."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from itertools import pairwise
from typing import Literal, TypeAlias

from shapely import MultiPolygon

from cutout.choices import Direction, IndexIn, TabEnds
from cutout.finding import Finding
from cutout.geom.outline import Ring
from cutout.kit import Bit, Feeds
from cutout.kit.kit import PRACTICE

Side: TypeAlias = Literal["inside", "outside"]
Purpose: TypeAlias = Literal["outline", "clearing", "corners", "roughing", "finish"]
DRILLED = 0.5
"""A run shorter than this (mm) is a hole the size of the bit: it is drilled."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How deep, how held, how fast; mm, radians, mm/min. `origins()` tells where each default comes from."""

    breakthrough: float = field(default=0.4, metadata={"origin": PRACTICE})
    """How far the last turn goes below the panel's underside."""
    safe_height: float = field(default=8.0, metadata={"origin": PRACTICE})
    """Height above the panel at which the bit travels."""
    ramp: float = field(default=math.radians(4.0), metadata={"origin": PRACTICE})
    """Slope at which the bit enters the wood along its path."""
    tab_width: float = field(default=6.0, metadata={"origin": PRACTICE})
    """Wood that stays in a tab, along the path."""
    tab_height: float = field(default=3.0, metadata={"origin": PRACTICE})
    """Wood that stays in a tab, above the underside; never more than a third of the thickness."""
    tab_spacing: float = field(default=250.0, metadata={"origin": PRACTICE})
    """Path length one tab holds; three tabs at least."""
    tab_ends: TabEnds = field(default="upright", metadata={"origin": PRACTICE})
    """Whether the bit ramps down to and fro behind a tab, or the tab's ends slope and stay."""
    tab_slope: float = field(default=math.radians(20.0), metadata={"origin": PRACTICE})
    """Slope of a sloped tab's ends."""
    direction: Direction = field(default="conventional", metadata={"origin": "woodcraft.com, feed direction"})
    """Which way round: conventional pushes the bit off the line, climb pulls it along."""
    finish: float = field(default=0.0, metadata={"origin": PRACTICE})
    """Wood left for one last turn at full depth along the outline; 0: none."""
    tiles: bool = field(default=False, metadata={"origin": "the user's"})
    """Whether a panel larger than the machine's bed is cut in tiles, moved on between them."""
    index_in: IndexIn = field(default="waste", metadata={"origin": "the user's"})
    """Where holes for the pins may go that find the panel's place in the next tile."""
    feed_limit: float | None = field(default=None, metadata={"origin": "the user's; else the machine's"})
    """Fastest feed the user allows."""
    tolerance: float = field(default=0.01, metadata={"origin": "working resolution of the geometry"})
    """How far the fitted path may stray from the exact offset."""

    @classmethod
    def origins(cls) -> dict[str, str]:
        """{setting: origin} for printing beside the values."""
        return {f.name: f.metadata["origin"] for f in fields(cls)}


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
    (counter-clockwise), seen from above; with a climbing bit the other way round. depths: z of each turn,
    negative, deepest last (mm); tab_top: z of the tabs' upper face. purpose: along the outline, clearing wood too
    small to hold, what the larger bit left in corners; roughing beside the outline, the finishing turn along it.
    part: the stretch of the ring it cuts (mm along it, the end may pass the ring's), None for all of it.
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
    part: tuple[float, float] | None = None

    @property
    def length(self) -> float:
        """Length of path (mm) it cuts in one turn."""
        return self.ring.length if self.part is None else self.part[1] - self.part[0]

    @property
    def tabs_here(self) -> tuple[Tab, ...]:
        """The tabs whose middle lies in the stretch it cuts."""
        if self.part is None:
            return self.tabs
        begin, end = self.part
        whole = self.ring.length
        return tuple(t for t in self.tabs if ((t.start + t.end) / 2 - begin) % whole <= end - begin)

    @property
    def drilled(self) -> bool:
        """Whether it is a hole the size of the bit, which goes straight down."""
        return self.ring.length <= DRILLED

    @property
    def turn(self) -> float:
        """How deep its deepest turn goes below the one before (mm)."""
        return max(a - b for a, b in pairwise((0.0, *self.depths)))


@dataclass(frozen=True, slots=True)
class Tile:
    """What is cut of a panel larger than the bed while it lies in one place.

    shift: how far (mm) the panel has been moved back along x and y since the first tile. reach: the box
    (x0, y0, x1, y1) on the panel the bit's middle can go to. passes: in cutting order. holes: where on the panel it
    is drilled for later tiles. pins: where the machine finds the pins that the panel is laid on for this tile: places
    as its programs say them, from where X0 Y0 was set for the first tile.
    """

    number: int
    shift: tuple[float, float]
    reach: tuple[float, float, float, float]
    passes: tuple[Pass, ...]
    holes: tuple[tuple[float, float], ...] = ()
    pins: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class ToolPath:
    """All passes, what the bits can't reach, and what the proof of the path measured (mm).

    feeds: how each bit is driven, by the depth of its turns, least first. tiles: the same passes dealt out to the
    places the panel lies in, where it is larger than the bed; empty where it lies in one.
    """

    passes: tuple[Pass, ...]
    unreached: MultiPolygon
    findings: tuple[Finding, ...]
    gouge: float
    travel: float
    cut_length: float
    minutes: float
    settings: Settings = Settings()
    feeds: tuple[Feeds, ...] = ()
    tiles: tuple[Tile, ...] = ()

    def feeds_for(self, cut: Pass) -> Feeds:
        """How the bit is driven in a pass: by its bit and how deep its turns go."""
        return next(f for f in self.feeds if f.bit == cut.bit and f.depth >= cut.turn - 1e-6)
