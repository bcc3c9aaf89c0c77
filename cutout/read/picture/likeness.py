"""What a picture of given outlines would look like, before anything blurs it."""

from __future__ import annotations

from functools import reduce

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray = NDArray[np.int64]

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
    """Windings in each layer of a stack of pictures; layer: that of each point.

    Each stretch of a line within one finer pixel adds to or takes from what of it lies to its right, and all
    beyond in its row.
    """
    layers, height, width = shape[0], shape[1] * fine, shape[2] * fine
    x, y = z.real * fine, (shape[1] - z.imag) * fine
    x1, y1 = x[after], y[after]
    near = (np.maximum(y, y1) > 0) & (np.minimum(y, y1) < height) & (np.minimum(x, x1) < width) & (y != y1)
    x, y, x1, y1, layer = x[near], y[near], x1[near], y1[near], layer[near]
    cuts = [_crossings(y, y1, height), _crossings(x, x1, width)]
    edge = np.concatenate([np.arange(len(x)), *(which for which, _ in cuts)])
    part = np.concatenate([np.zeros(len(x)), *(share for _, share in cuts)])
    order = np.lexsort((part, edge))
    edge, part = edge[order], part[order]
    ends = np.append(part[1:], 0.0)
    ends[np.append(edge[1:] != edge[:-1], True)] = 1.0
    high = (y1 - y)[edge] * (ends - part)
    middle = (part + ends) / 2
    row = np.floor(y[edge] + middle * (y1 - y)[edge]).astype(int)
    place = np.minimum(np.maximum(x[edge] + middle * (x1 - x)[edge], 0), width)
    high[(row < 0) | (row >= height)] = 0.0
    row = np.minimum(np.maximum(row, 0), height - 1)
    cell = place.astype(int)
    aside = (place - cell) * high
    at = (layer[edge] * height + row) * (width + 2) + cell
    total = layers * height * (width + 2)
    steps = np.bincount(at, high - aside, total) + np.bincount(at + 1, aside, total)
    return np.asarray(np.cumsum(steps.reshape(layers, height, width + 2), axis=2)[:, :, :width])


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
