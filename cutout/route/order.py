"""In which order to cut: inner before outer, small before large, then the shortest way between."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom.arcfit import filled
from cutout.geom.curve import ComplexArray, run_length
from cutout.geom.outline import Ring

_PAIRS = 50_000_000
"""Pairs of joints looked at before a tour counts as short enough."""


def order(rings: Sequence[Ring], first: Sequence[int], begin: complex = 0j) -> tuple[list[int], float]:
    """Numbers of the rings in cutting order, and the length of travel between their starts (mm).

    first: the stage each ring belongs to; stages are cut one after the other. In a stage a ring comes after all
    rings inside it; among the rest the smaller come first, by tenfolds of area, and rings of like size in
    the shortest order found from where the bit stands.
    """
    starts = np.array([r.segments[0].start for r in rings], dtype=complex)
    level = _levels(rings)
    keys = [(s, lv, _size(r)) for s, lv, r in zip(first, level, rings, strict=True)]
    done: list[int] = []
    at, travel = begin, 0.0
    for key in sorted(set(keys)):
        group = np.array([i for i, k in enumerate(keys) if k == key], dtype=np.intp)
        tour = group[_tour(starts[group], at)]
        stops = np.concatenate([[at], starts[tour]])
        travel += run_length(stops)
        at = complex(stops[-1])
        done += tour.tolist()
    return done, travel


def _size(ring: Ring) -> int:
    return math.floor(math.log10(max(abs(ring.area), 1e-3)))


def _levels(rings: Sequence[Ring]) -> list[int]:
    """How many rings lie one inside the other below each ring: 0 where there is none inside."""
    if not rings:
        return []
    polygons = filled(rings, 0.1)
    points = shapely.get_point(shapely.get_exterior_ring(polygons), 0)
    areas = shapely.area(polygons)
    inside, around = shapely.STRtree(points).query(polygons, predicate="contains")[::-1]
    apart = (inside != around) & (areas[inside] < areas[around])
    levels = np.zeros(len(rings), dtype=np.intp)
    for i in np.argsort(areas, kind="stable").tolist():
        within = inside[apart & (around == i)]
        levels[i] = levels[within].max() + 1 if len(within) else 0
    return [int(v) for v in levels]


def _tour(z: ComplexArray, begin: complex) -> NDArray[np.intp]:
    """An open tour of all points from `begin`: always to the nearest, then untangled by 2-opt."""
    left = np.arange(len(z))
    tour: list[int] = []
    at = begin
    while len(left):
        k = int(np.argmin(np.round(np.abs(z[left] - at), 6)))
        tour.append(int(left[k]))
        at = complex(z[left[k]])
        left = np.delete(left, k)
    return _untangled(np.array(tour, dtype=np.intp), z, begin)


def _untangled(tour: NDArray[np.intp], z: ComplexArray, begin: complex) -> NDArray[np.intp]:
    """2-opt: turn a stretch round while that shortens the tour; every pair of joints is tried at once."""
    for _ in range(min(4 * len(tour), _PAIRS // max(len(tour), 1) ** 2)):
        p = np.concatenate([[begin], z[tour]])
        n = len(p)
        a, b = p[:-1], p[1:]
        here = np.abs(b - a)
        i, j = np.triu_indices(n - 1, k=1)
        gain = here[i] + here[j] - np.abs(a[j] - a[i]) - np.abs(b[j] - b[i])
        tail = here - np.abs(p[-1] - a)
        best, best_tail = (int(np.argmax(gain)) if len(gain) else -1), int(np.argmax(tail))
        if len(gain) and gain[best] > 1e-6 and gain[best] >= tail[best_tail]:
            tour[i[best] : j[best]] = tour[i[best] : j[best]][::-1]
        elif tail[best_tail] > 1e-6:
            tour[best_tail:] = tour[best_tail:][::-1]
        else:
            break
    return tour
