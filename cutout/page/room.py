"""Free room on the panel for one more figure, and figures that lie over each other."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

SHARES = (1.0, 0.8, 0.64, 0.5, 0.4, 0.3)
"""Sizes tried for a new figure, as shares of the size it asks for."""

GAP = 12.0
"""Wood (mm) between boxes and to the edge that a new figure is given: enough to see, more than most limits."""

_STEPS = 24
"""Places tried along each side of the panel."""

Box = tuple[float, float, float, float]


def free_room(
    size: tuple[float, float], taken: Sequence[Box], area: Box
) -> tuple[tuple[float, float], float] | None:
    """The middle (mm) for a figure of `size` in `area` beside the boxes taken, and the share of its size that fits.

    The free place nearest the middle of the area is taken; None where not even the smallest share fits.
    """
    x0, y0, x1, y1 = area
    others = np.asarray(taken, float).reshape(-1, 4)
    for share in SHARES:
        half = np.array([size[0] * share / 2 + GAP, size[1] * share / 2 + GAP])
        if x1 - x0 < 2 * half[0] or y1 - y0 < 2 * half[1]:
            continue
        xs = np.linspace(x0 + half[0], x1 - half[0], _STEPS)
        ys = np.linspace(y0 + half[1], y1 - half[1], _STEPS)
        spots = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 1, 2)
        apart = (
            (spots[..., 0] + half[0] <= others[:, 0])
            | (spots[..., 0] - half[0] >= others[:, 2])
            | (spots[..., 1] + half[1] <= others[:, 1])
            | (spots[..., 1] - half[1] >= others[:, 3])
        )
        free = spots[apart.all(axis=1), 0]
        if len(free):
            far = np.hypot(free[:, 0] - (x0 + x1) / 2, free[:, 1] - (y0 + y1) / 2)
            x, y = free[int(np.argmin(far))]
            return (round(float(x), 1), round(float(y), 1)), share
    return None


def overlaps(regions: Sequence[Polygon | MultiPolygon]) -> list[tuple[int, int]]:
    """Pairs of figures, by number, whose areas lie over each other and are not only in touch."""
    return [
        (a, b)
        for a, b in combinations(range(len(regions)), 2)
        if shapely.intersects(regions[a], regions[b]) and not shapely.touches(regions[a], regions[b])
    ]
