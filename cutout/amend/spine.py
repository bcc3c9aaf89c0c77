"""The middle line of a narrow place."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Voronoi
from shapely import MultiLineString

from cutout.geom.curve import FloatArray

_SAMPLES = 10
"""Boundary samples per width looked for: the middle line is then good to about a hundredth of that width."""


def spine(region: shapely.Geometry, window: shapely.Geometry, width: float) -> MultiLineString:
    """The middle line of `region` inside `window` where the region is narrower than `width` mm.

    It is the part of the Voronoi diagram of samples of the boundary whose two nearest samples lie across from
    each other: farther apart along the boundary than they would be round a bump or into a blunt corner.
    """
    points, place, ring, whole = _samples(region, shapely.buffer(window, 2 * width), width / _SAMPLES)
    if len(points) < 4:
        return MultiLineString()
    diagram = Voronoi(points)
    pair, ends = diagram.ridge_points, np.array(diagram.ridge_vertices)
    gap = np.abs(place[pair[:, 0]] - place[pair[:, 1]])
    gap = np.minimum(gap, whole[pair[:, 0]] - gap)
    apart = np.hypot(*(points[pair[:, 0]] - points[pair[:, 1]]).T)
    across = (ring[pair[:, 0]] != ring[pair[:, 1]]) | (gap > np.maximum(2.5 * apart, width / 2))
    good = across & (ends >= 0).all(axis=1) & (apart < width)
    ends = ends[good]
    usable = _inside(region, window, diagram.vertices)
    ends = ends[usable[ends].all(axis=1)]
    edges = shapely.linestrings(diagram.vertices[ends])
    half = shapely.distance(edges, shapely.boundary(region))
    merged = shapely.line_merge(shapely.union_all(edges[half < width / 2]))
    return MultiLineString([p for p in shapely.get_parts(merged) if not p.is_empty])


def _inside(region: shapely.Geometry, window: shapely.Geometry, at: FloatArray) -> NDArray[np.bool_]:
    inside = shapely.contains_xy(window, at[:, 0], at[:, 1])
    inside[inside] = shapely.contains_xy(region, at[inside, 0], at[inside, 1])
    return np.asarray(inside)


def _samples(
    region: shapely.Geometry, near: shapely.Geometry, step: float
) -> tuple[FloatArray, FloatArray, NDArray[np.int64], FloatArray]:
    """Points every `step` mm along the boundary inside `near`: where, how far along which ring, how long it is."""
    rings = shapely.get_rings(shapely.get_parts(region))
    rings = rings[shapely.intersects(rings, near)]
    found = []
    for index, line in enumerate(rings):
        n = max(8, int(np.ceil(line.length / step)))
        along = np.arange(n) * (line.length / n)
        xy = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
        close = shapely.contains_xy(near, xy[:, 0], xy[:, 1])
        size = int(close.sum())
        found.append((xy[close], along[close], np.full(size, index), np.full(size, line.length)))
    if not found:
        empty = np.zeros(0)
        return np.zeros((0, 2)), empty, np.zeros(0, dtype=np.int64), empty
    at, along, number, length = zip(*found, strict=True)
    return np.concatenate(at), np.concatenate(along), np.concatenate(number), np.concatenate(length)
