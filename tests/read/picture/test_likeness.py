"""Likenesses of outlines: areas against those of another library."""

from __future__ import annotations

import numpy as np
import shapely

from cutout.read.picture.likeness import Stretches, coarse, winding, windings

SHAPE = (14, 12)


def areas(z: np.ndarray) -> np.ndarray:
    """Area of each pixel within a polygon, as shapely has it; rows from the top."""
    polygon = shapely.Polygon(np.column_stack([z.real, z.imag]))
    rows, columns = np.indices(SHAPE)
    cells = shapely.box(columns, SHAPE[0] - rows - 1, columns + 1, SHAPE[0] - rows)
    return np.asarray(shapely.area(shapely.intersection(cells, polygon)))


def test_windings_are_exact_areas_also_where_lines_run_along_pixels_and_beyond_the_picture() -> None:
    rng = np.random.default_rng(1)
    turns = np.exp(2j * np.pi * np.arange(9) / 9)
    lines = [6 + 5j + 5 * rng.uniform(0.3, 1.6, 9) * turns for _ in range(6)]
    lines += [
        np.array([2 + 2j, 9 + 2j, 9 + 7j, 2 + 7j]),
        np.array([2 + 2.25j, 20 + 2.25j, 20 + 30j, 2 + 30j]),
    ]
    each = windings(lines, SHAPE)
    for line, found in zip(lines, each, strict=True):
        assert np.abs(found - areas(line)).max() < 1e-9
        assert np.abs(coarse(winding([line], SHAPE)) - found).max() < 1e-9
    assert np.abs(winding(lines, SHAPE, 1) - each.sum(axis=0)).max() < 1e-9


def test_a_line_the_other_way_round_takes_away() -> None:
    hole = np.array([3.5 + 3.5j, 3.5 + 6.2j, 7.1 + 6.2j, 7.1 + 3.5j])
    assert np.abs(windings([hole], SHAPE)[0] + areas(hole)).max() < 1e-9


def test_areas_grow_as_fast_as_their_edges_move() -> None:
    """A box wider by 2 px a step to the right and a slanted side; one edge runs along the rim of a row of pixels."""
    box = np.array([2.3 + 2j, 8.4 + 2j, 8.4 + 7.3j, 2.3 + 7.3j])
    leaning = np.array([1.2 + 1.4j, 9.1 + 3.7j, 4.2 + 12.1j])
    for z, way in ((box, np.array([0, 2, 2, 0])), (leaning, np.array([0.5 - 0.3j, 1j, -0.4]))):
        x, y = z.real, SHAPE[0] - z.imag
        x1, y1 = np.roll(x, -1), np.roll(y, -1)
        parts = Stretches.of(x, y, x1, y1, np.zeros(len(z), dtype=np.int64), (1, *SHAPE), level=True)
        ways = way[parts.edge] + (np.roll(way, -1) - way)[parts.edge] * parts.part
        before, after = (windings([z + s * 1e-5 * way], SHAPE)[0] for s in (-1, 1))
        assert np.abs(parts.grown(ways.real, -ways.imag, 0.0)[0] - (after - before) / 2e-5).max() < 1e-6


def test_an_edge_along_the_rim_of_pixels_grows_into_those_on_both_sides() -> None:
    box = np.array([2 + 2j, 8 + 2j, 8 + 7j, 2 + 7j])
    x, y = box.real, SHAPE[0] - box.imag
    layer = np.zeros(4, dtype=np.int64)
    parts = Stretches.of(x, y, np.roll(x, -1), np.roll(y, -1), layer, (1, *SHAPE))
    grown = parts.grown((parts.x == 8).astype(float), np.zeros(len(parts.x)), 0.05)[0]
    assert np.abs(grown[-7:-2, 7:9] - 0.5).max() < 1e-12
    assert np.abs(grown).sum() == 5
