"""What the writers draw: the pattern's rings with their curves, and the lines a blade has to follow."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon

from cutout.geom.outline import Ring, from_region
from cutout.pattern import Pattern

_CLEAR = 1e-6
"""What lies over the panel's edge by less (mm) lies within: rounding."""


def waste_rings(pattern: Pattern) -> tuple[Ring, ...]:
    """Rings whose even-odd fill is the waste, as curves wherever the pattern still has them.

    The outline stands for the waste as long as none of it was cut off at the panel's edge; otherwise, and
    for the slot of keep `both`, the rings are the straight runs of the waste itself.
    """
    if pattern.keep_mode == "both" or not _whole(pattern):
        return from_region(pattern.waste)
    if pattern.keep_mode == "panel":
        return pattern.outline.rings
    return (*from_region(MultiPolygon([pattern.panel.polygon])), *pattern.outline.rings)


def cut_lines(pattern: Pattern) -> shapely.Geometry:
    """The lines to saw along: edges of the waste that are not the panel's own edge, or for keep `both`
    the outline itself. Lines in mm, panel frame."""
    if pattern.keep_mode == "both":
        return shapely.line_merge(shapely.boundary(pattern.figure))
    edge = shapely.buffer(pattern.panel.polygon.exterior, 1e-3)
    return shapely.difference(shapely.boundary(pattern.waste), edge)


def _whole(pattern: Pattern) -> bool:
    """Whether the outline lies inside the panel and still encloses just what is cut (or kept)."""
    if not pattern.outline.rings:
        return False
    x0, y0, x1, y1 = pattern.outline.bounds
    panel = pattern.panel
    if x0 < -_CLEAR or y0 < -_CLEAR or x1 > panel.width + _CLEAR or y1 > panel.height + _CLEAR:
        return False
    enclosed = pattern.outline.region().area
    shown = pattern.waste if pattern.keep_mode == "panel" else pattern.keep
    return abs(enclosed - shown.area) < 1e-4 * max(1.0, shown.length)
