"""Sub-pixel iso-lines of a large picture, touching only the pixels the line passes between.

scikit-image's `find_contours` gives the same points, but copies the picture to eight bytes a pixel and
visits every cell; a scan of 64 megapixels needs neither.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]

STEPPED = 0.22
"""Noise (px) across the edge of a black-and-white picture: a step of one pixel has sigma 0.29, and a line
fitted to its corners and middles sees less."""

_ALONG = 1.15
"""A pair of pixels lies along the edge where the grey changes so many times as much aside of it as in it. Above 1, or
an edge at 45 degrees would have no pair left."""

_STRIP = 512
"""Rows worked on at once, so that temporaries stay small."""


@dataclass(frozen=True)
class IsoLines:
    """Closed lines round a figure, with what the picture says of their precision.

    blur: sigma (px) of the Gaussian the edges look blurred by. noise: sigma (px) the lines are known to
    be off across themselves: the steps of a black-and-white picture hide it from the lines' own jitter. sharp: places
    (n,) of the lines at which the blur has been taken out. apexes: points (n,) of the lines that are corners. rounds:
    points (n,) near which there are none.
    """

    lines: list[ComplexArray]
    blur: float = 0.5
    noise: float = 0.0
    sharp: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=np.complex128))
    apexes: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=np.complex128))
    rounds: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=np.complex128))


def iso_lines(grey: NDArray[Any], level: float) -> IsoLines:
    """Closed lines where `grey` (h, w) crosses `level`.

    Each line is (n,) complex in pixels, y up, the figure (above `level`) on its left: outer lines run
    counter-clockwise. The pixel in row r, column c has its centre at (c + 0.5, h - r - 0.5); beyond the
    borders lies background of value 0.
    """
    height, width = grey.shape
    if grey.dtype.kind == "f":
        # As exact as the picture, or a pixel just at the level would be above it here and below it there.
        level = float(grey.dtype.type(level))
    edges, heading = _crossed(grey, level)
    if len(edges) == 0:
        return IsoLines([])
    stride = width + 2
    near, far = _ends(edges, stride)
    a, b = _values(grey, near, stride), _values(grey, far, stride)
    step = b - a
    share = np.clip((level - a) / step, 0.02, 0.98)
    row, col = np.divmod(near, stride)
    vertical = (edges & 1).astype(bool)
    # Row and column count the ring of background round the picture, hence the offsets by one.
    z = (col - 0.5 + np.where(vertical, 0.0, share)) + 1j * (
        height + 0.5 - row - np.where(vertical, share, 0.0)
    )
    blur, noise = _blur(grey, edges, np.abs(step), stride)
    z, kept = _balanced(grey, edges, z, step, blur, stride)
    loops = _loops(_next(grey, level, edges, heading, stride))
    thinned = (loop[kept[loop]] for loop in loops)
    lines = [z[few if len(few) >= 6 else loop] for few, loop in zip(thinned, loops, strict=True)]
    return IsoLines(lines, blur, noise)


def across(grey: NDArray[Any], level: float, reach: int) -> FloatArray:
    """Grey (2 reach + 2, n) along the row or column through each of the n places where it crosses `level`."""
    edges, _ = _crossed(grey, level)
    stride = grey.shape[1] + 2
    near, far = _ends(edges, stride)
    most = stride * (grey.shape[0] + 2) - 1
    return np.stack(
        [_values(grey, np.clip(near + k * (far - near), 0, most), stride) for k in range(-reach, reach + 2)]
    )


def _blur(grey: NDArray[Any], edges: IntArray, step: FloatArray, stride: int) -> tuple[float, float]:
    """Sigma (px) of the Gaussian step with the median slope met, and the noise hidden by hard steps (px)."""
    share = step / np.maximum(_contrast(grey, edges, 4, stride), step)
    slope = float(np.median(share))
    stepped = float(np.mean(share > 0.97)) > 0.9
    return max(0.5, 0.9 / (slope * 2.5066)), STEPPED if stepped else 0.0


def _contrast(grey: NDArray[Any], edges: IntArray, reach: int, stride: int) -> FloatArray:
    near, far = _ends(edges, stride)
    way = far - near
    return np.abs(_values(grey, far + reach * way, stride) - _values(grey, near - reach * way, stride))


def _balanced(
    grey: NDArray[Any], edges: IntArray, z: ComplexArray, step: FloatArray, blur: float, stride: int
) -> tuple[ComplexArray, NDArray[np.bool_]]:
    """Crossings moved to where the grey on both sides balances, and which of them to keep.

    Half-way between two pixels is up to 0.09 px off the edge of a picture made of coverage; the grey
    summed across the edge is exact for a straight one. It needs pixels on both sides that are clear of
    other edges, and adds noise, so crossings stay where that isn't so. Crossings of pairs that lie along
    the edge more than across it are left out: their neighbours know better.
    """
    near, far = _ends(edges, stride)
    way = far - near
    aside = np.where(way == 1, stride, 1)
    lean = [_values(grey, c + s * aside, stride) for c in (near, far) for s in (1, -1)]
    across = np.abs(lean[0] - lean[1] + lean[2] - lean[3]) / 4
    kept = across <= _ALONG * np.abs(step)
    reach = max(1, math.ceil(2.4 * blur) - 1)
    inside = np.where(step < 0, near - reach * way, far + reach * way)
    inward = np.where(step < 0, -1, 1) * way
    values = [_values(grey, inside - k * inward, stride) for k in range(2 * reach + 2)]
    contrast = values[0] - values[-1]
    typical = float(np.median(contrast))
    noise = _noise(values, typical)
    if noise * math.sqrt(reach + 2.0) > 0.05 or typical <= 0:
        return z, kept
    full = sum((v - values[-1]) / np.where(contrast > 0, contrast, np.inf) for v in values)
    # `full` pixels of figure from the outer side of the innermost pixel: how far beyond the pair's middle.
    beyond = full - 0.5 - (reach + 0.5)
    sense = np.where(step < 0, 1.0, -1.0) * np.where(way == 1, 1.0, -1j)
    row, col = np.divmod(near, stride)
    middle = col - 0.5 + 1j * (grey.shape[0] + 0.5 - row) + np.where(way == 1, 0.5, -0.5j)
    moved = middle + beyond * sense
    good = (contrast > 0.85 * typical) & (np.abs(moved - z) < 0.5)
    return np.where(good, moved, z), kept


def _noise(values: list[FloatArray], typical: float) -> float:
    """Sigma of the outermost pixels of both sides against their medians, as a share of the contrast."""
    spread = [np.median(np.abs(v - np.median(v))) for v in (values[0], values[-1])]
    return float(max(spread)) / 0.6745 / max(typical, 1e-9)


def _crossed(grey: NDArray[Any], level: float) -> tuple[IntArray, IntArray]:
    """Sorted ids of the pixel pairs the line passes between, and the line's heading there.

    Ids count over the picture with a ring of background: 2 * (row * stride + column), + 1 for the pair
    with the pixel below instead of the one to the right. Heading: 0 east, 1 north, 2 west, 3 south.
    """
    height, width = grey.shape
    stride = width + 2
    found: list[IntArray] = []
    headings: list[IntArray] = []
    for top in range(0, height + 1, _STRIP):
        bottom = min(top + _STRIP, height + 1)
        above = _above(grey, level, top, bottom + 1)
        first = above[:-1]
        across = np.flatnonzero(first[:, :-1] != first[:, 1:])
        row, col = np.divmod(across, stride - 1)
        down = np.flatnonzero(first != above[1:])
        ids = np.concatenate([2 * ((row + top) * stride + col), 2 * (down + top * stride) + 1])
        west = first[row, col]
        north = first.ravel()[down]
        turn = np.concatenate([np.where(west, 1, 3), np.where(north, 0, 2)])
        # Figure on the line's left: with it to the west the line runs north, with it to the north, east.
        order = np.argsort(ids, kind="stable")
        found.append(ids[order])
        headings.append(turn[order])
    return np.concatenate(found), np.concatenate(headings)


def _above(grey: NDArray[Any], level: float, top: int, bottom: int) -> NDArray[np.bool_]:
    """Rows top..bottom of `grey > level`, counted with the ring of background round the picture."""
    height, width = grey.shape
    out = np.zeros((bottom - top, width + 2), dtype=bool)
    first, last = max(top, 1), min(bottom, height + 1)
    if last > first:
        # Whole numbers above the level are those above its floor; comparing as such avoids a float copy.
        limit = math.floor(level) if grey.dtype.kind == "u" else level
        np.greater(
            grey[first - 1 : last - 1], grey.dtype.type(limit), out=out[first - top : last - top, 1:-1]
        )
    return out


def _ends(edges: IntArray, stride: int) -> tuple[IntArray, IntArray]:
    near = edges >> 1
    return near, near + np.where(edges & 1, stride, 1)


def _values(grey: NDArray[Any], cells: IntArray, stride: int) -> NDArray[np.float64]:
    """Grey values at cells counted with the ring of background, 0 there."""
    height, width = grey.shape
    row, col = np.divmod(cells, stride)
    inside = (row >= 1) & (row <= height) & (col >= 1) & (col <= width)
    value: FloatArray = grey[np.clip(row - 1, 0, height - 1), np.clip(col - 1, 0, width - 1)].astype(
        np.float64
    )
    value[~inside] = 0.0
    return value


def _next(grey: NDArray[Any], level: float, edges: IntArray, heading: IntArray, stride: int) -> IntArray:
    """For each crossing the index of the one the line meets next.

    Entering a cell with figure on the left, the line turns left where the pixel ahead on the left is
    background, right where the one ahead on the right is figure, else goes straight on; where both hold
    the mean of the four pixels decides whether the figure is joined across the cell.
    """
    ahead = np.array([1, -stride, -1, stride])[heading]
    near, far = _ends(edges, stride)
    # East- and north-bound lines have their left pixel first in the pair, the others second.
    first_is_left = (heading == 0) | (heading == 1)
    left, right = np.where(first_is_left, near, far), np.where(first_is_left, far, near)
    ahead_left, ahead_right = left + ahead, right + ahead
    values = [_values(grey, c, stride) for c in (left, right, ahead_left, ahead_right)]
    blocked, joined = values[2] <= level, values[3] > level
    saddle = blocked & joined
    connected = saddle & (sum(values) > 4 * level)
    turn_left = blocked & ~connected
    turn_right = joined & (~blocked | connected)
    one = np.where(turn_left, left, np.where(turn_right, ahead_right, ahead_left))
    two = np.where(turn_left, ahead_left, np.where(turn_right, right, ahead_right))
    low = np.minimum(one, two)
    ids = 2 * low + (np.abs(one - two) == stride)
    follow: IntArray = np.searchsorted(edges, ids)
    return follow


def _loops(follow: IntArray) -> list[IntArray]:
    """The cycles of a permutation. Each step depends on the last, hence a plain loop."""
    after = follow.tolist()
    seen = bytearray(len(after))
    loops = []
    start = 0
    while start >= 0:
        loop = []
        i = start
        while not seen[i]:
            seen[i] = 1
            loop.append(i)
            i = after[i]
        loops.append(np.array(loop))
        start = seen.find(0, start)
    return loops
