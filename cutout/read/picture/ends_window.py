"""Pixels about the end of a narrow part, and how far a line's blurred likeness misses them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.edge import gaussians
from cutout.read.picture.ends_noticed import Arms
from cutout.read.picture.likeness import windings

IntArray = NDArray[np.int64]

STRICT = 10.0
"""What a pixel weighs that is black where it would be less than half covered, or white where more, by the share."""


@dataclass(frozen=True, slots=True)
class Window:
    """Pixels about an end: lower left corner, shares covered, which of them count, and what else covers them.

    ground: winding of all other lines round the pixels, and of the rest of this one, from `behind` to `before`.
    bits: which pixels are figure, in a picture of black and white only; strict: whether what they say has to be so.
    """

    corner: complex
    share: FloatArray
    seen: NDArray[np.bool_]
    ground: FloatArray
    before: complex
    behind: complex
    sigma: float
    arms: Arms
    bits: NDArray[np.bool_] | None = None
    strict: bool = False

    def missed(self, points: ComplexArray) -> FloatArray:
        """Likeness less picture at each pixel that counts, for points from one arm to the other."""
        return np.asarray(self._missed(self._covered([points]))[0])

    def _covered(self, each: Sequence[ComplexArray]) -> FloatArray:
        """Share of each pixel that is covered, for each of some lines between the arms; (n, rows, columns)."""
        rings = [np.concatenate([[self.before], points, [self.behind]]) - self.corner for points in each]
        return np.asarray((self.ground + windings(rings, self.share.shape)).clip(0.0, 1.0))

    def _missed(self, covered: FloatArray) -> FloatArray:
        """Misses (n, m) at pixels covered so.

        A strict window's own misses follow: by how much each pixel is covered beyond a half, or short of it, that its
        bit denies.
        """
        down, across = (_blur(n, self.sigma) for n in self.share.shape)
        likeness = down @ covered @ across.T
        missed = np.asarray((likeness - self.share)[:, self.seen])
        if self.bits is None or not self.strict:
            return missed
        return np.concatenate([missed, STRICT * self._denied(covered)], axis=1)

    def denied(self, ends: ComplexArray) -> FloatArray:
        """Area (px^2) of all that bits deny of each of the ends (n, k)."""
        return np.asarray(self._denied(self._covered(list(ends))).sum(axis=1))

    def _denied(self, covered: FloatArray) -> FloatArray:
        """By how much pixels covered so (n, h, w) go beyond a half, or short of it, that bits deny; (n, m)."""
        assert self.bits is not None
        return np.asarray(np.where(self.bits, 0.5 - covered, covered - 0.5).clip(0.0)[:, self.seen])

    def rms(self, missed: FloatArray) -> float:
        """Root mean square of the misses for each pixel that counts."""
        return math.sqrt(float((missed**2).sum() / self.seen.sum()))


def _blur(size: int, sigma: float) -> FloatArray:
    """Weights (size, size) of a Gaussian over a row of pixels, which goes on beyond its ends as they are."""
    return np.asarray(blurs(np.array([size]), np.array([sigma]), size)[0])


def blurs(sizes: IntArray, sigmas: FloatArray, most: int) -> FloatArray:
    """Weights (n, most, most) of Gaussians over rows of so many pixels each, which go on beyond their ends as they
    are; where rows are shorter than `most` there are no weights beyond."""
    weights = gaussians(sigmas)
    reach = weights.shape[1] // 2
    row, column = np.arange(most), np.arange(most)
    # Weights before each row's first pixel and after its last one count with those.
    wide = np.pad(weights, ((0, 0), (most, most)))
    sums = np.cumsum(wide, axis=1)
    out = wide[:, reach + most + column - row[:, None]]
    out[:, :, 0] = sums[:, reach + most - row]
    last = sizes - 1
    number = np.arange(len(sizes))
    before = sums[number[:, None], reach + most + last[:, None] - row - 1]
    out[number, :, last] = np.where(last[:, None] > 0, 1.0 - before, 1.0)
    out *= (row[:, None] < sizes[:, None, None]) & (column < sizes[:, None, None])
    return np.asarray(out)
