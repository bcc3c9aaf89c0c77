"""From a picture of grey values to rings of lines, arcs and cubics."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray, points_of_all, to_array
from cutout.geom.outline import Ring
from cutout.trace.fit import Told, fit_rings
from cutout.trace.iso import IsoLines, iso_lines

_FINE = 0.01
"""Flattening (px) fine enough to see rings cross."""

_FULL_SMOOTH = 0.03
"""Details smoothed away at `smooth` = 1, as a share of the silhouette's longer side."""


def trace(
    grey: NDArray[np.float32], level: float, tolerance_px: float, smooth: float = 0.0
) -> tuple[Ring, ...]:
    """Rings round where `grey` (h, w; 1 = figure) exceeds `level`, in pixels, y up, origin lower left.

    The centre of the pixel in row r, column c lies at (c + 0.5, h - r - 0.5). Outer rings run
    counter-clockwise, holes clockwise, none cross. Beyond its borders the picture counts as background.
    tolerance_px: greatest distance (px) between the picture's edge and the rings, noise apart.
    smooth: 0 as drawn .. 1 strong.
    """
    return fit_lines(iso_lines(grey, level), tolerance_px, smooth)


def fit_lines(found: IsoLines, tolerance_px: float, smooth: float = 0.0) -> tuple[Ring, ...]:
    """Rings of few segments along closed iso-lines; their senses are kept, none cross."""
    lines = [z for z in found.lines if len(z) > 3]
    if not lines:
        return ()
    spans = [max(np.ptp(z.real), np.ptp(z.imag)) for z in lines]
    sigma = smooth * _FULL_SMOOTH * float(max(spans))
    return _fitted(lines, found, tolerance_px, sigma)


def _fitted(
    lines: list[ComplexArray], found: IsoLines, tolerance_px: float, sigma: float
) -> tuple[Ring, ...]:
    told = Told.of(found.sharp, found.apexes, found.rounds)
    rings = fit_rings(lines, tolerance_px, found.blur, sigma, found.noise, told=told)
    areas = np.array([_area(z) for z in lines])
    loops = _loops(rings)
    # First as closely as before, but with corners where the line has them; then more closely.
    for closer in (1.0, 0.6, 0.25):
        bad = _unsound(rings, loops, areas)
        if not bad:
            break
        some = [lines[k] for k in bad]
        again = fit_rings(
            some, tolerance_px, found.blur, sigma, found.noise, closer, restore=False, told=told
        )
        _exchanged(rings, loops, bad, again)
    # A ring drawn plainly may still meet a neighbour drawn well, which then is drawn plainly too.
    for _ in range(3):
        bad = _unsound(rings, loops, areas)
        if not bad:
            break
        _exchanged(rings, loops, bad, [_plain(lines[k]) for k in bad])
    return tuple(ring for ring in rings if ring.segments)


def _exchanged(rings: list[Ring], loops: Loops, which: list[int], again: list[Ring]) -> None:
    """Some of the rings, and their lines, put in place of those there."""
    for k, ring, loop in zip(which, again, _loops(again), strict=True):
        rings[k], loops[k] = ring, loop


def _plain(z: ComplexArray) -> Ring:
    """Straight runs within a tenth of a pixel, for rings too small or too entangled to be drawn better."""
    xy = to_array(z)
    plain = shapely.get_coordinates(shapely.simplify(shapely.Polygon(xy), 0.1))
    return Ring.of_points(plain if len(plain) > 3 else xy)


Loops = NDArray[np.object_]
"""Closed lines near rings, GEOS geometries."""


def _unsound(rings: Sequence[Ring], loops: Loops, areas: FloatArray) -> list[int]:
    """Rings that cross themselves or others, or have turned over or shrunk away.

    loops: their lines; areas: of what they are drawn after (px^2).
    """
    drawn = np.array([ring.area if ring.segments else 0.0 for ring in rings])
    share = drawn / np.where(areas == 0.0, 1.0, areas)
    sound = np.flatnonzero((share > 0.5) & (share < 2.0))
    bad = set(range(len(rings))) - set(sound.tolist())
    own = loops[sound]
    bad.update(sound[~shapely.is_simple(own)].tolist())
    one, two = shapely.STRtree(own).query(own, predicate="intersects")
    bad.update(sound[np.unique(one[one != two])].tolist())
    return sorted(bad)


def _loops(rings: Sequence[Ring]) -> Loops:
    """A fine closed line along each ring; None for a ring of nothing."""
    out = np.full(len(rings), None, dtype=object)
    some = [k for k, ring in enumerate(rings) if ring.segments]
    if not some:
        return out
    z, steps = points_of_all([segment for k in some for segment in rings[k].segments], _FINE)
    heads = np.cumsum([0, *(len(rings[k].segments) for k in some[:-1])])
    sizes = np.add.reduceat(steps, heads)
    # A ring of two or three points is closed by its first one as often as GEOS wants four.
    padded = np.maximum(sizes, 3)
    starts = np.cumsum(sizes) - sizes
    number = np.arange(int(padded.sum())) - np.repeat(np.cumsum(padded) - padded, padded)
    number = np.where(number < np.repeat(sizes, padded), number, 0)
    at = np.repeat(starts, padded) + number
    out[some] = shapely.linearrings(to_array(z[at]), indices=np.repeat(np.arange(len(some)), padded))
    return out


def _area(z: ComplexArray) -> float:
    return float((z.conj() * np.roll(z, -1)).imag.sum() / 2)
