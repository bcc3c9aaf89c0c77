"""In which order to cut: inner before outer, small before large, then the shortest way between."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom.arcfit import areas, filled
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
    keys = list(zip(first, level, _sizes(rings), strict=True))
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


def _sizes(rings: Sequence[Ring]) -> list[int]:
    """Tenfolds of the area of each ring."""
    return [math.floor(math.log10(max(area, 1e-3))) for area in np.abs(areas(rings)).tolist()]


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
    rounds = min(4 * len(tour), _PAIRS // max(len(tour), 1) ** 2)
    if not rounds:
        return tour
    z = np.append(z[tour], begin)
    apart = np.abs(z[:, None] - z)
    n = len(z)
    at = np.concatenate([[n - 1], np.arange(n - 1)])  # the begin, then the places of the tour
    twice = np.tri(n - 1, dtype=bool)
    for _ in range(rounds):
        a, b = at[:-1], at[1:]
        here = apart[a, b]
        gain = here[:, None] + here
        gain -= apart[np.ix_(a, a)]
        gain -= apart[np.ix_(b, b)]
        gain[twice] = -np.inf
        tail = here - apart[at[-1], a]
        i, j = divmod(int(np.argmax(gain)), n - 1)
        k = int(np.argmax(tail))
        if gain[i, j] > 1e-6 and gain[i, j] >= tail[k]:
            at[i + 1 : j + 1] = at[i + 1 : j + 1][::-1]
        elif tail[k] > 1e-6:
            at[k + 1 :] = at[k + 1 :][::-1]
        else:
            break
    return np.asarray(tour[at[1:]])
