"""A picture as ends of narrow parts are looked for in it, and which of their shapes is believed."""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from cutout.geom.curve import ComplexArray, FloatArray, to_array
from cutout.read.picture.bits import Flanks, allowed
from cutout.read.picture.classes import histogram, quantiles
from cutout.read.picture.ends_fit import Asked, fitted
from cutout.read.picture.ends_noticed import Arms
from cutout.read.picture.ends_shapes import (
    Fit,
    Laid,
    cut_off,
    is_bar,
    lies_across,
    nearer,
    pointed,
    rounded_off,
    squared,
    stepped,
    width_of,
)
from cutout.read.picture.ends_window import Window
from cutout.read.picture.figure import Field
from cutout.read.picture.likeness import winding
from cutout.trace.iso import IsoLines

PIXEL = 0.29
"""Sigma (px) of a pixel's own width."""

_DOUBTED, _STILL = (1.7, 2.6), 0.02
"""How many times as far from where its flanks meet as a sharp corner's, about, a line may run, at least and at
most, to leave doubt whether it is one; and up to which noise (share of contrast) that tells anything."""

_CLEAR, _BEYOND = 3.0, 3.0
"""How far the picture is looked at about an end (sigmas of its blur), and ahead of the line's own tip (px)."""

ASIDE = 1.5
"""How near to other lines (px)."""

_LEAST_SEEN = 20
"""With fewer pixels to be seen about an end nothing is told of it."""

_AHEAD = 2.5
"""How far beyond the line's own tip (px) a point is looked for from, where that is not to be found from the tip."""

_FITS, _NOISES = 0.035, 2.0
"""Root mean square miss (share of full contrast) of a likeness that fits, at least, and in sigmas of noise."""

_LIKE, _TELLING = 0.07, 0.5
"""The same of one that does in a picture whose compression left more than noise, if it misses so much less than the
line as it was."""

_DENIED = 0.1
"""Area (px^2) denied by bits up to which an end with corners is believed; beyond it a round one is looked for."""

_SEEN = 6.0
"""Width (px) of an end from which on its corners are seen one by one; what bits allow may as well be round."""

_LOST, _NO_WORSE, _LEFT = 1.0, 1.3, 0.09
"""How far (px) a point reaches beyond the tip of the line, where the picture has lost its last pixels; how many
times as much as that line it may miss the picture, and by how much at most (share of contrast)."""

_AT_EDGES = 0.6
"""Root of the share of the pixels about an end that its edges run through."""

_PLAIN = 0.35
"""Least distance from the level, as a share of full contrast, at which no edge is near."""

_LEAST_PLAIN = 100
"""So few pixels tell no noise."""

_BETTER = 0.6
"""Share of the squared misses of the line as it was that is left at most, noise apart."""

_SURER, _MUCH_SURER = 1.1, 1.6
"""A point is believed in before an end with two corners, unless it misses so many times as much; and either before a
round end, a point by far: it is one with its last pixel off."""

_TOLD = 1.5
"""Width (px) from which on a round end can be told from a point."""


_Choosing: TypeAlias = Generator[list[Asked], list[Fit], Laid | None]
"""Shapes to be fitted, what was found of them sent back, and the end at last."""


