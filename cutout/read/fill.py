"""Filled regions of closed runs that may cross themselves and one another."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiLineString, MultiPolygon, Point, Polygon

from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, nest

FillRule = Literal["nonzero", "evenodd"]
"""Which regions of closed runs count as inside (SVG 2, 13.4.2)."""


def fill(rings: Sequence[FloatArray], rule: FillRule) -> shapely.Geometry:
    """The region the rings enclose under a fill rule; (n, 2) vertices each, closed or not, any sense."""
    closed = [r if (r[0] == r[-1]).all() else np.vstack([r, r[:1]]) for r in rings if len(r) > 2]
    closed = [r for r in closed if len(r) > 3]
    if not closed:
        return MultiPolygon()
    if len(closed) == 1:
        polygon = Polygon(closed[0])
        if polygon.is_valid:
            return polygon
    lines = MultiLineString(closed)
    if shapely.is_simple(lines):
        return _fill_apart(closed, rule)
    return _fill_crossing(closed, lines, rule)


def _filled(winding: NDArray[np.int64], rule: FillRule) -> NDArray[np.bool_]:
    return np.asarray(winding % 2 == 1 if rule == "evenodd" else winding != 0)


def _fill_apart(rings: Sequence[FloatArray], rule: FillRule) -> shapely.Geometry:
    """Rings that neither cross nor touch: each parts an outside from an inside of known winding."""
    polygons = np.array([Polygon(r) for r in rings], dtype=object)
    sense = np.where(shapely.is_ccw(shapely.get_exterior_ring(polygons)), 1, -1)
    starts = np.array([Point(r[0]) for r in rings], dtype=object)
    inside, around = shapely.STRtree(polygons).query(starts, predicate="within")
    apart = inside != around
    outer = np.zeros(len(rings), dtype=np.int64)
    np.add.at(outer, inside[apart], sense[around[apart]])
    parting = _filled(outer, rule) != _filled(outer + sense, rule)
    return nest([rings[i] for i in np.flatnonzero(parting).tolist()])


def _fill_crossing(rings: Sequence[FloatArray], lines: shapely.Geometry, rule: FillRule) -> shapely.Geometry:
    """Rings cut where they meet; each face is judged by the winding number of a point in it."""
    noded = shapely.unary_union(lines)
    faces = np.array(shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))), dtype=object)
    if len(faces) == 0:
        return MultiPolygon()
    winding = winding_numbers(shapely.get_coordinates(shapely.point_on_surface(faces)), rings)
    chosen = faces[_filled(winding, rule)]
    return as_multi(shapely.union_all(chosen))


def winding_numbers(points: FloatArray, rings: Sequence[FloatArray]) -> NDArray[np.int64]:
    """How often the closed rings run round each point, counter-clockwise positive; (n,).

    Source: crossings of a ray to the right, counted with their direction.
    """
    a = np.concatenate([r[:-1] for r in rings])
    b = np.concatenate([r[1:] for r in rings])
    far = max(a[:, 0].max(), b[:, 0].max()) + 1.0
    ray_ends = np.column_stack([np.full(len(points), far), points[:, 1]])
    rays = shapely.linestrings(np.stack([points, ray_ends], axis=1))
    tree = shapely.STRtree(np.asarray(shapely.linestrings(np.stack([a, b], axis=1)), dtype=object))
    ray, edge = tree.query(rays)
    p, s, e = points[ray], a[edge], b[edge]
    turn = (e[:, 0] - s[:, 0]) * (p[:, 1] - s[:, 1]) - (p[:, 0] - s[:, 0]) * (e[:, 1] - s[:, 1])
    up = (s[:, 1] <= p[:, 1]) & (e[:, 1] > p[:, 1]) & (turn > 0)
    down = (s[:, 1] > p[:, 1]) & (e[:, 1] <= p[:, 1]) & (turn < 0)
    count = np.zeros(len(points), dtype=np.int64)
    np.add.at(count, ray, up.astype(np.int64) - down.astype(np.int64))
    return count
