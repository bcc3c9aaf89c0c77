"""From a picture of grey values to rings of lines, arcs and cubics."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from skimage.measure import find_contours

from cutout.geom.outline import Ring, from_region, nest


def trace(
    grey: NDArray[np.float32], level: float, tolerance_px: float, smooth: float = 0.0
) -> tuple[Ring, ...]:
    """Rings round where `grey` (h, w; 1 = figure) exceeds `level`, in pixels, y up, origin lower left.

    The centre of the pixel in row r, column c lies at (c + 0.5, h - r - 0.5). Outer rings run
    counter-clockwise, holes clockwise, none cross. Beyond its borders the picture counts as background.
    """
    height = grey.shape[0]
    padded = np.pad(grey, 1)
    found = find_contours(padded, level)
    rings = [np.column_stack([c[:, 1] - 0.5, height - c[:, 0] + 0.5]) for c in found if len(c) > 3]
    region = shapely.simplify(nest(rings), max(tolerance_px, 0.05))
    return from_region(region)