@dataclass(frozen=True, slots=True)
class View:
    """The picture as shares of full contrast, how it is blurred (px), its noise (share), and all its lines.

    bits: which pixels are figure, in a picture of black and white only.
    """

    values: NDArray[np.uint8]
    low: float
    contrast: float
    sigma: float
    noise: float
    lines: list[ComplexArray]
    boxes: list[tuple[complex, complex]]
    bits: NDArray[np.bool_] | None

    @classmethod
    def of(cls, field: Field, found: IsoLines, sigma: float) -> View:
        """The same of a field, its lines, and the sigma (px) its values are blurred by, a pixel's own width apart."""
        contrast = max(2.0 * (field.settled()[1] - field.level), 1.0)
        # A line known to be off by so much is met by a picture that is off by as much times its slope there.
        blur = math.hypot(sigma, PIXEL)
        steps = _AT_EDGES * found.noise / (blur * math.sqrt(2 * math.pi))
        noise = math.hypot(_noise(field.values, field.level, contrast, blur) / contrast, steps)
        return cls(
            field.values,
            field.level - contrast / 2,
            contrast,
            sigma,
            noise,
            found.lines,
            [_box(z) for z in found.lines],
            field.bits,
        )

    def doubts(self, k: int, arms: Arms, blur: float) -> bool:
        """Whether line k runs so far from where its flanks meet that nobody knows whether that is a sharp corner."""
        cross = (arms.into.conjugate() * arms.out).imag
        if self.bits is not None or self.noise > _STILL or abs(cross) < 0.2:
            return False
        meeting = arms.start + arms.into * (((arms.end - arms.start).conjugate() * arms.out).imag / cross)
        z = self.lines[k]
        own = z[np.arange(arms.first, arms.last + 1) % len(z)]
        missed = float(np.abs(stepped(own) - meeting).min())
        sharp = 0.75 * blur * math.tan(math.acos((arms.into.conjugate() * arms.out).real) / 2)
        return _DOUBTED[0] * sharp < missed < _DOUBTED[1] * sharp

    def best(self, places: Sequence[tuple[int, Arms]]) -> list[Laid | None]:
        """The end at each place of a line as it is likeliest, or None where none fits so well that it is to be
        believed. What all ends ask for next is fitted together."""
        found: list[Laid | None] = [None] * len(places)
        choices: dict[int, _Choosing] = {}
        for n, (k, arms) in enumerate(places):
            window, z = self._window(k, arms), self.lines[k]
            if window.seen.sum() >= _LEAST_SEEN:
                choices[n] = self._chosen(window, z[np.arange(arms.first, arms.last + 1) % len(z)])
        asked = {n: next(choosing) for n, choosing in choices.items()}
        while asked:
            fits = iter(fitted([one for some in asked.values() for one in some]))
            answers = {n: [next(fits) for _ in some] for n, some in asked.items()}
            asked = {}
            for n, answer in answers.items():
                try:
                    asked[n] = choices[n].send(answer)
                except StopIteration as stopped:
                    found[n] = stopped.value
        return found

    def _chosen(self, window: Window, own: ComplexArray) -> _Choosing:
        """The end seen in a window as it is likeliest, or None; own: the line's points that it would stand for."""
        by_bits = None if window.bits is None else (yield from self._by_bits(window, own))
        return by_bits or (yield from self._likeliest(window, own))

    def _by_bits(self, window: Window, own: ComplexArray) -> _Choosing:
        """The end as the bits of a black-and-white picture allow it."""
        arms = window.arms
        strict = replace(window, strict=True)
        point, square = yield [Asked(window, pointed, np.zeros(4)), Asked(window, cut_off, squared(arms))]
        flanks = Flanks(arms.start, arms.end, arms.into, arms.out, arms.tip, arms.axis)
        drawn, corners = allowed(flanks, window.denied, point.numbers, square.numbers)
        middle = drawn[1:-1] if corners == 2 else drawn[len(drawn) // 2 : len(drawn) // 2 + 1]
        points = stepped(drawn)
        best = Fit(strict.rms(strict.missed(points)), points, tuple(middle.tolist()), point.numbers)
        wide = corners == 2 and abs(middle[1] - middle[0]) > _SEEN
        if not wide and window.denied(drawn[None])[0] < _DENIED:
            return Laid(arms.first, arms.last, best.points, best.corners)
        (rounded,) = yield [Asked(strict, rounded_off, squared(arms))]
        if _MUCH_SURER * rounded.missed < best.missed and width_of(rounded.points) > _TOLD:
            best = rounded
        return self._believed(best, strict.rms(strict.missed(own)), arms)

    def _likeliest(self, window: Window, own: ComplexArray) -> _Choosing:
        """The end seen in a window as it is likeliest; own: the line's points that it would stand for."""
        arms = window.arms
        was = window.rms(window.missed(own))
        best, square, rounded = yield [
            Asked(window, pointed, np.zeros(4)),
            Asked(window, cut_off, squared(arms)),
            Asked(window, rounded_off, squared(arms)),
        ]
        if best.missed > max(_FITS, _NOISES * self.noise):
            # From the line's own tip it may have come to rest short of where it belongs.
            (other,) = yield [Asked(window, pointed, np.array([_AHEAD, 0.0, 0.0, 0.0]))]
            best = nearer(best, other)
        if square.missed < best.missed and not lies_across(square.corners, arms.axis):
            # An end that lies along a flank is a point, which may be looked for from there.
            ahead = max(
                ((c - arms.tip) * arms.axis.conjugate() for c in square.corners), key=lambda at: at.real
            )
            (other,) = yield [Asked(window, pointed, np.array([ahead.real, ahead.imag, 0.0, 0.0]))]
            best = nearer(best, other)
        # Its last pixels tell little of an end that runs out between two flanks; a bar's run side by side.
        surer = (1.0 if window.strict else _SURER) if is_bar(square.corners, arms) else _MUCH_SURER
        if lies_across(square.corners, arms.axis) and surer * square.missed < best.missed:
            best = square
        # A point cut off or rounded within its last pixel looks like one that is not.
        surer = _SURER if len(best.corners) == 2 and not window.strict else _MUCH_SURER
        if surer * rounded.missed < best.missed and width_of(rounded.points) > _TOLD:
            best = rounded
        return self._believed(best, was, arms)

    def _believed(self, best: Fit, was: float, arms: Arms) -> Laid | None:
        """The end if it fits and is clearly better than the line was, which missed by `was`."""
        missed = best.missed
        fits = missed < max(_FITS, _NOISES * self.noise) or missed < min(_LIKE, _TELLING * was)
        better = missed**2 - self.noise**2 < _BETTER * max(was**2 - self.noise**2, 0.0)
        if not (fits and better) and len(best.corners) == 1:
            # What compression has left of a fine point is no picture of it; its flanks still meet where they do.
            ahead = ((best.corners[0] - arms.tip) * arms.axis.conjugate()).real
            fits = better = missed < min(_LEFT, _NO_WORSE * was) and ahead > _LOST
        return Laid(arms.first, arms.last, best.points, best.corners) if fits and better else None

    def _window(self, k: int, arms: Arms) -> Window:
        """Pixels about an end, beyond where its arms begin, that no other line runs through."""
        z = self.lines[k]
        n = len(z)
        own, rest = (
            z[np.arange(arms.first, arms.last + 1) % n],
            z[np.arange(arms.last + 1, arms.first + n) % n],
        )
        reach = _CLEAR * self.sigma + 1.0
        around = np.concatenate([own, [arms.start, arms.end, arms.tip + _BEYOND * arms.axis]])
        height, width = self.values.shape[:2]
        left = max(math.floor(around.real.min() - 2 * reach), 0)
        right = min(math.ceil(around.real.max() + 2 * reach), width)
        low = max(math.floor(around.imag.min() - 2 * reach), 0)
        high = min(math.ceil(around.imag.max() + 2 * reach), height)
        corner = complex(left, low)
        values = self.values[height - high : height - low, left:right]
        rows, columns = np.indices(values.shape)
        centre = (columns + 0.5) + 1j * (high - low - rows - 0.5)
        seen = ((centre + corner - arms.middle) * arms.axis.conjugate()).real > 0.5
        # What lies beyond the window would show at its rim.
        seen &= _away(around - corner, centre) < reach
        # A closed line wholly aside of the window goes round none of it.
        size = complex(values.shape[1], values.shape[0])
        others = [
            line - corner
            for j, (line, (one, two)) in enumerate(zip(self.lines, self.boxes, strict=True))
            if j != k and _meets(one - corner, two - corner, size)
        ]
        others.append(rest - corner)
        near = np.concatenate(others)
        near = near[
            (np.abs(near.real - values.shape[1] / 2) < values.shape[1] / 2 + ASIDE)
            & (np.abs(near.imag - values.shape[0] / 2) < values.shape[0] / 2 + ASIDE)
        ]
        if len(near):
            seen &= _away(near, centre) > ASIDE
        ground = winding(others, values.shape, 1)
        share = (values.astype(np.float64) - self.low) / self.contrast
        bits = None if self.bits is None else self.bits[height - high : height - low, left:right]
        return Window(
            corner, share, seen, ground, complex(rest[-1]), complex(rest[0]), self.sigma, arms, bits
        )


def _box(z: ComplexArray) -> tuple[complex, complex]:
    """Lower left and upper right corner of what points span."""
    return complex(z.real.min(), z.imag.min()), complex(z.real.max(), z.imag.max())


def _meets(one: complex, two: complex, size: complex) -> bool:
    """Whether the box from `one` to `two` comes near the one from 0 to `size`."""
    return (
        one.real < size.real + ASIDE
        and two.real > -ASIDE
        and one.imag < size.imag + ASIDE
        and two.imag > -ASIDE
    )


def _away(places: ComplexArray, from_: ComplexArray) -> FloatArray:
    """How far each of an array of points is from the nearest of the places."""
    away, _ = cKDTree(to_array(places)).query(to_array(from_.ravel()))
    return np.reshape(away, from_.shape)


def _noise(values: NDArray[np.uint8], level: float, contrast: float, blur: float) -> float:
    """Sigma of the values where no edge is near, on the side of the level they vary more on.

    Edges show in a row for three times their blur (px); in pictures all of whose parts are narrow nearer ones count.
    """
    sample = values[:: max(1, values.shape[0] // 200)]
    steps = np.maximum(sample[:, 1:], sample[:, :-1]) - np.minimum(sample[:, 1:], sample[:, :-1])
    for reach in (3.0 * blur, 1.5 * blur, 0.0):
        least, most = _extremes(sample, math.ceil(reach) + 1)
        sides = (least[:, 1:] - level > _PLAIN * contrast, most[:, 1:] - level < -_PLAIN * contrast)
        found = [quantiles(histogram(steps[s]), (0.68,))[0] for s in sides if s.sum() > _LEAST_PLAIN]
        if found:
            return max(found) / math.sqrt(2)
    return 0.0


def _extremes(values: NDArray[np.uint8], half: int) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Least and greatest of the `half` values before each of a row and as many from it on; mirrored at the ends."""
    wide = np.pad(values, ((0, 0), (half, half - 1)), mode="symmetric")
    count = values.shape[1]
    least = most = wide[:, :count]
    for k in range(1, 2 * half):
        least, most = np.minimum(least, wide[:, k : k + count]), np.maximum(most, wide[:, k : k + count])
    return least, most
