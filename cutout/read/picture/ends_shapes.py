"""Shapes that a narrow part may end in: a point, a straight end, a half circle; laid over a picture."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.ends_noticed import Arms

_BAR = 0.7
"""Share of the distance between its flanks that a bar's end is wide, at least."""

_STEP = 0.5
"""How near to one another (px) points of a round end are drawn: half a pixel is nearer than the picture shows."""


@dataclass(frozen=True, slots=True)
class Fit:
    """A shape laid over the picture: its root mean square miss, its points, its corners and its numbers."""

    missed: float
    points: ComplexArray
    corners: tuple[complex, ...]
    numbers: FloatArray


@dataclass(frozen=True, slots=True)
class Laid:
    """What stands for points first..last of a line, and which of it are corners."""

    first: int
    last: int
    points: ComplexArray
    corners: tuple[complex, ...]


Shape: TypeAlias = Callable[[Arms, FloatArray], tuple[ComplexArray, tuple[complex, ...]]]


def pointed(arms: Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Flanks that meet; p: where (along the axis and aside of it, from the line's tip) and how far each bows, px."""
    apex = arms.tip + arms.axis * complex(p[0], p[1])
    one, two = _bow(arms.start, apex, p[2]), _bow(apex, arms.end, p[3])
    return np.concatenate([one, two[1:]]), (apex,)


def cut_off(arms: Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Straight flanks and a straight end; p: both corners' places, along the axis and aside of it, px."""
    one, two = (arms.tip + arms.axis * complex(a, b) for a, b in ((p[0], p[1]), (p[2], p[3])))
    runs = (_bow(arms.start, one, 0.0), _bow(one, two, 0.0)[1:], _bow(two, arms.end, 0.0)[1:])
    return np.concatenate(runs), (one, two)


def rounded_off(arms: Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """Straight flanks and a half circle between them; p: corners of the square round it, as of an end cut off."""
    one, two = (arms.tip + arms.axis * complex(a, b) for a, b in ((p[0], p[1]), (p[2], p[3])))
    middle, half = (one + two) / 2, (two - one) / 2
    into = (one - arms.start) / max(abs(one - arms.start), 1e-9) - (arms.end - two) / max(
        abs(arms.end - two), 1e-9
    )
    ahead = into / max(abs(into), 1e-9) * abs(half)
    turn = np.linspace(0.0, math.pi, max(9, round(math.pi * abs(half) / _STEP)))
    cap = middle - ahead - half * np.cos(turn) + ahead * np.sin(turn)
    runs = (_bow(arms.start, complex(cap[0]), 0.0), cap[1:], _bow(complex(cap[-1]), arms.end, 0.0)[1:])
    return np.concatenate(runs), ()


def width_of(rounded: ComplexArray) -> float:
    """How wide an end rounded off is, by its points: its cap is the part of them that turns."""
    turns = np.abs(np.angle(np.diff(rounded)[1:] / np.diff(rounded)[:-1]))
    cap = np.flatnonzero(turns > 1e-3)
    return float(abs(rounded[cap[-1] + 1] - rounded[cap[0] + 1])) if len(cap) > 1 else 0.0


def _bow(a: complex, b: complex, height: float) -> ComplexArray:
    """A parabola from a to b that stands `height` to the right of its chord's middle, at steps of about _STEP."""
    t, left = _even(max(3, round(abs(b - a) / _STEP) + 1))
    straight = a + (b - a) * t
    if not height:
        return np.asarray(straight)
    way = (b - a) / max(abs(b - a), 1e-9)
    return np.asarray(straight - 1j * way * (4 * height) * t * left)


@lru_cache(maxsize=1024)
def _even(count: int) -> tuple[FloatArray, FloatArray]:
    """So many even shares from 0 to 1, and the same of what is left."""
    t = np.linspace(0.0, 1.0, count)
    return t, 1 - t


def stepped(z: ComplexArray) -> ComplexArray:
    """Straight runs from point to point, at steps of about _STEP."""
    runs = [_bow(complex(a), complex(b), 0.0) for a, b in itertools.pairwise(z)]
    return np.concatenate([runs[0], *(run[1:] for run in runs[1:])])


def squared(arms: Arms) -> FloatArray:
    """Corners where the flanks, gone on straight, come level with the line's own tip."""
    out: list[float] = []
    for at, way in ((arms.start, arms.into), (arms.end, -arms.out)):
        ahead = max((way * arms.axis.conjugate()).real, 0.5)
        t = ((arms.tip - at) * arms.axis.conjugate()).real / ahead
        out += [0.0, ((at + way * t - arms.tip) * arms.axis.conjugate()).imag]
    return np.array(out)


def is_bar(corners: tuple[complex, ...], arms: Arms) -> bool:
    """Whether an end with two corners is about as wide as its flanks are apart."""
    return abs(corners[1] - corners[0]) > _BAR * abs(arms.end - arms.start)


def nearer(one: Fit, two: Fit) -> Fit:
    """The one that misses less, the first of equals."""
    return one if one.missed <= two.missed else two


def lies_across(corners: tuple[complex, ...], axis: complex) -> bool:
    """Whether an end lies across its part rather than along a flank."""
    way = (corners[-1] - corners[0]) * axis.conjugate()
    return abs(way.real) < abs(way.imag)
