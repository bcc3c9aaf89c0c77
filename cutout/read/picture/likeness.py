"""What a picture of given outlines would look like, before anything blurs it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

FINE = 2
"""Likenesses are drawn on pixels so many times as fine."""


def drawn(lines: list[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """Share of each finer pixel within closed lines, outer ones counter-clockwise; 0..1."""
    return np.asarray(winding(lines, shape).clip(0.0, 1.0))


def winding(lines: list[ComplexArray], shape: tuple[int, ...], fine: int = FINE) -> FloatArray:
    """How many times closed lines go round each finer pixel of a picture of `shape`, to its share; exact.

    fine: how many finer pixels a pixel is across. The picture's lower left corner is 0.
    """
    z = np.concatenate(lines)
    turns = _turns(z, _after(lines), np.zeros(len(z), dtype=np.int64), (1, shape[0], shape[1]), fine)
    return np.asarray(turns[0])


def windings(lines: list[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """The same of each line by itself, round whole pixels; (n, h, w)."""
    layer = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    return _turns(np.concatenate(lines), _after(lines), layer, (len(lines), shape[0], shape[1]), 1)


def _after(lines: list[ComplexArray]) -> IntArray:
    """Number of the point after each of the points of closed lines, one line after the other."""
    sizes = np.array([len(line) for line in lines])
    after = np.arange(1, sizes.sum() + 1)
    after[np.cumsum(sizes) - 1] -= sizes
    return after


def _turns(
    z: ComplexArray, after: IntArray, layer: IntArray, shape: tuple[int, int, int], fine: int
) -> FloatArray:
    """Windings in each layer of a stack of pictures; layer: that of each point."""
    layers, height, width = shape[0], shape[1] * fine, shape[2] * fine
    x, y = z.real * fine, (shape[1] - z.imag) * fine
    return Stretches.of(x, y, x[after], y[after], layer, (layers, height, width)).windings()


@dataclass(frozen=True, slots=True)
class Stretches:
    """What of straight edges lies within one pixel each, in a stack of pictures (layers, h, w).

    edge: number of the edge; part: the stretch's middle, as a share of the edge; x, y: where that is, in pixels from
    the upper left; layer: the picture it is in; wide, high: how far it goes to the right and down.
    """

    edge: IntArray
    part: FloatArray
    x: FloatArray
    y: FloatArray
    layer: IntArray
    wide: FloatArray
    high: FloatArray
    shape: tuple[int, int, int]

    @classmethod
    def of(
        cls,
        x: FloatArray,
        y: FloatArray,
        x1: FloatArray,
        y1: FloatArray,
        layer: IntArray,
        shape: tuple[int, int, int],
        level: bool = False,
    ) -> Stretches:
        """The same of edges from (x, y) to (x1, y1), in pixels from the upper left, each in its layer.

        level: whether edges along a row, which nothing winds round, count as well.
        """
        _, height, width = shape
        near = (np.maximum(y, y1) > 0) & (np.minimum(y, y1) < height) & (np.minimum(x, x1) < width)
        near &= ((y != y1) | (x != x1)) if level else (y != y1)
        kept = np.flatnonzero(near)
        x, y, x1, y1 = x[kept], y[kept], x1[kept], y1[kept]
        cuts = [_crossings(y, y1, height), _crossings(x, x1, width)]
        edge = np.concatenate([np.arange(len(x)), *(which for which, _ in cuts)])
        part = np.concatenate([np.zeros(len(x)), *(share for _, share in cuts)])
        order = np.lexsort((part, edge))
        edge, part = edge[order], part[order]
        ends = np.append(part[1:], 0.0)
        ends[np.append(edge[1:] != edge[:-1], True)] = 1.0
        long, middle = ends - part, (part + ends) / 2
        right, down = (x1 - x)[edge], (y1 - y)[edge]
        at = kept[edge]
        return cls(
            at,
            middle,
            x[edge] + middle * right,
            y[edge] + middle * down,
            layer[at],
            right * long,
            down * long,
            shape,
        )

    def windings(self) -> FloatArray:
        """How many times the edges of closed lines go round each pixel, to its share; (layers, h, w).

        Each stretch adds to or takes from what of its pixel lies to its right, and all beyond in its row.
        """
        layers, height, width = self.shape
        row = np.floor(self.y).astype(int)
        high = np.where((row < 0) | (row >= height), 0.0, self.high)
        row = np.minimum(np.maximum(row, 0), height - 1)
        place = np.minimum(np.maximum(self.x, 0), width)
        cell = place.astype(int)
        aside = (place - cell) * high
        at = (self.layer * height + row) * (width + 2) + cell
        total = layers * height * (width + 2)
        steps = np.bincount(at, high - aside, total) + np.bincount(at + 1, aside, total)
        return np.asarray(np.cumsum(steps.reshape(layers, height, width + 2), axis=2)[:, :, :width])

    def grown(self, right: FloatArray, down: FloatArray, by: float) -> FloatArray:
        """How fast windings grow where the stretches move so fast (pixels) to the right and down; (layers, h, w).

        Mean of where they are a time `by` before and after: a stretch along the rim of a pixel moves in both.
        """
        layers, height, width = self.shape
        swept = 0.5 * (down * self.wide - right * self.high)
        ways = np.concatenate([right, -right]), np.concatenate([down, -down])
        column = np.floor(np.tile(self.x, 2) + by * ways[0]).astype(int)
        row = np.floor(np.tile(self.y, 2) + by * ways[1]).astype(int)
        at = (np.tile(self.layer, 2) * height + row) * width + column
        seen = (row >= 0) & (row < height) & (column >= 0) & (column < width)
        grown = np.bincount(
            np.where(seen, at, 0), np.where(seen, np.tile(swept, 2), 0.0), layers * height * width
        )
        return np.asarray(grown.reshape(self.shape))


def _crossings(a: FloatArray, b: FloatArray, most: int) -> tuple[IntArray, FloatArray]:
    """Whole numbers from 0 to `most` between a and b (n,): whose they are, and at what share of the way to b."""
    first = np.maximum(np.ceil(np.minimum(a, b)), 0)
    many = np.maximum(np.minimum(np.floor(np.maximum(a, b)), most) - first + 1, 0).astype(int)
    which = np.repeat(np.arange(len(a)), many)
    number = np.arange(len(which)) - (np.cumsum(many) - many - first)[which]
    # Where a and b are one whole number there is nothing between them.
    length = b - a
    length[length == 0] = 1.0
    return which, np.clip((number - a[which]) / length[which], 0.0, 1.0)


def coarse(fine: FloatArray) -> FloatArray:
    """Means over the finer pixels of each whole one."""
    across = reduce(np.add, (fine[:, k::FINE] for k in range(FINE)))
    return np.asarray(reduce(np.add, (across[k::FINE] for k in range(FINE))) / FINE**2)
