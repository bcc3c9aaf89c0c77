"""What mending did."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from shapely import Polygon

from cutout.choices import Corners, LetterBridges
from cutout.finding import Facts, Finding
from cutout.pattern import Pattern

WORTH_A_WORD = 0.005
"""An outline that easing moved no further (mm) counts as left alone: lengths are told to a hundredth."""


@dataclass(frozen=True, slots=True)
class Bridge:
    """A strip of wood left standing: `area` between `start` and `end` (mm), `width` across it.

    by_hand: asked for in the job file rather than found.
    """

    id: int
    start: tuple[float, float]
    end: tuple[float, float]
    width: float
    area: Polygon
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class HandBridge:
    """A bridge the user placed: middle, direction of its length (radians), width; mm."""

    at: tuple[float, float]
    angle: float
    width: float


Trying: TypeAlias = Literal["bridges", "patterns"]
"""What is tried one after the other while mending: bridges to a loose piece, and patterns eased somewhere."""

Tell: TypeAlias = Callable[[Trying, int, float], None]
"""Called while mending: what is tried, how many so far, and the share (0..1) done, or used up of what may be."""


def untold(trying: Trying, tries: int, share: float) -> None:
    """Nobody listens."""


@dataclass(frozen=True, slots=True)
class Mending:
    """What may be done: ease and bridge switches; bridge width (mm, None = from the wood) and count per piece.

    without: middles (mm) of found bridges the user took away; by_hand: bridges the user placed. letters: how those
    of letters run, None where that is chosen.
    """

    ease: bool = True
    bridge: bool = True
    bridge_width: float | None = None
    bridge_count: int | None = None
    by_hand: tuple[HandBridge, ...] = ()
    without: tuple[tuple[float, float], ...] = ()
    corners: Corners = "cheapest"
    letters: LetterBridges | None = None


@dataclass(frozen=True, slots=True)
class GaveUp(Facts):
    """The drawing holds so much detail that mending was ended before all of it was tried."""


@dataclass(frozen=True, slots=True)
class Eased:
    """How far easing moved the outline at most (mm), and how much area it changed (mm^2)."""

    max_shift: float
    area_change: float

    @property
    def moved(self) -> bool:
        """Whether it moved the outline by more than a rounding, so that it is worth a word."""
        return self.max_shift >= WORTH_A_WORD


@dataclass(frozen=True, slots=True)
class Mended:
    """The pattern after mending, what was done, and the findings: those left, and those cleared."""

    pattern: Pattern
    bridges: tuple[Bridge, ...]
    eased: Eased | None
    findings: tuple[Finding, ...]
