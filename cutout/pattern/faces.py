"""The two faces of a panel: what is drawn on each, and how the through-cuts look from there."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon, affinity, box

from cutout.errors import LayoutError
from cutout.geom.outline import as_multi
from cutout.pattern.panel import Panel, Zone


def drawn_frame(panel: Panel, stile: float, rail: float, reveal: float) -> tuple[Zone, Zone]:
    """Stiles and rails as they are drawn to look like frame and panel, and the reveal line inside them.

    Both are symmetric left to right, so they are the same from either face. Raises LayoutError if they
    leave no panel between them.
    """
    inner = (stile, rail, panel.width - stile, panel.height - rail)
    if inner[2] - inner[0] <= 2 * reveal or inner[3] - inner[1] <= 2 * reveal:
        raise LayoutError("the drawn stiles and rails leave no panel between them: make them narrower.")
    field = box(*inner)
    frame = as_multi(panel.polygon.difference(field))
    gap = as_multi(field.difference(box(*inner).buffer(-reveal, join_style="mitre")))
    return Zone("stiles and rails", frame), Zone("reveal line", gap)


def seen_from_back(region: MultiPolygon, panel: Panel) -> MultiPolygon:
    """The region as it looks when the panel is turned round its upright axis: left and right change places."""
    return as_multi(affinity.scale(region, xfact=-1.0, origin=(panel.width / 2, 0.0)))


def crossed(zone: Zone, waste: MultiPolygon) -> MultiPolygon:
    """Where openings cut through what is drawn, specks under a square millimetre left out."""
    both = as_multi(shapely.intersection(zone.area, waste))
    return MultiPolygon([p for p in both.geoms if p.area >= 1.0])
