"""The middle line of a narrow place, as a line that can be thickened."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiLineString

from cutout.measure.widths import Middle

_FACING = 2.5
"""Walls face each other where the way round along them is this many times longer than across: not in corners."""


def spine(middle: Middle, window: shapely.Geometry, width: float) -> MultiLineString:
    """The part of a middle line inside `window` where its region is narrower than `width` mm.

    Branches that run into blunt corners and bumps are left out: thickening them would blunt the corner.
    """
    return _lines(middle, np.flatnonzero((2 * middle.least < width) & (middle.facing > _FACING)), window)


def spine_at(middle: Middle, at: complex, reach: float, width: float) -> MultiLineString:
    """The same within `reach` mm of a place, and only what hangs together with what lies within `width` of it.

    What it costs grows with what it returns, not with the whole middle line.
    """
    if len(middle.nodes) == 0:
        return MultiLineString()
    z, least, facing = middle.nodes, middle.least, middle.facing
    ready = middle.tree.query_ball_point([at.real, at.imag], min(width, reach))
    seen, found = set(ready), set()
    while ready:
        for edge in middle.neighbours[ready.pop()]:
            if edge in found or 2 * least[edge] >= width or facing[edge] <= _FACING:
                continue
            found.add(edge)
            ahead = [n for n in middle.edges[edge].tolist() if n not in seen and abs(z[n] - at) <= reach]
            seen.update(ahead)
            ready += ahead
    window = shapely.buffer(shapely.Point(at.real, at.imag), reach)
    return _lines(middle, np.array(sorted(found), dtype=np.int64), window)


def _lines(middle: Middle, edges: NDArray[np.int64], window: shapely.Geometry) -> MultiLineString:
    """Edges that lie wholly in a window, joined up."""
    a, b = middle.nodes[middle.edges[edges]].T
    within = shapely.contains_xy(window, a.real, a.imag) & shapely.contains_xy(window, b.real, b.imag)
    a, b = a[within], b[within]
    if len(a) == 0:
        return MultiLineString()
    ends = np.stack([np.column_stack([a.real, a.imag]), np.column_stack([b.real, b.imag])], axis=1)
    merged = shapely.line_merge(shapely.union_all(np.asarray(shapely.linestrings(ends))))
    return MultiLineString([p for p in shapely.get_parts(merged) if not p.is_empty])
