"""Pixels about the end of a narrow part, and the shape whose blurred likeness comes nearest to them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.edge import gaussian
from cutout.read.picture.ends_noticed import Arms
from cutout.read.picture.ends_shapes import Fit, Shape, pointed
from cutout.read.picture.likeness import windings

_ROUNDS, _NUDGE, _STRIDE, _SETTLED = 8, 0.05, 2.0, 0.02
"""Steps of the fit at most; the change (px) that slopes are taken over; the longest step, and the last one."""

_STRICT = 10.0
"""What a pixel weighs that is black where it would be less than half covered, or white where more, by the share."""

_STIFF = 0.2
"""What a flank that bows by a pixel counts, as if so large a share of a pixel's contrast were missed: what
compression leaves of a point would bow it by pixels."""

_MUCH = 0.7
"""Greatest log of how much more or less blurred a place may be than the whole picture."""


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
        return np.asarray(self._missed(self._covered([points]), 0.0)[0])

    def _covered(self, each: Sequence[ComplexArray]) -> FloatArray:
        """Share of each pixel that is covered, for each of some lines between the arms; (n, rows, columns)."""
        rings = [np.concatenate([[self.before], points, [self.behind]]) - self.corner for points in each]
        return np.asarray((self.ground + windings(rings, self.share.shape)).clip(0.0, 1.0))

    def _missed(self, covered: FloatArray, blurrier: float) -> FloatArray:
        """Misses (n, m) at pixels covered so, if the place is exp(blurrier) times as blurred as `sigma` says.

        A strict window's own misses follow: by how much each pixel is covered beyond a half, or short of it, that its
        bit denies.
        """
        sigma = self.sigma * math.exp(min(max(blurrier, -_MUCH), _MUCH))
        down, across = (_blur(n, sigma) for n in self.share.shape)
        likeness = down @ covered @ across.T
        missed = np.asarray((likeness - self.share)[:, self.seen])
        if self.bits is None or not self.strict:
            return missed
        return np.concatenate([missed, _STRICT * self._denied(covered)], axis=1)

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

    def fitted(self, shape: Shape, p: FloatArray) -> Fit:
        """Least root mean square miss, from parameters p on, and the shape that has it."""
        p = np.append(p, 0.0)
        if self.strict:
            # Denied pixels have no slope where there are none: the likeness leads there.
            p, _ = replace(self, strict=False)._descended(shape, p)
        p, missed = self._descended(shape, p)
        return Fit(self.rms(missed), *shape(self.arms, p[:-1]), p[:-1])

    def _descended(self, shape: Shape, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Parameters of least squares from p on, and their misses (Levenberg, Marquardt)."""
        covered, missed = self._tried(shape, p)
        held = 1e-3
        for _ in range(_ROUNDS):
            slopes = self._slopes(shape, p, covered, missed)
            left, right = slopes @ slopes.T, slopes @ missed
            for _ in range(4):
                step = np.linalg.solve(left + held * np.diag(np.diag(left) + 1e-6), -right).clip(
                    -_STRIDE, _STRIDE
                )
                then, after = self._tried(shape, p + step)
                if (after**2).sum() <= (missed**2).sum():
                    break
                held *= 30.0
            else:
                break
            p, covered, missed, held = p + step, then, after, max(held / 10.0, 1e-3)
            if np.abs(step).max() < _SETTLED:
                break
        return p, missed[:-2] if shape is pointed else missed

    def _tried(self, shape: Shape, p: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What parameters p cover (1, rows, columns), and their misses (m,)."""
        covered = self._covered([shape(self.arms, p[:-1])[0]])
        return covered, self._stiff(shape, self._missed(covered, float(p[-1])), p[None])[0]

    def _slopes(self, shape: Shape, p: FloatArray, covered: FloatArray, missed: FloatArray) -> FloatArray:
        """How fast the misses (m,) at p, where pixels are covered so, grow with each of the parameters; (n, m)."""
        nudged = p + _NUDGE * np.eye(len(p))
        moved = self._missed(self._covered([shape(self.arms, q[:-1])[0] for q in nudged[:-1]]), float(p[-1]))
        blurred = self._missed(covered, float(nudged[-1, -1]))
        then = self._stiff(shape, np.concatenate([moved, blurred]), nudged)
        return np.asarray((then - missed) / _NUDGE)

    @staticmethod
    def _stiff(shape: Shape, missed: FloatArray, p: FloatArray) -> FloatArray:
        """Misses (n, m) and, behind those of a point, how far its flanks are bent; p: its parameters (n, k)."""
        return np.concatenate([missed, _STIFF * p[:, 2:4]], axis=1) if shape is pointed else missed


@lru_cache(maxsize=256)
def _blur(size: int, sigma: float) -> FloatArray:
    """Weights (size, size) of a Gaussian over a row of pixels, which goes on beyond its ends as they are."""
    weights = gaussian(sigma)
    reach = len(weights) // 2
    # A row too many in each line shifts the weights by one from line to line.
    wide = np.zeros((size, size + 2 * reach + 1))
    wide[:, : 2 * reach + 1] = weights
    wide = wide.ravel()[: size * (size + 2 * reach)].reshape(size, size + 2 * reach)
    inner = wide[:, reach : reach + size]
    inner[:, 0] += wide[:, :reach].sum(axis=1)
    inner[:, -1] += wide[:, reach + size :].sum(axis=1)
    return inner
