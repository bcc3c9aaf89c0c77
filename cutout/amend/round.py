"""Rounding the tips of a region: what a disc rolling inside it can't reach, where that is little."""

from __future__ import annotations

import math

import numpy as np
import shapely
from scipy.spatial import KDTree
from shapely import MultiPolygon, Polygon

from cutout.geom.outline import polygons_of

FINENESS = 0.005
"""Greatest distance (mm) between a rounding and the polyline that stands for it."""
LEAST_DEPTH = 0.03
"""A tip shallower than this (mm) is rounding error of the outline itself and is left alone."""


_HAIR = 1e-7
"""Parts that meet in a point only are parted by so much (mm), and joined again."""
_ON = 1e-4
"""Points nearer than this (mm) lie on the line."""


def quad_segs(radius: float) -> int:
    """Segments per quarter circle that keep a circle of `radius` mm within FINENESS."""
    if radius <= FINENESS:
        return 4
    return max(4, math.ceil(math.pi / 4 / math.acos(1 - FINENESS / radius)))


def opened(region: shapely.Geometry, radius: float) -> shapely.Geometry:
    """The part of `region` that discs of `radius` mm inside it cover (morphological opening)."""
    fine = quad_segs(radius)
    return shapely.buffer(shapely.buffer(region, -radius, quad_segs=fine), radius, quad_segs=fine)


def tips(region: MultiPolygon, radius: float, deepest: float) -> list[tuple[Polygon, float]]:
    """(tip, depth) of every corner or tight curve of `region` that a disc of `radius` mm can't reach into.

    Only tips that hang on the rest by a single arc and stand out at most `deepest` mm are given: necks
    between two parts, and whole narrow arms, are not corners. Cutting a tip off leaves an arc of `radius`.
    """
    core = opened(region, radius)
    if shapely.is_empty(core):
        return []
    rest = polygons_of(shaved(shapely.difference(region, core)))
    arcs = KDTree(shapely.get_coordinates(core))
    found = []
    for part in rest:
        if part.area < LEAST_DEPTH**2 or part.interiors:
            continue
        ring = shapely.get_coordinates(part.exterior)[:-1]
        # Nothing but the core's arcs has the core's own vertices on it.
        away = np.asarray(arcs.query(ring)[0])
        if away.max() < LEAST_DEPTH or _runs(np.less(away, _ON)) != 1:
            continue
        depth = float(shapely.distance(shapely.points(ring[away > LEAST_DEPTH / 2]), core).max(initial=0.0))
        if LEAST_DEPTH <= depth <= deepest:
            found.append((part, depth))
    return found


def shaved(parts: shapely.Geometry) -> shapely.Geometry:
    """Parts cut out of a region, without the hairs that rounding errors leave along the edges beside them, and
    a hair larger themselves: so cut off they leave none standing.
    """
    inner = shapely.buffer(parts, -_HAIR, join_style="mitre")
    return shapely.buffer(inner, 2 * _HAIR, join_style="mitre")


def _runs(marked: np.ndarray) -> int:
    """How many separate runs of True a closed ring has."""
    if marked.all():
        return 1
    return int(np.count_nonzero(marked & ~np.roll(marked, 1)))
