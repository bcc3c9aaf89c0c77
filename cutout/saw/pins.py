"""Where a stack of panels is pinned together: in the waste, clear of the blade and of the holes."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, MultiPoint, MultiPolygon

from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi
from cutout.pattern import Pattern
from cutout.saw.model import Plan

CLEAR = 5.0
"""Distance (mm) of a pin from the outline, the panel's edge, holes and the saw's way: a brad's head is 2 to 3 mm
wide, and wood splits near an edge. Common practice, no source."""
APART = 40.0
"""Pins nearer to each other than this (mm) hold no better than one. Common practice, no source."""
MOST = 6
"""So many pins hold a panel; the clamps of the table do the rest. Common practice, no source."""
_ACROSS = 90
"""Places tried along the longer side of the waste."""


def pins(pattern: Pattern, plan: Plan, kerf: float) -> tuple[tuple[float, float], ...]:
    """Places (panel mm) for pins through all layers, far from one another; none for one layer or where none fits.

    kerf: of the blade, mm. They lie in the waste, `CLEAR` of its edges, of every hole, and of every leg's slot, so
    that no blade or drill meets one.
    """
    if pattern.panel.layers == 1 or pattern.waste.is_empty:
        return ()
    ways = [LineString(leg.path).buffer(kerf / 2 + CLEAR) for leg in plan.legs if len(leg.path) > 1]
    discs = [shapely.Point(h.at).buffer(h.diameter / 2 + CLEAR) for h in plan.holes]
    free = as_multi(pattern.waste.buffer(-CLEAR).difference(shapely.union_all([*ways, *discs])))
    if free.is_empty:
        return ()
    return _spread(_tried(free), pattern.panel.middle)


def _tried(free: MultiPolygon) -> FloatArray:
    """Points (n, 2) to choose from: a grid over the free waste, and a point in each of its parts."""
    x0, y0, x1, y1 = free.bounds
    step = max(x1 - x0, y1 - y0, 1e-3) / _ACROSS
    x, y = np.meshgrid(np.arange(x0, x1 + step, step), np.arange(y0, y1 + step, step))
    grid = np.column_stack([x.ravel(), y.ravel()])
    shapely.prepare(free)
    inside = grid[shapely.contains_xy(free, grid)]
    own = shapely.get_coordinates(shapely.point_on_surface(shapely.get_parts(free)))
    return np.concatenate([inside, own])


def _spread(spots: FloatArray, middle: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    """Spots as far apart as they come: first the one farthest from the middle, then always the loneliest."""
    chosen = [int(np.argmax(np.round(np.hypot(*(spots - middle).T), 6)))]
    while len(chosen) < MOST:
        far = np.asarray(shapely.distance(shapely.points(spots), MultiPoint(spots[chosen])))
        loneliest = int(np.argmax(np.round(far, 6)))
        if far[loneliest] < APART:
            break
        chosen.append(loneliest)
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in spots[chosen])
