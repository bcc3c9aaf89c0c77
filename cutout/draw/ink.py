"""Where lines lie on a drawing, on a grid: which boxes they touch is mostly told without looking at the lines."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.draw.box import Box
from cutout.geom.curve import FloatArray

_CELL, _CELLS = 0.5, 1e6
"""Side of a cell (mm), and so many cells at most: on larger drawings they are larger."""
_RIM = 2.0
"""The grid reaches so far (mm) over the drawing's limits."""

Counts = NDArray[np.int64]


class Ink:
    """The cells that lines certainly touch, and those that they may touch, as sums over all cells below and left."""

    def __init__(self, lines: NDArray[np.object_], limits: Box) -> None:
        """`lines`: lines and areas. `limits`: box of interest (mm)."""
        x0, y0, x1, y1 = (limits[0] - _RIM, limits[1] - _RIM, limits[2] + _RIM, limits[3] + _RIM)
        self._cell = max(_CELL, math.sqrt((x1 - x0) * (y1 - y0) / _CELLS))
        self._low = np.array([x0, y0])
        self._shape = tuple(math.ceil(side / self._cell) for side in (x1 - x0, y1 - y0))
        touched = np.zeros(self._shape, dtype=bool)
        # Two to a cell: between them a line touches the cells they lie in and those beside these, no other.
        long = shapely.length(lines) > self._cell / 2
        spots = shapely.get_coordinates([*shapely.segmentize(lines[long], self._cell / 2), *lines[~long]])
        cells = np.floor((spots - self._low) / self._cell).astype(np.int64)
        cells = cells[((cells >= 0) & (cells < self._shape)).all(axis=1)]
        touched[cells[:, 0], cells[:, 1]] = True
        maybe = touched.copy()
        for axis in (0, 1):
            for step in (1, -1):
                maybe |= np.roll(maybe, step, axis=axis)
        for area in shapely.bounds(lines[shapely.get_dimensions(lines) == 2]):
            first, last = self._clipped(np.floor((area.reshape(2, 2) - self._low) / self._cell))
            maybe[first[0] : last[0] + 1, first[1] : last[1] + 1] = True
        self._touched, self._maybe = _sums(touched), _sums(maybe)

    def told(self, boxes: FloatArray) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which of the boxes (n, 4) lines certainly touch, and which they certainly do not."""
        ends = (boxes.reshape(-1, 2, 2) - self._low) / self._cell
        inner = self._clipped(np.ceil(ends[:, 0])), self._clipped(np.floor(ends[:, 1]) - 1)
        outer = np.floor(ends).astype(np.int64)
        within = ((outer >= 0) & (outer < self._shape)).all(axis=(1, 2))
        free = _within(self._maybe, self._clipped(outer[:, 0]), self._clipped(outer[:, 1])) == 0
        return within & (_within(self._touched, *inner) > 0), within & free

    def _clipped(self, cells: FloatArray | NDArray[np.int64]) -> NDArray[np.int64]:
        return np.clip(cells, 0, np.array(self._shape) - 1).astype(np.int64)


def _sums(marked: NDArray[np.bool_]) -> Counts:
    """How many marked cells lie below and left of each corner of the grid."""
    sums = np.zeros((marked.shape[0] + 1, marked.shape[1] + 1), dtype=np.int64)
    np.cumsum(np.cumsum(marked, axis=0), axis=1, out=sums[1:, 1:])
    return sums


def _within(sums: Counts, first: NDArray[np.int64], last: NDArray[np.int64]) -> Counts:
    """How many marked cells lie from cell `first` to cell `last` (n, 2), both included; none where that is before."""
    end = np.maximum(last + 1, first)
    (a, b), (c, d) = first.T, end.T
    return np.asarray(sums[c, d] - sums[a, d] - sums[c, b] + sums[a, b])
