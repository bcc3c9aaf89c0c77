"""Widths against independent measures: GEOS distances, scikit-image's distance transform and medial axis."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import skimage.data
from shapely import Point
from shapely.geometry.base import BaseGeometry
from skimage.draw import polygon2mask
from skimage.measure import find_contours
from skimage.morphology import medial_axis

from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, nest
from cutout.measure.widths import Middle


def horse() -> shapely.MultiPolygon:
    """skimage.data.horse(), 300 mm wide, its steps smoothed by a buffer out and in."""
    black = np.pad(~skimage.data.horse(), 4).astype(float)
    rings = [c[:, ::-1] * [1, -1] for c in find_contours(black, 0.5)]
    region = nest(rings)
    x0, _, x1, _ = region.bounds
    scaled = shapely.transform(region, lambda xy: np.asarray((xy - [x0, 0]) * (300 / (x1 - x0))))
    return as_multi(shapely.buffer(shapely.buffer(scaled, 0.6), -0.6).simplify(0.05))


def pixels(region: BaseGeometry, scale: float) -> tuple[FloatArray, FloatArray]:
    """Points (mm) on scikit-image's medial axis of a region, and the width there."""
    x0, y0, x1, y1 = region.bounds
    shape = (int((x1 - x0) * scale) + 8, int((y1 - y0) * scale) + 8)
    filled = np.zeros(shape, dtype=bool)
    for part in as_multi(region).geoms:
        for ring in (part.exterior, *part.interiors):
            xy = (shapely.get_coordinates(ring) - [x0, y0]) * scale + 4
            filled ^= polygon2mask(shape, xy)
    axis, distance = medial_axis(filled, return_distance=True)
    at = np.argwhere(axis)
    return (at - 4) / scale + [x0, y0], 2 * distance[axis] / scale


def test_the_horse_is_as_wide_as_scikit_image_says() -> None:
    """Every point of the picture's medial axis that is 4 mm wide or more, within two pixels of the raster."""
    scale = 3.0
    region = horse()
    middle = Middle(region)
    points, widths = pixels(region, scale)
    keep = widths > 4
    tree = shapely.STRtree(np.asarray(shapely.points(middle.nodes.real, middle.nodes.imag)))
    nearest, away = tree.query_nearest(shapely.points(points[keep]), return_distance=True, all_matches=False)
    close = away < 1.0
    assert close.mean() > 0.85
    error = np.abs(middle.widths[nearest[1][close]] - widths[keep][close]) - 2 * away[close]
    assert np.quantile(error, 0.98) < 2 / scale


def test_widths_on_the_middle_line_are_geos_s_distances_to_the_walls() -> None:
    region = horse()
    middle = Middle(region)
    true = 2 * shapely.distance(shapely.points(middle.nodes.real, middle.nodes.imag), region.boundary)
    assert np.abs(middle.widths - true).max() < 0.05
    assert np.quantile(np.abs(middle.widths - true), 0.99) < 0.001


@pytest.mark.parametrize("seed", range(5))
def test_walls_between_random_round_openings_are_geos_s_distances(seed: int) -> None:
    """What is found is the distance of two openings, or of one from the edge; the narrowest is found."""
    rng = np.random.default_rng(seed)
    board = shapely.box(0, 0, 240, 240)
    discs: list[BaseGeometry] = []
    while len(discs) < 8:
        disc = Point(*rng.uniform(30, 210, 2)).buffer(rng.uniform(10, 22), 64)
        if all(shapely.distance(disc, other) > 1.5 for other in discs):
            discs.append(disc)
    apart = [float(shapely.distance(a, b)) for i, a in enumerate(discs) for b in discs[:i]]
    apart += [float(shapely.distance(d, board.exterior)) for d in discs]
    found = [n.width for n in Middle(as_multi(board.difference(shapely.union_all(discs)))).necks(15)]
    assert found
    assert max(min(abs(w - true) for true in apart) for w in found) < 1e-3
    assert min(found) == pytest.approx(min(apart), abs=1e-3)
