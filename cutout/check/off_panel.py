"""Parts of the outline that lie outside the panel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.finding import Facts, Finding
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern

_LEAST = 0.01
"""Less than this (mm) is touching."""


@dataclass(frozen=True, slots=True)
class SticksOut(Facts):
    """The silhouette goes over the panel's edge; size: by how much."""


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
        at = (float(xy[far, 0]), float(xy[far, 1]))
        yield Finding(kind="off the panel", severity="stop", at=at, size=size, limit=0.0, facts=SticksOut())
