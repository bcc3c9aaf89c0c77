"""Shapes that a narrow part may end in: a point, a straight end, a half circle; laid over a picture."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.picture.ends_noticed import Arms

IntArray = NDArray[np.int64]

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


@dataclass(frozen=True, slots=True)
class Bases:
    """Where the flanks of some ends come from, the lines' own tips, and the unit ways to those; each (n, 1)."""

    start: ComplexArray
    end: ComplexArray
    tip: ComplexArray
    axis: ComplexArray

    @classmethod
    def of(cls, arms: Sequence[Arms]) -> Bases:
        """The same of each of some ends."""
        parts = np.array([(a.start, a.end, a.tip, a.axis) for a in arms], dtype=np.complex128)
        return cls(*parts.T[:, :, None])

    def at(self, which: IntArray) -> Bases:
        """Some of them."""
        return Bases(self.start[which], self.end[which], self.tip[which], self.axis[which])

    def place(self, ahead: FloatArray, aside: FloatArray) -> ComplexArray:
        """Places (n, q) so far along the axes and aside of them, from the tips, px."""
        return np.asarray(self.tip + self.axis * (ahead + 1j * aside))


Shape: TypeAlias = Callable[[Bases, FloatArray], ComplexArray]
"""From ends and numbers (n, q, 4) to points (n, q, k) from one arm to the other.

The second and following shapes of an end have as many points as its first, so that each moves as the numbers do.
Where an end has fewer points than others, its last one is repeated.
"""


def pointed(bases: Bases, p: FloatArray) -> ComplexArray:
    """Flanks that meet; p: where (along the axis and aside of it, from the line's tip) and how far each bows, px."""
    apex = bases.place(p[..., 0], p[..., 1])
    one, two = _bow(bases.start, apex, p[..., 2]), _bow(apex, bases.end, p[..., 3])
    return np.concatenate([one, two[..., 1:]], axis=2)


def cut_off(bases: Bases, p: FloatArray) -> ComplexArray:
    """Straight flanks and a straight end; p: both corners' places, along the axis and aside of it, px."""
    one, two = bases.place(p[..., 0], p[..., 1]), bases.place(p[..., 2], p[..., 3])
    start, end = np.broadcast_arrays(bases.start, one)[0], np.broadcast_arrays(bases.end, two)[0]
    return np.stack([start, one, two, end], axis=2)


def rounded_off(bases: Bases, p: FloatArray) -> ComplexArray:
    """Straight flanks and a half circle between them; p: corners of the square round it, as of an end cut off."""
    z = cut_off(bases, p)
    one, two = z[..., 1], z[..., 2]
    middle, half = (one + two) / 2, (two - one) / 2
    into = _unit(one - bases.start) - _unit(bases.end - two)
    ahead = _unit(into) * np.abs(half)
    many = np.maximum(9, np.round(math.pi * np.abs(half[:, 0]) / _STEP))
    turn = math.pi * _even(many)[:, None]
    cap = (middle - ahead)[..., None] - half[..., None] * np.cos(turn) + ahead[..., None] * np.sin(turn)
    return np.concatenate([z[..., :1], cap, z[..., 3:]], axis=2)


def finished(shape: Shape, arms: Arms, p: FloatArray) -> tuple[ComplexArray, tuple[complex, ...]]:
    """The points of a shape of numbers p (4,), at steps of about _STEP, and which of them are corners."""
    bases = Bases.of([arms])
    z = shape(bases, p[None, None])[0, 0]
    if shape is pointed:
        return z, (complex(bases.place(p[:1], p[1:2])[0, 0]),)
    if shape is cut_off:
        return stepped(z), (complex(z[1]), complex(z[2]))
    return np.concatenate([stepped(z[:2]), z[2:-1], stepped(z[-2:])[1:]]), ()


def width_of(rounded: ComplexArray) -> float:
    """How wide an end rounded off is, by its points: its cap is the part of them that turns."""
    turns = np.abs(np.angle(np.diff(rounded)[1:] / np.diff(rounded)[:-1]))
    cap = np.flatnonzero(turns > 1e-3)
    return float(abs(rounded[cap[-1] + 1] - rounded[cap[0] + 1])) if len(cap) > 1 else 0.0


def _bow(a: ComplexArray, b: ComplexArray, height: FloatArray) -> ComplexArray:
    """Parabolas from a to b (n, q) that stand `height` to the right of their chords' middles; (n, q, k).

    In steps of about _STEP, as the first of each n has them.
    """
    chord = b - a
    t = _even(_steps(chord[:, 0]))[:, None]
    bent = (-4j * _unit(chord) * height)[..., None]
    return np.asarray(np.broadcast_to(a, chord.shape)[..., None] + chord[..., None] * t + bent * t * (1 - t))


def _steps(chord: ComplexArray) -> FloatArray:
    """How many points stand for straight runs (n,), ends included."""
    return np.asarray(np.maximum(3.0, np.round(np.abs(chord) / _STEP) + 1.0))


def _even(many: FloatArray) -> FloatArray:
    """So many even shares from 0 to 1 in each row, and then ones; (n, k)."""
    t = np.arange(many.max()) * (1.0 / (many - 1.0))[:, None]
    return np.where(np.arange(many.max()) < many[:, None] - 1.0, t, 1.0)


def _unit(way: ComplexArray) -> ComplexArray:
    return np.asarray(way / np.maximum(np.abs(way), 1e-9))


def stepped(z: ComplexArray) -> ComplexArray:
    """Straight runs from point to point, at steps of about _STEP."""
    chord = np.diff(z)
    many = _steps(chord).astype(np.int64) - 1
    share = (np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)) / np.repeat(many, many)
    return np.append(np.repeat(z[:-1], many) + np.repeat(chord, many) * share, z[-1])


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
