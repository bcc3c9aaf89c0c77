"""Stretches of closed polylines, and which lines and arcs each of them can be.

An arc between two given ends has one freedom left, its curvature. Every point the arc must pass within a
tolerance leaves it an interval, so a stretch can be one arc exactly if the intervals of all its points
share a value: no circle is ever fitted and then tested.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, FloatArray

IntArray: TypeAlias = NDArray[np.intp]
BoolArray: TypeAlias = NDArray[np.bool_]
Number = TypeVar("Number", np.complex128, np.intp)

_STEEPEST = 10.0
"""Greatest tan(sweep / 2): arcs turn a little under half a circle at most."""
_BATCH = 10_000
"""Points worked on at once, few enough to stay in the processor's cache."""
_MIDDLE = 0.25
"""The middle of an edge is looked at too where an arc could bulge from it by this share of the tolerance."""
_GLANCE = 5
"""Points of a stretch looked at first."""


@dataclass(frozen=True, eq=False, slots=True)
class Stretches:
    """Stretches of polylines, ring after ring: ring, first vertex, number of edges; all (n,)."""

    ring: IntArray
    start: IntArray
    steps: IntArray

    def before(self) -> IntArray:
        """For each stretch the place of the one before it in its ring."""
        first, last = self._ends()
        place = np.arange(len(self.ring)) - 1
        place[first] = last
        return place

    def after(self) -> IntArray:
        """For each stretch the place of the one after it in its ring."""
        before = self.before()
        place = np.empty_like(before)
        place[before] = np.arange(len(before))
        return place

    def every_second(self, colour: int, least: int) -> IntArray:
        """Places of every second stretch of each ring, no two of them neighbours, none in rings below `least`.

        Colours 0, 1 and 2 together are all of them; 2 is the last one of a ring of an odd number.
        """
        first, last = self._ends()
        size = np.repeat(last - first + 1, last - first + 1)
        nth = np.arange(len(self.ring)) - np.repeat(first, last - first + 1)
        odd_end = (nth == size - 1) & (size % 2 == 1)
        return np.flatnonzero((size >= least) & (np.where(odd_end, 2, nth % 2) == colour))

    def halved(self, over: BoolArray, path: Path) -> Stretches:
        """Each stretch that went `over` as two."""
        twice = np.repeat(np.arange(len(over)), 1 + over)
        second = np.r_[False, twice[1:] == twice[:-1]]
        half = (self.steps // 2)[twice]
        split = over[twice]
        start = np.where(second, path.vertex(self.start[twice], half), self.start[twice])
        steps = np.where(second, self.steps[twice] - half, np.where(split, half, self.steps[twice]))
        return Stretches(self.ring[twice], start, steps)

    def _ends(self) -> tuple[IntArray, IntArray]:
        new = np.flatnonzero(np.r_[True, self.ring[1:] != self.ring[:-1]])
        return new, np.append(new[1:], len(self.ring)) - 1


class Path:
    """Closed polylines end to end, and the tests of their stretches.

    A stretch is a first vertex, counted over all rings, and a number of edges it goes along its ring.
    """

    def __init__(self, rings: list[ComplexArray], tol: float) -> None:
        sizes = np.array([len(z) for z in rings], dtype=np.intp)
        self.tol = tol
        self.ring = np.repeat(np.arange(len(rings)), sizes)
        self.size = sizes[self.ring]
        self.base = (np.cumsum(sizes) - sizes)[self.ring]
        self.z = np.concatenate(rings)
        own = np.cumsum(sizes) - sizes
        self.again = np.arange(len(self.z)) + own[self.ring]
        self.number = _twice(np.arange(len(self.z)), own)
        following = self.number[self.again + 1]
        edge = self.z[following] - self.z
        turn = np.empty(len(self.z))
        turn[following] = np.abs(np.angle(edge[following] / edge))
        bulge = np.abs(edge) * np.maximum(turn, turn[following]) / 8
        probed = bulge > _MIDDLE * tol
        self.place = np.arange(len(self.z)) + np.cumsum(probed) - probed
        probes = np.empty(len(self.z) + int(probed.sum()), dtype=complex)
        probes[self.place] = self.z
        probes[self.place[probed] + 1] = self.z[probed] + edge[probed] / 2
        begin = self.place[np.cumsum(sizes) - sizes]
        count = np.diff(np.append(begin, len(probes)))
        self.probes_of = count[self.ring]
        # What is looked at stands there twice over for each ring, so that no stretch has to be wrapped round.
        self.probes = _twice(probes, begin)
        self.twice = self.place + begin[self.ring]
        self.vertices, self.edges = _twice(self.z, own), _twice(edge, own)
        self.squares = np.maximum(np.abs(self.edges) ** 2, 1e-300)

    def vertex(self, start: IntArray, along: IntArray) -> IntArray:
        """The vertex so many edges after another, round its ring: once round at most."""
        return np.asarray(self.number[self.again[start] + along])

    def ends(self, start: IntArray, steps: IntArray) -> tuple[ComplexArray, ComplexArray]:
        """First and last point of each stretch."""
        return self.z[start], self.z[self.vertex(start, steps)]

    def inside(self, start: IntArray, steps: IntArray) -> IntArray:
        """How many points there are to look at between the ends of each stretch."""
        between = self.place[self.vertex(start, steps)] - self.place[start] - 1
        return np.asarray(np.where(between < 0, between + self.probes_of[start], between))

    def interval(
        self, start: IntArray, steps: IntArray, most: int | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Least and greatest q of the arcs that pass every vertex and middle of a long edge closely enough.

        Of a long stretch only `most` of them, evenly spread, are looked at, where that is given.

        q = 1 / c, c the distance of the arc's centre from its chord, to the left of travel. A circle
        through the chord's ends, half chord h, passes within t of (x, y), measured from the chord's
        middle, if (A q - 2 y)^2 <= 4 t^2 (h^2 q^2 + 1) with A = x^2 + y^2 - h^2 - t^2. A point closer to
        an end than about t leaves q free. An empty interval has its least above its greatest.
        """
        inside = self.inside(start, steps)
        counts = inside if most is None else np.minimum(inside, most)
        if not counts.all():
            # No point between the ends: any arc will do.
            few, many = np.flatnonzero(counts == 0), np.flatnonzero(counts)
            half = np.maximum(np.abs(np.subtract(*self.ends(start[few], steps[few]))) / 2, 1e-12)
            low, high = np.empty(len(start)), np.empty(len(start))
            low[few], high[few] = -_STEEPEST / half, _STEEPEST / half
            if len(many):
                low[many], high[many] = self.interval(start[many], steps[many], most)
            return low, high
        low, high = np.empty(len(start)), np.empty(len(start))
        for rows in _batches(counts):
            low[rows], high[rows] = self._interval(start[rows], steps[rows], counts[rows], inside[rows])
        return low, high

    def _interval(
        self, start: IntArray, steps: IntArray, counts: IntArray, inside: IntArray
    ) -> tuple[FloatArray, FloatArray]:
        """The same of stretches with counts that rise: the last point of each stands for those it has fewer."""
        a, b = self.ends(start, steps)
        half = np.maximum(np.abs(b - a) / 2, 1e-12)
        # In half chords, turned so that the chord lies level: its ends are at -1 and 1.
        turn = (b - a).conjugate() / (2 * half * half)
        place = self._looked_at(start, counts, inside)
        local = self.probes[place]
        local *= turn
        local -= (a + b) / 2 * turn
        t = self.tol / half
        tt, y = t * t, local.imag
        A, root = local.real**2, y**2
        A += root
        A -= 1
        A -= tt
        outer = -2 * t <= A
        below = A * A
        root -= tt
        root *= 4
        root += below
        np.sqrt(np.maximum(root, 0.0, out=root), out=root)
        root *= 2 * t
        below -= 4 * tt
        A *= 2
        A *= y
        some = outer.any()
        if some:
            below[outer] = 1.0
        low, high = A - root, A
        high += root
        low /= below
        high /= below
        if some:
            near = local[outer]
            free = (np.abs(near.real) - 1) ** 2 + near.imag**2 <= np.broadcast_to(tt, outer.shape)[outer]
            low[outer], high[outer] = np.where(free, -np.inf, np.inf), np.where(free, np.inf, -np.inf)
        most = _STEEPEST / half
        return np.maximum(low.max(axis=0) / half, -most), np.minimum(high.min(axis=0) / half, most)

    def _looked_at(self, start: IntArray, counts: IntArray, inside: IntArray) -> IntArray:
        """Which points of each stretch to look at: evenly spread where there are fewer than it has; in columns."""
        nth = np.arange(int(counts[-1]))[:, None]
        if counts[0] != counts[-1]:
            nth = np.minimum(nth, counts - 1)
        if (counts < inside).any():
            among = counts[0] + 1 if counts[0] == counts[-1] else counts + 1
            nth = (nth + 1) * (inside + 1) // among - 1
        return np.asarray(self.twice[start] + 1 + nth)

    def feasible(self, start: IntArray, steps: IntArray) -> BoolArray:
        """Whether one arc or line will do for each stretch; most that won't fail on a few points."""
        low, high = self.interval(start, steps, _GLANCE)
        ok = np.asarray(low <= high)
        maybe = np.flatnonzero(ok & (self.inside(start, steps) > _GLANCE))
        if len(maybe):
            low, high = self.interval(start[maybe], steps[maybe])
            ok[maybe] = low <= high
        return ok

    def bulges(self, start: IntArray, steps: IntArray) -> FloatArray:
        """Bulge of one arc per stretch, in the middle of what it may be; 0 where a line will do."""
        return self.middle(start, steps, *self.interval(start, steps))

    def misfit(self, start: IntArray, steps: IntArray) -> FloatArray:
        """Greatest distance of each stretch from the one arc it gets, whether or not one will do."""
        return self.deviations(start, steps, self.bulges(start, steps))

    def fitted(self, start: IntArray, steps: IntArray) -> tuple[FloatArray, FloatArray]:
        """Greatest distance of each stretch from its one arc, infinite where none will do, and the arc's bulge."""
        away, bulge = np.full(len(start), np.inf), np.zeros(len(start))
        if not len(start):
            return away, bulge
        # Most that won't fail on a few points.
        low, high = self.interval(start, steps, _GLANCE)
        at = np.flatnonzero(low <= high)
        if len(at):
            low, high = self.interval(start[at], steps[at])
            at, low, high = at[low <= high], low[low <= high], high[low <= high]
        if len(at):
            bulge[at] = self.middle(start[at], steps[at], low, high)
            away[at] = self.deviations(start[at], steps[at], bulge[at])
        return away, bulge

    def middle(self, start: IntArray, steps: IntArray, low: FloatArray, high: FloatArray) -> FloatArray:
        """Bulges in the middle of intervals."""
        a, b = self.ends(start, steps)
        half = np.abs(b - a) / 2
        middle = (np.tan(np.arctan(low * half) / 2) + np.tan(np.arctan(high * half) / 2)) / 2
        return np.where((low <= 0) & (high >= 0), 0.0, middle)

    def deviations(self, start: IntArray, steps: IntArray, bulges: FloatArray) -> FloatArray:
        """Greatest distance of each stretch from its arc or line, edges included.

        Along an edge the distance from the arc's centre is greatest at an end and least at the foot of
        the perpendicular. The polyline runs from one end of the arc to the other, so no point of the arc
        is farther from the polyline either.
        """
        a, b = self.ends(start, steps)
        curved = np.where(bulges == 0, 1.0, bulges)
        centre = (a + b) / 2 + (b - a) * 0.25j * (1 / curved - curved)
        radius = np.abs(a - centre)
        off = np.empty(len(start))
        for rows in _batches(steps):
            off[rows] = self._farthest(start[rows], steps[rows], centre[rows], radius[rows])
        straight = np.flatnonzero(bulges == 0)
        for rows in _batches(steps[straight]) if len(straight) else ():
            at = straight[rows]
            off[at] = self._aside(start[at], steps[at], a[at], b[at])
        return off

    def _farthest(
        self, start: IntArray, steps: IntArray, centre: ComplexArray, radius: FloatArray
    ) -> FloatArray:
        """Greatest distance of each stretch, with steps that rise, from its circle."""
        place = self._passed(start, steps)
        edge, spoke = self.edges[place], centre - self.vertices[place]
        share = np.clip((spoke * edge.conjugate()).real / self.squares[place], 0.0, 1.0)
        near, far = np.abs(spoke - share * edge), np.abs(spoke)
        near -= radius
        far -= radius
        return np.asarray(np.maximum(np.abs(far, out=far), np.abs(near, out=near), out=far).max(axis=0))

    def _aside(self, start: IntArray, steps: IntArray, a: ComplexArray, b: ComplexArray) -> FloatArray:
        """Greatest distance of each stretch, with steps that rise, from the line through its ends."""
        unit = (b - a).conjugate() / np.maximum(np.abs(b - a), 1e-300)
        p = self.vertices[self._passed(start, steps)]
        return np.asarray(np.abs((p * unit - a * unit).imag).max(axis=0))

    def _passed(self, start: IntArray, steps: IntArray) -> IntArray:
        """Where the vertices stand that each stretch passes, its last one left out; in columns."""
        return np.asarray(self.again[start] + np.minimum(np.arange(int(steps[-1]))[:, None], steps - 1))


def _batches(counts: IntArray) -> list[IntArray]:
    """Stretches by how many points they have, rising, in batches: with about as many they are worked on together, as
    the columns of arrays."""
    if (counts != counts[0]).any():
        # Numbers of 16 bits are sorted by counting, which is several times as quick.
        small = counts.max() < 1 << 16
        by_count = np.argsort(counts.astype(np.uint16) if small else counts, kind="stable")
    else:
        by_count = np.arange(len(counts))
    heap = np.cumsum(counts[by_count]) // _BATCH
    return np.split(by_count, np.flatnonzero(np.diff(heap)) + 1)


def _twice(values: NDArray[Number], begin: IntArray) -> NDArray[Number]:
    """Each ring's values, and the same once more after them; begin: where each ring's start."""
    return np.concatenate([again for own in np.split(values, begin[1:]) for again in (own, own)])
