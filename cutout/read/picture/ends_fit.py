"""Shapes of the ends of narrow parts fitted to the pixels about them, those of a whole picture in one go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.ends_shapes import Bases, Fit, Shape, finished, pointed
from cutout.read.picture.ends_window import STRICT, Window, blurs
from cutout.read.picture.likeness import Stretches

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_ROUNDS, _TRIES, _NUDGE, _STRIDE, _SETTLED = 8, 4, 0.05, 2.0, 0.02
"""Steps of the fit at most, and tries at each; the change (px) that slopes are taken over; the longest step, and the
last one."""

_STIFF = 0.2
"""What a flank that bows by a pixel counts, as if so large a share of a pixel's contrast were missed: what
compression leaves of a point would bow it by pixels."""

_MUCH = 0.7
"""Greatest log of how much more or less blurred a place may be than the whole picture."""

_CELLS = 60_000
"""Pixels of windows looked at together: what is worked out of them stays in the processor's cache, or nearly."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A shape to be fitted to the pixels of a window, from its four numbers on."""

    window: Window
    shape: Shape
    start: FloatArray


def fitted(asked: Sequence[Asked]) -> list[Fit]:
    """Of each the shape of least root mean square miss."""
    found: list[Fit | None] = [None] * len(asked)
    for some in _batches([a.window.share.shape for a in asked]):
        for k, fit in zip(some, _fitted([asked[k] for k in some]), strict=True):
            found[k] = fit
    return [fit for fit in found if fit is not None]


def _batches(shapes: Sequence[tuple[int, ...]]) -> list[list[int]]:
    """Numbers of windows of about the same height, as many together as have _CELLS pixels."""
    batches: list[list[int]] = []
    tall = wide = 0
    for k in sorted(range(len(shapes)), key=lambda k: shapes[k]):
        tall, wide = max(tall, shapes[k][0]), max(wide, shapes[k][1])
        if not batches or (len(batches[-1]) + 1) * tall * wide > _CELLS:
            batches.append([])
            tall, wide = shapes[k][0], shapes[k][1]
        batches[-1].append(k)
    return batches


def _fitted(asked: Sequence[Asked]) -> list[Fit]:
    """The same of a few windows."""
    stack = _Stack.of(asked)
    p = np.array([np.append(a.start, 0.0) for a in asked])
    # Denied pixels have no slope where there are none: the likeness leads there.
    p, missed = _descended(stack, p)
    strict = np.flatnonzero([a.window.strict for a in asked])
    if len(strict):
        p[strict], missed[strict] = _descended(stack.at(strict, strict=True), p[strict])
    return [
        Fit(
            math.sqrt(total / np.count_nonzero(a.window.seen)),
            *finished(a.shape, a.window.arms, q[:-1]),
            q[:-1],
        )
        for a, q, total in zip(asked, p, missed.tolist(), strict=True)
    ]


