"""The middle line of a narrow place, as a line that can be thickened."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import MultiLineString

from cutout.measure.widths import Middle

_FACING = 2.5
"""Walls face each other where the way round along them is this many times longer than across: not in corners."""


def spine(middle: Middle, window: shapely.Geometry, width: float) -> MultiLineString:
    """The part of a middle line inside `window` where its region is narrower than `width` mm.

    Branches that run into blunt corners and bumps are left out: thickening them would blunt the corner.
    """
    narrow = np.flatnonzero(2 * middle.least < width)
    i, j = middle.feet[narrow].T
    across = np.abs(middle.walls.z[i] - middle.walls.z[j])
    facing = narrow[middle.walls.detour(i, j) > _FACING * across]
    a, b = middle.nodes[middle.edges[facing]].T
    within = shapely.contains_xy(window, a.real, a.imag) & shapely.contains_xy(window, b.real, b.imag)
    a, b = a[within], b[within]
    if len(a) == 0:
        return MultiLineString()
    ends = np.stack([np.column_stack([a.real, a.imag]), np.column_stack([b.real, b.imag])], axis=1)
    merged = shapely.line_merge(shapely.union_all(np.asarray(shapely.linestrings(ends))))
    return MultiLineString([p for p in shapely.get_parts(merged) if not p.is_empty])
