"""Curves carried through boolean operations: flattened on the way in, found again on the way out."""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom import curve
from cutout.geom.curve import Arc, ComplexArray, Cubic, FloatArray, Line, Segment
from cutout.geom.outline import Ring, from_region

IntArray = NDArray[np.int64]


ENOUGH = 1e-6
"""Flattening finer than this share of a curve's own size serves nobody: such a curve leaves the page far behind."""


def flattened(segment: Segment, tol: float) -> ComplexArray:
    """Points along a segment within `tol`, or within a millionth of its size where that is more."""
    handles = (segment.c1, segment.c2) if isinstance(segment, Cubic) else ()
    size = max(abs(z - segment.start) for z in (*handles, segment.end))
    if isinstance(segment, Arc):
        size = max(size, segment.radius)
    return curve.points(segment, max(tol, ENOUGH * size))


class CurveBook:
    """Remembers which curve each flattened edge came from.

    GEOS hands back the edges it did not have to split bit for bit, so a result ring is matched edge by edge;
    whatever part of a curve came through whole becomes that part of the curve again.
    """

    def __init__(self, tol: float) -> None:
        self.tol = tol
        self._curves: list[Arc | Cubic] = []
        self._runs: list[ComplexArray] = []

    def flatten(self, segments: tuple[Segment, ...]) -> FloatArray:
        """Vertices along the run within `tol`, the last point included; (n, 2)."""
        pieces: list[ComplexArray] = []
        for segment in segments:
            z = flattened(segment, self.tol)
            if not isinstance(segment, Line) and len(z) > 2:
                self._curves.append(segment)
                self._runs.append(z)
            pieces.append(z[:-1])
        pieces.append(np.array([segments[-1].end]))
        return curve.to_array(np.concatenate(pieces))

    def rings(self, region: shapely.Geometry) -> tuple[Ring, ...]:
        """Rings round a region, outers counter-clockwise, holes clockwise, with their curves back."""
        plain = from_region(region)
        if not self._curves or not plain:
            return plain
        starts = [np.array([s.start for s in ring.segments]) for ring in plain]
        ends = [np.array([s.end for s in ring.segments]) for ring in plain]
        owner, step = self._look_up(np.concatenate(starts), np.concatenate(ends))
        cuts = np.cumsum([len(s) for s in starts])[:-1]
        parts = zip(plain, np.split(owner, cuts), np.split(step, cuts), strict=True)
        return tuple(self._ring(ring, own, at) for ring, own, at in parts)

    def _look_up(self, a: ComplexArray, b: ComplexArray) -> tuple[IntArray, IntArray]:
        """For each edge the curve it lies on (or -1) and its step there, counted from 1, negative backwards."""
        count = np.array([len(z) - 1 for z in self._runs])
        from_ = np.concatenate([z[:-1] for z in self._runs])
        to = np.concatenate([z[1:] for z in self._runs])
        of = np.repeat(np.arange(len(count)), count)
        at = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count) + 1
        keys = _hash(np.concatenate([from_, to]), np.concatenate([to, from_]))
        order = np.argsort(keys, kind="stable")
        place = np.minimum(np.searchsorted(keys[order], _hash(a, b)), len(order) - 1)
        hit = order[place]
        backwards = hit >= len(of)
        edge = np.where(backwards, hit - len(of), hit)
        same = (np.where(backwards, to[edge], from_[edge]) == a) & (
            np.where(backwards, from_[edge], to[edge]) == b
        )
        step = np.where(backwards, -at[edge], at[edge])
        return np.where(same, of[edge], -1), np.where(same, step, 0)

    def _ring(self, ring: Ring, owner: IntArray, step: IntArray) -> Ring:
        n = len(owner)
        if n == 0 or (owner < 0).all():
            return ring
        before = np.arange(n) - 1
        follows = (owner >= 0) & (owner == owner[before]) & (step == step[before] + 1)
        firsts = np.flatnonzero(~follows)
        if len(firsts) == 0:
            return ring
        made: list[Segment] = []
        for k, first in enumerate(firsts.tolist()):
            after = int(firsts[(k + 1) % len(firsts)])
            last = (after - 1) % n
            if owner[first] < 0 or first == last:
                made.append(ring.segments[first])
                continue
            ends = ring.segments[first].start, ring.segments[last].end
            made.append(self._part(int(owner[first]), int(step[first]), int(step[last]), *ends))
        return Ring(tuple(made)) if len(made) > 1 or isinstance(made[0], Cubic) else ring

    def _part(self, owner: int, first: int, last: int, start: complex, end: complex) -> Segment:
        """The stretch of a curve over steps first..last; pinned to the flattened end points."""
        whole, steps = self._curves[owner], len(self._runs[owner]) - 1
        if first < 0:
            whole, first, last = _reversed(whole), steps + 1 + first, steps + 1 + last
        t0, t1 = (first - 1) / steps, last / steps
        if isinstance(whole, Arc):
            return Arc(start, end, math.tan(whole.sweep * (t1 - t0) / 4))
        c1, c2 = _sub_handles(whole, t0, t1)
        return Cubic(start, c1, c2, end)


def _reversed(segment: Arc | Cubic) -> Arc | Cubic:
    if isinstance(segment, Arc):
        return Arc(segment.end, segment.start, -segment.bulge)
    return Cubic(segment.end, segment.c2, segment.c1, segment.start)


def _sub_handles(cubic: Cubic, t0: float, t1: float) -> tuple[complex, complex]:
    """Handles of the cubic between two parameters (its blossom)."""
    z = (cubic.start, cubic.c1, cubic.c2, cubic.end)

    def blossom(r: float, s: float, t: float) -> complex:
        a = [z[i] + (z[i + 1] - z[i]) * r for i in range(3)]
        b = [a[i] + (a[i + 1] - a[i]) * s for i in range(2)]
        return b[0] + (b[1] - b[0]) * t

    return blossom(t0, t0, t1), blossom(t0, t1, t1)


def _hash(a: ComplexArray, b: ComplexArray) -> NDArray[np.uint64]:
    """A 64 bit key per edge; equal edges have equal keys."""
    with np.errstate(over="ignore"):
        key = np.zeros(len(a), dtype=np.uint64)
        for part in (a.real, a.imag, b.real, b.imag):
            bits = (part + 0.0).view(np.uint64)
            key = (key ^ bits) * np.uint64(0x9E3779B97F4A7C15)
            key ^= key >> np.uint64(29)
    return key
