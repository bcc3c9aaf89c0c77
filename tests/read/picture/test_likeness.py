"""Likenesses of outlines: areas against those of another library."""

from __future__ import annotations

import numpy as np
import shapely

from cutout.read.picture.likeness import coarse, winding, windings

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
