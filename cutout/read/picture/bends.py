"""Bends in pictures of black and white only that pass for corners.

A round line meets the pixel rows in long steps where it runs along them, and in short ones beside; so it seems to
turn suddenly. A bit says on which side of the line the middle of its pixel lies, though. Where one circle has all
middles about a corner on their sides, or nearly, nothing in the picture asks for that corner.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.figure import Field
from cutout.trace.corners import STEP
from cutout.trace.fit import found_corners
from cutout.trace.iso import IsoLines

IntArray = NDArray[np.int64]

_REACH = 15.0
"""Length (px) of line to each side of a corner over which a circle is laid. A circle misses the flanks of a corner of
45 degrees by up to 0.8 px over it; bits tell half a pixel. By trial."""

_DENIED = 0.3
"""Sum of the squares (px^2) of how far pixels lie on the wrong side of a circle that is believed. Of the corners in
1-bit pictures of tests/bench/shapes.py, 200 and 500 px, 13 of 16 that are none have less, all true ones over 0.45."""

_ROUNDS = 12
"""Steps of the search at most."""

_HELD = np.array([1e-3, 1e-3, 1e-3])
"""What keeps the search from numbers that no denied pixel tells of."""


def bends_told(field: Field, found: IsoLines) -> IsoLines:
    """The lines of a black-and-white picture, with the places named at which they only seem to have corners."""
    if field.bits is None or not found.lines:
        return found
    loops, corners = found_corners(found)
    ring = np.repeat(np.arange(len(corners)), [len(some) for some in corners])
    index = np.array([corner.index for some in corners for corner in some], dtype=np.intp)
    far = round(_REACH / STEP)
    whole = loops.size[ring] > 4 * far
    ring, index = ring[whole], index[whole]
    if not len(ring):
        return found
    paths = loops.at(ring[:, None], index[:, None] + np.arange(-far, far + 1))
    round_ = _Circles.about(paths, field.bits).denied() < _DENIED
    told = loops.at(ring[round_], index[round_])
    # What an end has been laid for is known better.
    apart = [np.abs(found.apexes - at).min(initial=np.inf) > _REACH for at in told.tolist()]
    return replace(found, rounds=np.concatenate([found.rounds, told[np.array(apart, dtype=bool)]]))


@dataclass(frozen=True, slots=True)
class _Circles:
    """Pixels about some paths, one path after the other, in each path's own frame: its chord is the x axis.

    Lengths are in _REACH. start: number of each path's first pixel; own: path of each pixel; xy: their middles;
    sense: 1 in the figure, -1 out of it; first: a, b and c of a circle y + a + b x + c (x^2 + y^2) = 0 through each
    path; (paths, 3).
    """

    start: IntArray
    own: IntArray
    xy: ComplexArray
    sense: FloatArray
    first: FloatArray

    @classmethod
    def about(cls, paths: ComplexArray, bits: NDArray[np.bool_]) -> _Circles:
        """The same of paths (n, k) in a picture whose bits are given."""
        height, width = bits.shape
        near = np.array([complex(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)])
        cells = np.floor(paths.real) + 1j * np.floor(paths.imag)
        at = (cells[:, :, None] + near).reshape(len(paths), -1)
        column, row = at.real.astype(np.int64), height - 1 - at.imag.astype(np.int64)
        own = np.broadcast_to(np.arange(len(paths))[:, None], at.shape)
        inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
        code = np.unique((own[inside] * height + row[inside]) * width + column[inside])
        own, rest = np.divmod(code, height * width)
        row, column = np.divmod(rest, width)
        way = paths[:, -1] - paths[:, 0]
        way /= np.maximum(np.abs(way), 1e-9) / _REACH
        origin = paths[:, paths.shape[1] // 2]
        middle = column + 0.5 + 1j * (height - row - 0.5)
        xy = (middle - origin[own]) / way[own]
        first = np.stack([_through(path) for path in (paths - origin[:, None]) / way[:, None]])
        start = np.searchsorted(own, np.arange(len(paths)))
        return cls(start, own, xy, np.where(bits[row, column], 1.0, -1.0), first)

    def denied(self) -> FloatArray:
        """Sum of the squares (px^2) of how far pixels lie on the wrong side of each path's best circle."""
        x, y, square = self.xy.real, self.xy.imag, np.abs(self.xy) ** 2
        numbers, best = self.first, np.full(len(self.start), np.inf)
        for _ in range(_ROUNDS):
            a, b, c = numbers[self.own].T
            steep = np.maximum(np.hypot(b + 2 * c * x, 1 + 2 * c * y), 1e-3)
            off = (y + a + b * x + c * square) / steep
            off = np.where(self.sense * off < 0, off, 0.0)
            best = np.minimum(best, np.add.reduceat(off**2, self.start))
            slopes = np.stack([np.ones(len(x)), x, square], axis=1) / steep[:, None]
            slopes[off == 0.0] = 0.0
            left = np.add.reduceat(slopes[:, :, None] * slopes[:, None, :], self.start) + np.diag(_HELD)
            right = np.add.reduceat(slopes * off[:, None], self.start)
            numbers = numbers - np.linalg.solve(left, right[:, :, None])[:, :, 0]
        return np.asarray(best * _REACH**2)


def _through(path: ComplexArray) -> FloatArray:
    """a, b and c of the circle y + a + b x + c (x^2 + y^2) = 0 through points, by least squares."""
    terms = np.stack([np.ones(len(path)), path.real, np.abs(path) ** 2], axis=1)
    return np.asarray(np.linalg.lstsq(terms, -path.imag, rcond=None)[0])
