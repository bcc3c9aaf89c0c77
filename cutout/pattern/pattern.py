"""The pattern: what is waste, what is keep, on which panel."""

from __future__ import annotations

from dataclasses import dataclass

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
