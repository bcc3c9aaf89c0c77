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

PAD = 1.0
"""How far (mm) every line stays inside the outer edge of its sheets."""

_TRIES = 13
"""Places tried for the strips, and for the sheets along each."""

_COUNTED = 7
"""The same where sheets are only counted."""
_SQUARE = 4.0
"""Side of the squares (mm) that points are thinned to for that."""


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
    inside a sheet. The ways differ in where the first strip begins: with even ends first. Where it takes fewer,
    sheets of a strip also stand apart over empty paper, to be joined by the strips beside it.
    """
    along, across = points[np.argsort(points[:, 0], kind="stable")].T
    pitch = lattice.across - lattice.overlap
    low, high = float(across.min()) - PAD, float(across.max()) + PAD
    count = _needed(high - low, lattice.across, lattice.overlap)
    slack = count * pitch + lattice.overlap - (high - low)
    for share in sorted(np.linspace(0, 1, _TRIES).tolist(), key=lambda share: abs(share - 0.5)):
        begin = low - slack * share
        which = _cells(across, begin, pitch, lattice.overlap, count).astype(np.int16)
        order = np.argsort(which, kind="stable")
        parts = np.split(along[order], np.searchsorted(which[order], np.arange(1, count)))
        lanes = [(part, begin + k * pitch) for k, part in enumerate(parts) if len(part)]
        even = tuple(_slid(part, place, lattice) for part, place in lanes)
        yield even
        apart = tuple(
            min((one, _apart(part, place, lattice)), key=_printed)
            for one, (part, place) in zip(even, lanes, strict=True)
        )
        if sum(map(_printed, apart)) < sum(map(_printed, even)):
            yield apart


def thinned(points: FloatArray) -> FloatArray:
    """One point (n, 2) for each small square that holds any: enough to count sheets by."""
    return np.unique(np.round(points / _SQUARE), axis=0) * _SQUARE


def fewest(points: FloatArray, lattice: Lattice) -> int:
    """Sheets of the best of `layouts`, counted without laying them out; all its strips are looked at at once."""
    points = points[np.argsort(points[:, 0], kind="stable")]
    along, across = points.T
    pitch = lattice.across - lattice.overlap
    low, high = float(across.min()) - PAD, float(across.max()) + PAD
    count = _needed(high - low, lattice.across, lattice.overlap)
    slack = count * pitch + lattice.overlap - (high - low)
    begins = low - slack * np.linspace(0, 1, _COUNTED)
    cells = _cells(across[None, :], begins[:, None], pitch, lattice.overlap, count)
    lane = (cells + count * np.arange(_COUNTED)[:, None]).astype(np.int32).ravel()
    order = np.argsort(lane, kind="stable")
    lane, along = lane[order], np.tile(along, _COUNTED)[order]
    first = np.flatnonzero(np.concatenate([[True], np.diff(lane) != 0]))
    return int(np.bincount(lane[first] // count, _counted(along, first, lattice)).min())


def _counted(along: FloatArray, first: np.ndarray, lattice: Lattice) -> FloatArray:
    """Sheets each strip takes, as `_starts` lays them. along: sorted in each; first: where each begins."""
    pitch = lattice.along - lattice.overlap
    ends = np.append(first[1:], len(along))
    # Strips one behind the other, so far apart that no sheet of one reaches the next.
    apart = float(np.ptp(along)) + 2 * lattice.along + PAD
    behind = along + apart * np.repeat(np.arange(len(first)), ends - first)
    taken, start = np.zeros(len(first)), np.full(len(first), -np.inf)
    at, open_ = first.copy(), np.arange(len(first))
    while len(open_):
        start[open_] = np.maximum(along[at[open_]] - PAD, start[open_] + pitch)
        taken[open_] += 1
        reach = start[open_] + lattice.along
        at[open_] = np.searchsorted(behind, reach - lattice.overlap / 2 + apart * open_)
        left = (at[open_] < ends[open_]) & (along[ends[open_] - 1] > reach - PAD)
        open_ = open_[left]
    return taken


def _slid(along: FloatArray, across: float, lattice: Lattice) -> Strip:
    """The start along a strip that needs the fewest sheets; of equal ones the one nearest to even ends.

    along: sorted. Every start is tried at once: a row each.
    """
    size, overlap = lattice.along, lattice.overlap
    low, high = float(along[0]) - PAD, float(along[-1]) + PAD
    pitch = size - overlap
    along = _telling(along, pitch)
    least = _needed(high - low, size, overlap)
    shares = np.tile(np.linspace(0, 1, _TRIES), 2)
    counts = np.repeat([least, least + 1], _TRIES)
    begins = low - shares * (counts * pitch + overlap - (high - low))
    cells = np.clip(
        np.floor((along[None, :] - begins[:, None] - overlap / 2) / pitch), 0, counts[:, None] - 1
    )
    taken = 1 + (np.diff(cells, axis=1) != 0).sum(axis=1)
    best = int(np.lexsort((counts, np.abs(shares - 0.5), taken))[0])
    used = np.unique(cells[best])
    span = np.arange(used[0], used[-1] + 1)
    return Strip(across, begins[best] + span * pitch, np.isin(span, used).astype(float))


def _telling(along: FloatArray, pitch: float) -> FloatArray:
    """Those of sorted places that tell which sheets carry something, however the sheets lie: the first and the last
    of each quarter of a sheet. What is between two nearer to each other than a sheet is on the sheet of one of them.
    """
    quarter = np.floor((along - along[0]) / (pitch / 4))
    changes = np.diff(quarter) != 0
    ends = np.concatenate([[True], changes]) | np.concatenate([changes, [True]])
    return np.asarray(along[ends])


def _apart(along: FloatArray, across: float, lattice: Lattice) -> Strip:
    """A strip of the fewest sheets, each where it must be."""
    starts = _starts(along, lattice)
    return Strip(across, np.array(starts), np.ones(len(starts)))


def _starts(along: FloatArray, lattice: Lattice) -> list[float]:
    """Where the fewest sheets that cover sorted places begin: each beside the one before, or as far on as there
    is nothing to show. From the first place on each sheet reaches as far as it can, which no other way beats."""
    pitch = lattice.along - lattice.overlap
    starts: list[float] = []
    n = 0
    while n < len(along):
        first = float(along[n]) - PAD
        starts.append(max(first, starts[-1] + pitch) if starts else first)
        # What lies in the outer half of a sheet's overlap is the next one's, but for its last bit.
        n = int(np.searchsorted(along, starts[-1] + lattice.along - lattice.overlap / 2))
        if n < len(along) and along[-1] <= starts[-1] + lattice.along - PAD:
            n = len(along)
    return starts


def _printed(strip: Strip) -> int:
    return int(strip.used.sum())


def _cells(at: FloatArray, begin: FloatArray | float, pitch: float, overlap: float, count: int) -> FloatArray:
    """Which of `count` sheets takes care of each place."""
    return np.clip(np.floor((at - begin - overlap / 2) / pitch), 0, count - 1)


def _needed(length: float, size: float, overlap: float) -> int:
    return max(1, math.ceil((length - overlap) / (size - overlap) - 1e-9))
