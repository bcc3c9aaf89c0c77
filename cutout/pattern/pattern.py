"""The pattern: what is waste, what is keep, on which panel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from shapely import MultiPolygon, Polygon

from cutout.choices import Keep
from cutout.geom.outline import Outline
from cutout.pattern.panel import Panel


@dataclass(frozen=True)
class Opening:
    """One connected region that is cut out. `at_edge`: it reaches the panel's edge, a blade can enter there."""

    id: int
    region: Polygon
    at_edge: bool = False


@dataclass(frozen=True)
class Pattern:
    """Closed outlines to cut, in mm, on the panel; immutable.

    outline: curves of the silhouette in panel coordinates. figure: its filled area inside the panel.
    waste: union of the openings. keep: panel minus waste. For `keep_mode`
      panel  - the figure is cut out of the panel: waste = figure;
      figure - the figure survives: waste = panel - figure;
      both   - panel and figure survive: waste = the slot of width `kerf` centred on the outline, and the
               blade's centre runs on the outline itself.
    """

    panel: Panel
    outline: Outline
    keep_mode: Keep
    kerf: float
    figure: MultiPolygon
    waste: MultiPolygon
    keep: MultiPolygon
    openings: tuple[Opening, ...]

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        """Worked out once, and of the figure alone: what is known again is asked for by patterns of many thousand
        numbers, hundreds of times over."""
        return hash((self.keep_mode, self.kerf, self.figure))

    def __getstate__(self) -> dict[str, Any]:
        # Words have another hash in another process.
        return {name: value for name, value in self.__dict__.items() if name != "_hash"}
