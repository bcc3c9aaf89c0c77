"""Sheets in strips that slide: where each row's sheets, or each column's, are best laid for themselves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.geom.curve import FloatArray

STEP = 2.0
"""Longest way (mm) between neighbouring points of a line that is looked at by points alone."""

PAD = 3.0
"""How far (mm) every line stays inside the outer edge of its sheets; more than a step."""

_TRIES = 9
"""Places tried for the strips, and for the sheets along each."""


@dataclass(frozen=True, slots=True)
class Lattice:
    """Sizes (mm) along the strips and across them: a sheet's window, and what neighbours share."""

    along: float
    across: float
    overlap: float


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip: where it begins across, where its sheets begin along, and which of them carry something."""

    across: float
    along: FloatArray
    used: FloatArray


def points_on(lines: shapely.Geometry) -> FloatArray:
    """Points (n, 2) along lines, no farther than STEP from one another."""
    return shapely.get_coordinates(shapely.segmentize(lines, STEP))


def layouts(points: FloatArray, lattice: Lattice) -> Iterator[tuple[Strip, ...]]:
    """Ways to cover points (n, 2), along and across, with the fewest strips, each with the fewest sheets.

    Neighbours share the overlap; of what lies in it each takes care of its half, so every line lies well
    inside a sheet. The ways differ in where the first strip begins: with even ends first.
    """
    along, across = points.T
    pitch = lattice.across - lattice.overlap
    low, high = float(across.min()) - PAD, float(across.max()) + PAD
    count = _needed(high - low, lattice.across, lattice.overlap)
    slack = count * pitch + lattice.overlap - (high - low)
    for share in sorted(np.linspace(0, 1, _TRIES).tolist(), key=lambda share: abs(share - 0.5)):
        begin = low - slack * share
        which = _cells(across, begin, pitch, lattice.overlap, count)
        order = np.lexsort((along, which))
        parts = np.split(along[order], np.searchsorted(which[order], np.arange(1, count)))
        yield tuple(
            _slid(part, begin + k * pitch, lattice.along, lattice.overlap)
            for k, part in enumerate(parts)
            if len(part)
        )


def _slid(along: FloatArray, across: float, size: float, overlap: float) -> Strip:
    """The start along a strip that needs the fewest sheets; of equal ones the one nearest to even ends."""
    low, high = float(along[0]) - PAD, float(along[-1]) + PAD
    pitch = size - overlap
    least = _needed(high - low, size, overlap)
    tried = []
    for count in (least, least + 1):
        slack = count * pitch + overlap - (high - low)
        for share in np.linspace(0, 1, _TRIES).tolist():
            begin = low - share * slack
            used = np.unique(_cells(along, begin, pitch, overlap, count))
            tried.append((len(used), abs(share - 0.5), count, begin, used))
    _, _, _, begin, used = min(tried, key=lambda t: t[:3])
    span = np.arange(used[0], used[-1] + 1)
    return Strip(across, begin + span * pitch, np.isin(span, used).astype(float))


def _cells(at: FloatArray, begin: float, pitch: float, overlap: float, count: int) -> FloatArray:
    """Which of `count` sheets takes care of each place."""
    return np.clip(np.floor((at - begin - overlap / 2) / pitch), 0, count - 1)


def _needed(length: float, size: float, overlap: float) -> int:
    return max(1, math.ceil((length - overlap) / (size - overlap) - 1e-9))
