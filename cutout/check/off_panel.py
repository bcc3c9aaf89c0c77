"""Parts of the outline that lie outside the panel."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from cutout.finding import Finding
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length

_LEAST = 0.01


def off_panel(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Each part of the silhouette that sticks out over the panel's edge."""
    board = pattern.panel.polygon
    outside = shapely.difference(pattern.outline.region(), board)
    for part in polygons_of(outside):
        xy = shapely.get_coordinates(part)
        away = np.asarray(shapely.distance(shapely.points(xy), board))
        far = int(away.argmax())
        size = float(away[far])
        if size < _LEAST:
            continue
        text = f"The silhouette sticks out {format_length(size, kit.units)} over the panel's edge."
        remedy = "Move it, make it smaller, or take a larger panel."
        at = (float(xy[far, 0]), float(xy[far, 1]))
        yield Finding("off the panel", "stop", at, size, 0.0, None, text, remedy)
