"""What a picture of given outlines would look like, before anything blurs it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

FINE = 2
"""Likenesses are drawn on pixels so many times as fine."""

_SAMPLES = 4
"""Rows of samples to a finer pixel."""


def drawn(lines: list[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """Share of each finer pixel within closed lines, outer ones counter-clockwise; 0..1."""
    return np.asarray(winding(lines, shape).clip(0.0, 1.0))


def winding(lines: Sequence[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """How many times closed lines go round each finer pixel of a picture of `shape`, to its share.

    The picture's lower left corner is 0. Each crossing of a row of samples with a line adds to or takes from all that
    lies to its right.
    """
    return np.asarray(windings(lines, shape, np.zeros(len(lines), dtype=np.int64), 1)[0])


def windings(
    lines: Sequence[ComplexArray], shape: tuple[int, ...], which: NDArray[np.int64], count: int
) -> FloatArray:
    """The same of `count` pictures (count, rows, columns): line k counts in the one numbered which[k]."""
    height, width = shape[0] * FINE, shape[1] * FINE
    z = np.concatenate(lines)
    x, y = z.real * FINE, (shape[0] - z.imag) * FINE * _SAMPLES - 0.5
    # After a line's last point comes its first.
    sizes = np.array([len(line) for line in lines])
    after = np.arange(1, len(z) + 1)
    after[np.cumsum(sizes) - 1] -= sizes
    x1, y1 = x[after], y[after]
    above = np.minimum(np.maximum(np.ceil(y), 0), height * _SAMPLES).astype(int)
    above1 = above[after]
    first = np.minimum(above, above1)
    many = np.abs(above1 - above)
    edge = np.repeat(np.arange(len(z)), many)
    row = np.arange(len(edge)) - (np.cumsum(many) - many - first)[edge]
    place = x[edge] + (row - y[edge]) / (y1 - y)[edge] * (x1 - x)[edge]
    place = np.minimum(np.maximum(place, 0), width)
    sign = np.where(y1 > y, 1.0 / _SAMPLES, -1.0 / _SAMPLES)[edge]
    cell = place.astype(int)
    part = place - cell
    at = row // _SAMPLES * (width + 2) + cell
    size = height * (width + 2)
    if count > 1:
        at += np.repeat(which * size, sizes)[edge]
    steps = np.bincount(at, sign * (1 - part), count * size) + np.bincount(at + 1, sign * part, count * size)
    return np.asarray(np.cumsum(steps.reshape(count, height, width + 2), axis=2)[:, :, :width])


def coarse(fine: FloatArray) -> FloatArray:
    """Means over the finer pixels of each whole one; the last two axes are a picture's rows and columns."""
    across = reduce(np.add, (fine[..., k::FINE] for k in range(FINE)))
    return np.asarray(reduce(np.add, (across[..., k::FINE, :] for k in range(FINE))) / FINE**2)
