"""Leads: the shortest curves, none tighter than the turning radius, that bring the blade onto a line.

All functions work on whole arrays of complex points and unit directions. A lead is an arc, a straight run and
an arc (either arc may be nothing): the classic shortest paths of bounded curvature without the three-arc ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, FloatArray

_FULL = 2 * math.pi
SAGITTA = 0.004  # how far chords lie off their arc (mm): under half the working resolution
_COARSEST = 0.2
"""Widest angle (radians) between two points of an arc: its chords are then 0.17 % short at most."""


@dataclass(frozen=True, eq=False, slots=True)
class Leads:
    """Many leads at once, every field of shape (n,); `side` is +1 for a left turn, -1 for a right one.

    start, heading: where the lead begins. first, second: angles of the two arcs. straight: length between
    them; along: its direction. `source` and `target` are the indices the lead was made from.
    """

    start: ComplexArray
    heading: ComplexArray
    along: ComplexArray
    side1: FloatArray
    first: FloatArray
    straight: FloatArray
    side2: FloatArray
    second: FloatArray
    source: np.ndarray
    target: np.ndarray
    radius: float

    def __len__(self) -> int:
        return len(self.start)

    @property
    def length(self) -> FloatArray:
        """Length of each lead in mm."""
        return np.asarray(self.radius * (self.first + self.second) + self.straight)

    @property
    def turn(self) -> FloatArray:
        """Sum of the angles turned, in radians."""
        return self.first + self.second

    def middle(self) -> ComplexArray:
        """The middle of the straight run of each lead: a quick first test of where it goes."""
        return self._turned() + self.along * self.straight / 2

    def _turned(self) -> ComplexArray:
        """Where the first arc ends."""
        return np.asarray(self.start + 1j * self.side1 * self.radius * (self.heading - self.along))

    def probes(self) -> ComplexArray:
        """Four more places along each lead, (n, 4): halfway along both arcs, both ends of the straight run."""
        half = self.start + _swing(self.heading, self.side1, self.first / 2, self.radius)
        turned = self._turned()
        there = turned + self.along * self.straight
        last = there + _swing(self.along, self.side2, self.second / 2, self.radius)
        return np.stack([turned, there, half, last], axis=1)

    def pick(self, which: np.ndarray) -> Leads:
        """The leads at the given indices or where the mask is true."""
        return Leads(
            self.start[which],
            self.heading[which],
            self.along[which],
            self.side1[which],
            self.first[which],
            self.straight[which],
            self.side2[which],
            self.second[which],
            self.source[which],
            self.target[which],
            self.radius,
        )

    def lines(self) -> np.ndarray:
        """The leads as shapely linestrings, chords within 0.004 mm of the arcs; object array (n,)."""
        if len(self) == 0:
            return np.array([], dtype=object)
        step = _step(self.radius)
        n1 = np.maximum(1, np.ceil(self.first / step)).astype(int)
        n2 = np.maximum(1, np.ceil(self.second / step)).astype(int)
        along = self.heading * np.exp(1j * self.side1 * self.first)
        there = self.start + _swing(self.heading, self.side1, self.first, self.radius) + along * self.straight
        # Every lead's two arcs, one after the other.
        n, count = np.column_stack([n1, n2]).ravel(), n1 + n2 + 2
        turn, start, spin = (
            np.column_stack(pair).ravel()
            for pair in (
                (self.side1 * self.first, self.side2 * self.second),
                (self.start, there),
                (1j * self.side1 * self.heading * self.radius, 1j * self.side2 * along * self.radius),
            )
        )
        arc = np.repeat(np.arange(len(n)), n + 1)
        at = np.arange(len(arc)) - np.repeat(np.cumsum(n + 1) - (n + 1), n + 1)
        z = start[arc] + spin[arc] * (1 - np.exp(1j * (turn / n)[arc] * at))
        xy = z.view(float).reshape(-1, 2)
        return np.asarray(shapely.linestrings(xy, indices=np.repeat(np.arange(len(count)), count)))


def _swing(heading: ComplexArray, side: FloatArray, angle: FloatArray, radius: float) -> ComplexArray:
    """From the beginning of arcs to where they have turned by an angle."""
    return np.asarray(1j * side * heading * radius * (1 - np.exp(1j * side * angle)))


def _step(radius: float) -> float:
    return min(2 * math.acos(max(1 - SAGITTA / max(radius, SAGITTA), -1.0)), _COARSEST)


Pairs: TypeAlias = tuple[np.ndarray, np.ndarray]
"""Which leads are to be tried: the index of the start and that of the goal of each, (n,) both."""


def all_pairs(starts: np.ndarray, goals: np.ndarray) -> Pairs:
    """Every start (their indices) with every goal, those of the first start first."""
    return np.repeat(starts, len(goals)), np.tile(goals, len(starts))


def from_places(
    q: ComplexArray, p: ComplexArray, t: ComplexArray, radius: float, pairs: Pairs | None = None
) -> Leads:
    """Leads from places where the blade can be turned any way, to poses p with direction t.

    q (m,), p and t (n,): the given pairs, or all m * n, turning left or right onto the line; those that do not exist
    or turn more than half a circle are left out.
    """
    begin, end = pairs if pairs is not None else all_pairs(np.arange(len(q)), np.arange(len(p)))
    side = np.array([1.0, -1.0])[:, None]
    away = (p + 1j * side * t * radius)[:, end] - q[begin]
    square = away.real**2 + away.imag**2 - radius**2
    which, pair = np.nonzero(square > 0)
    source, target = begin[pair], end[pair]
    side = side.ravel()[which]
    straight = np.sqrt(square[which, pair])
    away = away[which, pair]
    w = away / (straight + 1j * side * radius) if radius > 0 else away / np.maximum(np.abs(away), 1e-12)
    angle = _angle(side * np.angle(t[target] / w))
    zero = np.zeros(len(source))
    made = Leads(q[source], w, w, zero + 1.0, zero, straight, side, angle, source, target, radius)
    return made.pick(angle < math.pi)


def from_poses(
    q: ComplexArray,
    u: ComplexArray,
    p: ComplexArray,
    t: ComplexArray,
    radius: float,
    most: float = 1.4 * math.pi,
    longest: float = math.pi,
    pairs: Pairs | None = None,
) -> Leads:
    """Leads from poses q with direction u to poses p with direction t, given pairs or all, arc-straight-arc.

    Those that do not exist, turn more than `most` radians in all or more than `longest` in one arc are left out.
    """
    begin, end = pairs if pairs is not None else all_pairs(np.arange(len(q)), np.arange(len(p)))
    side1 = np.array([1.0, 1.0, -1.0, -1.0])[:, None]
    side2 = np.array([1.0, -1.0, 1.0, -1.0])[:, None]
    between = (p + 1j * side2 * t * radius)[:, end] - (q + 1j * side1 * u * radius)[:, begin]
    apart = (side2 - side1) * radius
    square = between.real**2 + between.imag**2 - apart**2
    which, pair = np.nonzero(square > 1e-9)
    side1, side2, apart = side1.ravel(), side2.ravel(), apart.ravel()
    straight = np.sqrt(square[which, pair])
    w = between[which, pair] / (straight + 1j * apart[which])
    first = _angle(side1[which] * np.angle(w / u[begin[pair]]))
    able = first < min(longest, most)
    which, pair, straight, w, first = which[able], pair[able], straight[able], w[able], first[able]
    second = _angle(side2[which] * np.angle(t[end[pair]] / w))
    able = (second < longest) & (first + second < most)
    which, pair, straight, w, first = which[able], pair[able], straight[able], w[able], first[able]
    source, target = begin[pair], end[pair]
    return Leads(
        q[source],
        u[source],
        w,
        side1[which],
        first,
        straight,
        side2[which],
        second[able],
        source,
        target,
        radius,
    )


def _angle(raw: FloatArray) -> FloatArray:
    angle = np.mod(raw, _FULL)
    return np.where(angle > _FULL - 1e-6, 0.0, angle)
