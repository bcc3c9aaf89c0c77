"""Where something lies, in words."""

from __future__ import annotations

from collections.abc import Sequence

import shapely

_PLACES = (
    ("lower left", "bottom", "lower right"),
    ("left", "middle", "right"),
    ("upper left", "top", "upper right"),
)


def place_in(geometry: shapely.Geometry, box: Sequence[float]) -> str:
    """Where in a box (least x and y, greatest x and y) the middle of something lies: "upper left", "middle"."""
    spot = shapely.centroid(geometry)
    x0, y0, x1, y1 = box
    column, row = (
        min(2, max(0, int(3 * (v - low) / max(high - low, 1e-9))))
        for v, low, high in ((spot.x, x0, x1), (spot.y, y0, y1))
    )
    return _PLACES[row][column]