def _descended(stack: _Stack, p: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Numbers of least squares (n, 5) from p on, and the sums of their squared misses (Levenberg, Marquardt)."""
    going = np.arange(len(p))
    p, now = p.copy(), stack.tried(p)
    held, rounds, tries = np.full(len(p), 1e-3), np.zeros(len(p), int), np.zeros(len(p), int)
    while len(going):
        left, size = now.left[going], np.arange(p.shape[1])
        left[:, size, size] += held[going, None] * (left[:, size, size] + 1e-6)
        step = np.linalg.solve(left, -now.right[going][:, :, None])[:, :, 0].clip(-_STRIDE, _STRIDE)
        then = stack.at(going).tried(p[going] + step)
        better = then.counted <= now.counted[going]
        to, away = going[better], going[~better]
        p[to] += step[better]
        now.put(to, then, better)
        held[to], held[away] = np.maximum(held[to] / 10.0, 1e-3), held[away] * 30.0
        rounds[to] += 1
        tries[to], tries[away] = 0, tries[away] + 1
        settled = better & (np.abs(step).max(axis=1) < _SETTLED)
        going = going[~settled & (rounds[going] < _ROUNDS) & (tries[going] < _TRIES)]
    return p, now.missed


@dataclass(frozen=True, slots=True)
class _Tried:
    """Of each of some numbers the sum of squared misses (n,), the same with what bent flanks count, half its slope by
    the numbers (n, 5), and about how fast that grows (n, 5, 5)."""

    missed: FloatArray
    counted: FloatArray
    right: FloatArray
    left: FloatArray

    def put(self, to: IntArray, other: _Tried, which: BoolArray) -> None:
        """Some of those of others in place of some of these."""
        for field in fields(self):
            getattr(self, field.name)[to] = getattr(other, field.name)[which]


@dataclass(frozen=True, slots=True)
class _Stack:
    """Windows (n, h, w), smaller ones in the upper left corner of theirs, and the shape that is fitted to each.

    tall, wide: their own sizes; strict: whether what the bits say has to be so.
    """

    shapes: tuple[Shape, ...]
    bases: Bases
    corner: ComplexArray
    before: ComplexArray
    behind: ComplexArray
    sigma: FloatArray
    tall: IntArray
    wide: IntArray
    share: FloatArray
    seen: FloatArray
    ground: FloatArray
    figure: BoolArray
    strict: bool = False

    @classmethod
    def of(cls, asked: Sequence[Asked]) -> _Stack:
        """The same of some windows."""
        windows = [a.window for a in asked]
        tall, wide = np.array([w.share.shape for w in windows]).T
        whole = (len(windows), int(tall.max()), int(wide.max()))
        share, seen, ground = np.zeros(whole), np.zeros(whole), np.zeros(whole)
        figure = np.zeros(whole, dtype=bool)
        for k, w in enumerate(windows):
            part = (k, slice(w.share.shape[0]), slice(w.share.shape[1]))
            share[part], seen[part], ground[part] = w.share, w.seen, w.ground
            if w.bits is not None:
                figure[part] = w.bits
        return cls(
            tuple(a.shape for a in asked),
            Bases.of([w.arms for w in windows]),
            np.array([w.corner for w in windows]),
            np.array([w.before for w in windows]),
            np.array([w.behind for w in windows]),
            np.array([w.sigma for w in windows]),
            tall,
            wide,
            share,
            seen,
            ground,
            figure,
        )

    def at(self, which: IntArray, strict: bool | None = None) -> _Stack:
        """Some of them."""
        return _Stack(
            tuple(self.shapes[k] for k in which.tolist()),
            self.bases.at(which),
            self.corner[which],
            self.before[which],
            self.behind[which],
            self.sigma[which],
            self.tall[which],
            self.wide[which],
            self.share[which],
            self.seen[which],
            self.ground[which],
            self.figure[which],
            self.strict if strict is None else strict,
        )

    def tried(self, p: FloatArray) -> _Tried:
        """What numbers p (n, 5) miss, the last of them the log of how much more blurred a place is."""
        nudged = np.repeat(p[:, None, :-1], p.shape[1], axis=1)
        size = np.arange(p.shape[1] - 1)
        nudged[:, size + 1, size] += _NUDGE
        covered, grown = self._covered(self._rings(nudged))
        misses, slopes = self._missed(covered, grown, p[:, -1])
        missed = (misses**2).sum(axis=1)
        right, left = (slopes @ misses[:, :, None])[:, :, 0], slopes @ slopes.swapaxes(1, 2)
        bent = np.array([shape is pointed for shape in self.shapes])[:, None] * _STIFF**2 * np.ones(2)
        right[:, 2:4] += bent * p[:, 2:4]
        left[:, (2, 3), (2, 3)] += bent
        return _Tried(missed, missed + (bent * p[:, 2:4] ** 2).sum(axis=1), right, left)

    def _rings(self, p: FloatArray) -> ComplexArray:
        """Closed lines (n, q, k) of the shapes of numbers p (n, q, 4), as seen from the windows' corners."""
        some = {shape: [k for k, own in enumerate(self.shapes) if own is shape] for shape in set(self.shapes)}
        drawn = [(at, shape(self.bases.at(np.array(at)), p[at])) for shape, at in some.items()]
        out = np.empty((*p.shape[:2], max(z.shape[2] for _, z in drawn) + 2), dtype=np.complex128)
        out[..., 0], out[..., -1] = self.before[:, None], self.behind[:, None]
        for at, z in drawn:
            out[at, :, 1 : z.shape[2] + 1] = z
            out[at, :, z.shape[2] + 1 : -1] = z[..., -1:]
        return np.asarray(out - self.corner[:, None, None])

    def _covered(self, rings: ComplexArray) -> tuple[FloatArray, FloatArray]:
        """Share of each pixel that the first ring of each window covers, and how fast it grows towards the others.

        (n, h, w) and (n, q, h, w).
        """
        z, ways = rings[:, 0], (rings[:, 1:] - rings[:, :1]) / _NUDGE
        n, k = z.shape
        x, y = z.real, self.tall[:, None] - z.imag
        x1, y1 = (np.roll(values, -1, axis=1).ravel() for values in (x, y))
        size = n, self.share.shape[1], self.share.shape[2]
        parts = Stretches.of(x.ravel(), y.ravel(), x1, y1, np.repeat(np.arange(n), k), size, level=True)
        covered = self.ground + parts.windings()
        # Beyond nothing and all there is nothing to be gained.
        inside = (covered >= 0.0) & (covered <= 1.0)
        own, ring = np.divmod(parts.edge, k)
        grown = np.empty((n, ways.shape[1], *self.share.shape[1:]))
        for q in range(ways.shape[1]):
            here, there = ways[own, q, ring], ways[own, q, (ring + 1) % k]
            way = here + (there - here) * parts.part
            grown[:, q] = parts.grown(way.real, -way.imag, _NUDGE) * inside
        return np.asarray(covered.clip(0.0, 1.0)), grown

    def _missed(
        self, covered: FloatArray, grown: FloatArray, blurrier: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Misses (n, m) at pixels covered so, in places exp(blurrier) times as blurred as the whole picture, and how
        fast they grow with the shapes' numbers and the blur; (n, 5, m).

        A strict window's own misses follow: by how much each pixel is covered beyond a half, or short of it, that its
        bit denies.
        """
        n, q = grown.shape[:2]
        seen = self.seen[:, None]
        blur, more = self._blurs(np.stack([blurrier, blurrier + _NUDGE]))
        likeness = _blurred(np.concatenate([covered[:, None], grown], axis=1), *blur) * seen
        blurred = _blurred(covered[:, None], *more) * seen
        missed = likeness[:, 0] - self.share * self.seen
        slopes = np.concatenate([likeness[:, 1:], (blurred - likeness[:, :1]) / _NUDGE], axis=1)
        missed, slopes = missed.reshape(n, -1), slopes.reshape(n, q + 1, -1)
        if not self.strict:
            return missed, slopes
        sense = np.where(self.figure, -1.0, 1.0)
        denied = (sense * (covered - 0.5)).clip(0.0) * self.seen
        risen = np.zeros((n, q + 1, *covered.shape[1:]))
        risen[:, :-1] = grown * (sense * (denied > 0))[:, None]
        return (
            np.concatenate([missed, STRICT * denied.reshape(n, -1)], axis=1),
            np.concatenate([slopes, STRICT * risen.reshape(n, q + 1, -1)], axis=2),
        )

    def _blurs(self, blurrier: FloatArray) -> list[tuple[FloatArray, FloatArray]]:
        """Weights of Gaussians exp(blurrier) times as wide as the picture's own, down (n, h, h) and across (n, w, w),
        for each row of (k, n)."""
        many, (h, w) = len(blurrier), self.share.shape[1:]
        sigma = self.sigma * np.exp(np.clip(blurrier, -_MUCH, _MUCH))
        sizes = np.concatenate([np.tile(self.tall, many), np.tile(self.wide, many)])
        weights = np.split(blurs(sizes, np.tile(sigma.ravel(), 2), max(h, w)), 2 * many)
        return [(weights[k][:, :h, :h], weights[many + k][:, :w, :w]) for k in range(many)]


def _blurred(layers: FloatArray, down: FloatArray, across: FloatArray) -> FloatArray:
    """Layers (n, q, h, w) blurred by such weights."""
    return np.asarray(down[:, None] @ layers @ across.swapaxes(1, 2)[:, None])
