"""Ends of narrow parts in pictures of black and white only, as their pixels' bits allow them.

A bit says that a pixel is covered by more than half, or by less. Many ends agree with all bits about a fine point:
it may lie pixels ahead or back, and any one of them is as good as the other. So the mean of all of them is taken,
each weighed by how straight its flanks go on; and a point is weighed against a square end by how large a share of
what they may be agrees.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.weighed import Weighed, weighed

_SOFT = (0.3, 0.1, 0.05, 0.02)
"""By how much of a pixel's area bits may be denied, for a likelihood of 1/e: less each time. The last is what the
areas themselves are sure to, rounded as drawing programs round them."""

_OFF, _TURN, _BEND = 0.12, 0.03, 0.013
"""Sigmas of how far flanks lie aside of where the line has them (px), turn from the way it goes there (radians), and
bend (1/px). By measurement on 1-bit pictures of tests/bench/shapes.py."""

_AHEAD, _BY = 3.0, 1.5
"""Sigmas of how far ahead of the line's own tip an end lies, and how far aside (px): hardly anything is known."""

_SKEW = 0.15
"""Sigma of how much a bar's end slants, by its width: ends are sawn, cut and drawn square."""

_LESS_LIKELY = 8.0
"""What log odds a square end has to make up for where it is narrower than its part: half of it is for the flanks of a
point, which may bow, while those of a square end are straight."""

_BOWED = 8
"""Straight pieces a bowed flank is drawn in."""

_POINT_SPREAD = np.array([1.5, 0.4, 0.25, 0.25, 0.12, 0.12])
"""How far around the first guess of a point tries are made (px): its four numbers, and where its flanks begin."""

_END_SPREAD = np.array([0.6, 0.4, 0.6, 0.4, 0.12, 0.12])
"""The same for a square end."""


@dataclass(frozen=True, slots=True)
class Flanks:
    """Where an end's flanks come from (px), their unit ways to and from it, its own tip and the unit way to it."""

    start: complex
    end: complex
    into: complex
    out: complex
    tip: complex
    axis: complex


Denied = Callable[[ComplexArray], FloatArray]
"""From ends, each a row of points from one flank to the other (n, k), to the areas (n,) their bits deny, px^2."""


def allowed(
    flanks: Flanks, denied: Denied, point: FloatArray, square: FloatArray
) -> tuple[ComplexArray, int]:
    """The end that bits allow, as points from one flank to the other, and how many corners it has: one or two.

    point: first guess of a point's place ahead and aside of the tip and of how far both flanks bow; square: the same
    of both corners' places; px.
    """
    tip = weighed(
        _density(flanks, denied, points_of, _point_prior(flanks)), *_begun(point, _POINT_SPREAD), _SOFT
    )
    level = np.array([(square[0] + square[2]) / 2, square[1], (square[0] + square[2]) / 2, square[3]])
    end = weighed(_density(flanks, denied, ends_of, _end_prior(level)), *_begun(level, _END_SPREAD), _SOFT)
    if _odds(flanks, end) > tip.evidence:
        return ends_of(flanks, end.mean[None])[0], 2
    return points_of(flanks, tip.mean[None])[0], 1


def _odds(flanks: Flanks, end: Weighed) -> float:
    wide = abs(end.mean[3] - end.mean[1]) > 0.7 * abs(flanks.end - flanks.start)
    return end.evidence - (0.0 if wide else _LESS_LIKELY)


def _begun(numbers: FloatArray, spread: FloatArray) -> tuple[FloatArray, FloatArray]:
    return np.append(numbers, [0.0, 0.0]), spread


_Shape = Callable[[Flanks, FloatArray], ComplexArray]
_Log = Callable[[FloatArray], FloatArray]


def _density(
    flanks: Flanks, denied: Denied, shape: _Shape, prior: _Log
) -> Callable[[FloatArray, float], FloatArray]:
    """Log density of numbers (n, 6), but for a factor that all shapes share."""

    def log(numbers: FloatArray, softness: float) -> FloatArray:
        drawn = shape(flanks, numbers)
        ways = drawn[:, [1, -1]] - drawn[:, [0, -2]]
        turns = np.angle(ways * np.array([flanks.into, flanks.out]).conj()) / _TURN
        apart = np.concatenate([turns, numbers[:, 4:] / _OFF], axis=1)
        return np.asarray(prior(numbers) - 0.5 * (apart**2).sum(axis=1) - denied(drawn) / softness)

    return log


def _point_prior(flanks: Flanks) -> _Log:
    arm = abs(flanks.start - flanks.tip), abs(flanks.end - flanks.tip)
    # A bend b bows a flank of length l by b l^2 / 8.
    sigmas = np.array([_AHEAD, _BY, _BEND * arm[0] ** 2 / 8, _BEND * arm[1] ** 2 / 8])
    return lambda numbers: _normal(numbers[:, :4] / sigmas, sigmas)


def _end_prior(level: FloatArray) -> _Log:
    def log(numbers: FloatArray) -> FloatArray:
        ahead, aside = numbers[:, [0, 2]], numbers[:, [1, 3]]
        width = np.maximum(np.abs(aside[:, 1] - aside[:, 0]), 0.5)
        skewed = (ahead[:, 1] - ahead[:, 0]) / (_SKEW * width)
        parts = np.column_stack([ahead.mean(axis=1) / _AHEAD, (aside - level[[1, 3]]) / _BY, skewed])
        # Per px of the second corner's place.
        return _normal(parts, np.array([_AHEAD, _BY, _BY, _SKEW])) - np.log(width)

    return log


def _normal(parts: FloatArray, sigmas: FloatArray) -> FloatArray:
    """Log density of numbers given in sigmas (n, k)."""
    scale = float(np.log(sigmas).sum()) + 0.5 * len(sigmas) * math.log(2 * math.pi)
    return np.asarray(-0.5 * (parts**2).sum(axis=1) - scale)


def _begins(flanks: Flanks, numbers: FloatArray) -> tuple[ComplexArray, ComplexArray]:
    start = np.asarray(flanks.start + 1j * flanks.into * numbers[:, 4])
    return start, np.asarray(flanks.end + 1j * flanks.out * numbers[:, 5])


def points_of(flanks: Flanks, numbers: FloatArray) -> ComplexArray:
    """Two bowed flanks that meet, for numbers (n, 6): place of the point ahead and aside of the tip, how far the
    flanks bow to the right, how far to the left they begin."""
    start, end = _begins(flanks, numbers)
    apex = flanks.tip + flanks.axis * (numbers[:, 0] + 1j * numbers[:, 1])
    one, two = _bowed(start, apex, numbers[:, 2]), _bowed(apex, end, numbers[:, 3])
    return np.concatenate([one, two[:, 1:]], axis=1)


def _bowed(a: ComplexArray, b: ComplexArray, height: FloatArray) -> ComplexArray:
    t = np.linspace(0.0, 1.0, _BOWED + 1)
    run = (b - a)[:, None]
    way = run / np.maximum(np.abs(run), 1e-9)
    return np.asarray(a[:, None] + run * t - 1j * way * (4 * height[:, None]) * t * (1 - t))


def ends_of(flanks: Flanks, numbers: FloatArray) -> ComplexArray:
    """Two straight flanks and a straight end, for numbers (n, 6): both corners' places ahead and aside of the tip,
    how far to the left the flanks begin."""
    start, end = _begins(flanks, numbers)
    corners = [flanks.tip + flanks.axis * (numbers[:, k] + 1j * numbers[:, k + 1]) for k in (0, 2)]
    return np.stack([start, *corners, end], axis=1)
