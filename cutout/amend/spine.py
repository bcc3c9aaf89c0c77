"""The middle line of a narrow place, as a line that can be thickened."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.linalg import solveh_banded
from scipy.ndimage import gaussian_filter1d
from shapely import LineString, MultiLineString

from cutout.geom.curve import ComplexArray, to_complex
from cutout.measure.widths import Middle

_STATIONS = 24.0
"""Stations along a line the blade is to follow, for each turning radius of it: a turn of 24 of them is a circle's
sixth."""
_NEAREST = 0.1
"""Stations are no nearer to each other than this (mm)."""
_SOFTENINGS = 40
"""How often a line is softened where it turns too tightly: each time twice as much as before."""
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


def followed(lines: MultiLineString, radius: float, stray: float) -> MultiLineString:
    """The lines, softened where they turn tighter than `radius`, so far as that takes them `stray` mm aside at most.

    Middle lines of uneven walls shake and jog; a kerf along them has to be followed by the blade. Their ends stay.
    """
    return MultiLineString([_followed(line, radius, stray) for line in lines.geoms])


def _followed(line: LineString, radius: float, stray: float) -> LineString:
    """Whittaker's graduation (E. T. Whittaker, On a new method of graduation, 1923): as near the line as its second
    differences, weighed the more where it turns too tightly, let it be.
    """
    count = int(np.ceil(line.length / max(radius / _STATIONS, _NEAREST)))
    if count < 4 or line.is_ring:
        return line
    along = np.linspace(0, line.length, count + 1)
    first = to_complex(shapely.get_coordinates(shapely.line_interpolate_point(line, along)))
    doubled = np.zeros(count - 1)
    z = softer = first
    for _ in range(_SOFTENINGS):
        z = softer
        tight = _curvature(z) > 1 / radius
        if not tight.any():
            break
        # It grows twofold there, less and less further off: a sudden end of what is stiff would be a corner.
        more = gaussian_filter1d(tight.astype(float), _STATIONS / 2)
        doubled += more / more.max()
        softer = _graduated(first, np.exp2(doubled) - 1)
        if np.abs(softer - first).max() > stray:
            break
    return line if z is first else LineString(np.column_stack([z.real, z.imag]))


def _curvature(z: ComplexArray) -> NDArray[np.float64]:
    """Turn (radians) a mm at each inner point of a line (n,), by the shorter of the two steps there."""
    ahead = np.diff(z)
    length = np.abs(ahead)
    return np.asarray(np.abs(np.angle(ahead[1:] * ahead[:-1].conj())) / np.minimum(length[1:], length[:-1]))


def _graduated(first: ComplexArray, stiff: NDArray[np.float64]) -> ComplexArray:
    """The points (n,) with the least sum of squared shifts and `stiff` (n - 2,) times squared second differences."""
    n = len(first)
    band = np.zeros((3, n))
    band[2] = 1.0
    band[2, [0, -1]] = 1e9  # The ends stay.
    band[2, :-2] += stiff
    band[2, 1:-1] += 4 * stiff
    band[2, 2:] += stiff
    band[1, 1:-1] -= 2 * stiff
    band[1, 2:] -= 2 * stiff
    band[0, 2:] = stiff
    weight = np.ones(n)
    weight[[0, -1]] = 1e9
    both = solveh_banded(band, np.column_stack([weight * first.real, weight * first.imag]))
    return np.asarray(both[:, 0] + 1j * both[:, 1])
