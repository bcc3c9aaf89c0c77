"""From a picture of grey values to rings of lines, arcs and cubics."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from cutout.geom.curve import ComplexArray, to_array
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
    with _one_thread().limit(limits=1, user_api="blas"):
        return _fitted(lines, found, tolerance_px, sigma)


@cache
def _one_thread() -> ThreadpoolController:
    """Fitting multiplies thousands of tiny matrices, which several threads only hinder one another at."""
    return ThreadpoolController()


def _fitted(
    lines: list[ComplexArray], found: IsoLines, tolerance_px: float, sigma: float
) -> tuple[Ring, ...]:
    told = Told.of(found.sharp, found.apexes, found.rounds)
    rings = fit_rings(lines, tolerance_px, found.blur, sigma, found.noise, told=told)
    for closer in (0.6, 0.25):
        bad = _unsound(rings, lines)
        if not bad:
            break
        some = [lines[k] for k in bad]
        again = fit_rings(
            some, tolerance_px, found.blur, sigma, found.noise, closer, restore=False, told=told
        )
        for k, ring in zip(bad, again, strict=True):
            rings[k] = ring
    # A ring drawn plainly may still meet a neighbour drawn well, which then is drawn plainly too.
    for _ in range(3):
        for k in _unsound(rings, lines):
            rings[k] = _plain(lines[k])
    return tuple(ring for ring in rings if ring.segments)


def _plain(z: ComplexArray) -> Ring:
    """Straight runs within a tenth of a pixel, for rings too small or too entangled to be drawn better."""
    xy = to_array(z)
    plain = shapely.get_coordinates(shapely.simplify(shapely.Polygon(xy), 0.1))
    return Ring.of_points(plain if len(plain) > 3 else xy)


def _unsound(rings: Sequence[Ring], lines: Sequence[ComplexArray]) -> list[int]:
    """Rings that cross themselves or others, or have turned over or shrunk away."""
    drawn = [_area(z) for z in lines]
    bad = {
        k
        for k, (ring, area) in enumerate(zip(rings, drawn, strict=True))
        if not ring.segments or not 0.5 < ring.area / (area or 1.0) < 2.0
    }
    sound = np.array([k for k in range(len(rings)) if k not in bad], dtype=np.int64)
    loops = np.array([shapely.LinearRing(_closed(rings[k])) for k in sound.tolist()], dtype=object)
    bad.update(sound[~shapely.is_simple(loops)].tolist())
    one, two = shapely.STRtree(loops).query(loops, predicate="intersects")
    bad.update(sound[np.unique(one[one != two])].tolist())
    return sorted(bad)


def _closed(ring: Ring) -> NDArray[Any]:
    xy = ring.points(_FINE)
    return np.concatenate([xy, np.repeat(xy[:1], max(1, 4 - len(xy)), axis=0)])


def _area(z: ComplexArray) -> float:
    return float((z.conj() * np.roll(z, -1)).imag.sum() / 2)
