"""What a picture of given outlines would look like, before anything blurs it."""

from __future__ import annotations

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray

FINE = 2
"""Likenesses are drawn on pixels so many times as fine."""

_SAMPLES = 4
"""Rows of samples to a finer pixel."""


def drawn(lines: list[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """Share of each finer pixel within closed lines, outer ones counter-clockwise; 0..1."""
    return np.asarray(winding(lines, shape).clip(0.0, 1.0))


def winding(lines: list[ComplexArray], shape: tuple[int, ...]) -> FloatArray:
    """How many times closed lines go round each finer pixel of a picture of `shape`, to its share.

    The picture's lower left corner is 0. Each crossing of a row of samples with a line adds to or takes from all that
    lies to its right.
    """
    height, width = shape[0] * FINE, shape[1] * FINE
    rows, places, signs = [], [], []
    for z in lines:
        x, y = z.real * FINE, (shape[0] - z.imag) * FINE * _SAMPLES - 0.5
        x1, y1 = np.roll(x, -1), np.roll(y, -1)
        first = np.ceil(np.minimum(y, y1)).clip(0, height * _SAMPLES).astype(int)
        last = np.ceil(np.maximum(y, y1)).clip(0, height * _SAMPLES).astype(int)
        many = last - first
        edge = np.repeat(np.arange(len(z)), many)
        row = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many) + first[edge]
        rows.append(row)
        places.append(x[edge] + (row - y[edge]) / (y1 - y)[edge] * (x1 - x)[edge])
        signs.append(np.sign(y1 - y)[edge])
    row, place = np.concatenate(rows) // _SAMPLES, np.clip(np.concatenate(places), 0, width)
    sign = np.concatenate(signs) / _SAMPLES
    cell = np.floor(place).astype(int)
    part = place - cell
    at = row * (width + 2) + cell
    total = height * (width + 2)
    steps = np.bincount(at, sign * (1 - part), total) + np.bincount(at + 1, sign * part, total)
    return np.asarray(np.cumsum(steps.reshape(height, width + 2), axis=1)[:, :width])


def coarse(fine: FloatArray) -> FloatArray:
    """Means over the finer pixels of each whole one."""
    h, w = fine.shape
    return np.asarray(fine.reshape(h // FINE, FINE, w // FINE, FINE).mean(axis=(1, 3)))
