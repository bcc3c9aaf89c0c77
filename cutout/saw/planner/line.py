"""The lines to saw: where the blade's centre may go, cut into stretches the blade follows without a stop."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Polygon

from cutout.geom.curve import ComplexArray, FloatArray, run_length, stations, to_complex
from cutout.saw.planner.band import runs
from cutout.saw.planner.lead import SAGITTA

SIMPLE = (0.002, 0.015, 0.03)
"""The line may be simplified by one of these (mm) before it is rounded to the blade's turning radius.

A drawn arc needs little, a traced line more: whichever leaves the fewest stops is taken.
"""
ROUND = 0.05
"""A vertex is passed in one go if a curve of the turning radius leaves it by no more than this (mm)."""


@dataclass(frozen=True, eq=False, slots=True)
class Stretch:
    """A run of the line that the blade follows in one go, in one of its two directions.

    z: points (n,), complex, mm. s: distance along from the first point, 0 where the line itself begins and
    `length` where it ends; before 0 and after `length` lie straight extensions into waste. closed: the line
    is a whole ring without a stop; z then goes round twice. inside: whether it begins, and whether it ends, in
    an inside corner, where the blade stands before wood.
    """

    z: ComplexArray
    s: FloatArray
    length: float
    closed: bool = False
    inside: tuple[bool, bool] = (False, False)

    def at(self, s: FloatArray) -> ComplexArray:
        """Points at distances s."""
        return np.asarray(np.interp(s, self.s, self.z))

    def pose(self, s: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Points and unit directions at distances s; exact on the points' chords."""
        i = np.clip(np.searchsorted(self.s, s, side="right") - 1, 0, len(self.z) - 2)
        d = self.z[i + 1] - self.z[i]
        return self.at(s), d / np.maximum(np.abs(d), 1e-12)

    def part(self, s0: float, s1: float) -> ComplexArray:
        """The points from s0 to s1."""
        first = int(np.searchsorted(self.s, s0 + 1e-6, side="right"))
        last = int(np.searchsorted(self.s, s1 - 1e-6, side="left"))
        ends = self.at(np.array([s0, s1]))
        return np.concatenate([ends[:1], self.z[first:last], ends[1:]])

    def reversed(self) -> Stretch:
        """The same run the other way."""
        total = 2 * self.length if self.closed else self.length
        return Stretch(self.z[::-1], total - self.s[::-1], self.length, self.closed, self.inside[::-1])


def stretches(centres: Polygon, radius: float, reach: float, kerf: float, allow: float) -> list[Stretch]:
    """The boundary of `centres` (where the blade's centre may be) as the fewest stretches, waste on their left.

    The centre may leave the boundary by `allow` mm towards the waste. `reach`: longest straight extension before
    or after a stretch, clipped to `centres`.
    """
    oriented = shapely.orient_polygons(centres)
    found: list[Stretch] = []
    for ring in (oriented.exterior, *oriented.interiors):
        for run in runs(ring, radius, kerf, allow, centres):
            z = run.z[np.concatenate([[True], np.abs(np.diff(run.z)) > 1e-7])]
            if len(z) > 1:
                found.append(_twice(z) if run.closed else replace(_stretch(z), inside=run.inside))
    return _extended(found, centres, reach)


def _twice(z: ComplexArray) -> Stretch:
    """A ring without a stop, twice round."""
    twice = np.concatenate([z, z[1:]])
    return Stretch(twice, stations(twice), run_length(z), True)


def ring_stretches(ring: shapely.LinearRing, radius: float) -> list[Stretch]:
    """One ring as stretches, each beginning where the one before it ends; extensions left out."""
    tries = [_vertices(ring, tolerance, radius) for tolerance in SIMPLE]
    z, size, turn, tight = min(tries, key=lambda found: int(found[3].sum()))
    if len(z) < 3:
        return []
    starts = np.flatnonzero(tight)
    if len(starts) == 0:
        return [_closed(z, turn, size, radius)]
    found = []
    for a, b in zip(starts, np.roll(starts, -1), strict=True):
        count = (b - a) % len(z) or len(z)
        index = (a + np.arange(count + 1)) % len(z)
        found.append(_open(z[index], turn[index], radius))
    return found


def _vertices(
    ring: shapely.LinearRing, tolerance: float, radius: float
) -> tuple[ComplexArray, FloatArray, FloatArray, np.ndarray]:
    """Vertices of the ring simplified, length of the edge after each, turn at each, and which are tight."""
    z = to_complex(shapely.get_coordinates(_simplified(ring, tolerance)))[:-1]
    size = np.abs(np.roll(z, -1) - z)
    ahead = (np.roll(z, -1) - z) / np.maximum(size, 1e-12)
    turn = np.angle(ahead / np.where(np.roll(ahead, 1) == 0, 1, np.roll(ahead, 1)))
    return z, size, turn, _tight(size, turn, radius)


def _simplified(ring: shapely.LinearRing, tolerance: float) -> shapely.Geometry:
    """The ring simplified from its sharpest vertex on, so that a corner never falls between two vertices."""
    xy = shapely.get_coordinates(ring)[:-1]
    z = to_complex(xy)
    ahead = np.roll(z, -1) - z
    turn = np.abs(np.angle(ahead / np.where(np.roll(ahead, 1) == 0, 1, np.roll(ahead, 1))))
    xy = np.roll(xy, -int(np.argmax(turn)), axis=0)
    closed = shapely.LinearRing(np.concatenate([xy, xy[:1]]))
    return closed.simplify(tolerance)


def _tight(size: FloatArray, turn: FloatArray, radius: float) -> np.ndarray:
    """Vertices the blade can't pass in one go: no arc of `radius` fits, or it strays more than ROUND."""
    half = np.minimum(np.abs(turn), 3.0) / 2
    need = radius * np.tan(half)
    stray = radius * (1 / np.cos(half) - 1)
    tight = stray > ROUND
    # A vertex that takes more than its share of an edge is tight when its neighbour wants the rest too.
    while True:
        want = np.where(tight, 0.0, need)
        over = want + np.roll(want, -1) > size + 1e-9
        worst = np.where(over, np.maximum(want, np.roll(want, -1)), 0.0)
        mark = ((want >= np.maximum(worst, np.roll(worst, 1)) - 1e-9) & (over | np.roll(over, 1))) & (
            want > 0
        )
        if not mark.any():
            return np.asarray(tight)
        tight = tight | mark


def _open(z: ComplexArray, turn: FloatArray, radius: float) -> Stretch:
    points = _rounded(z, np.concatenate([[0.0], turn[1:-1], [0.0]]), radius)
    return _stretch(points)


def _closed(z: ComplexArray, turn: FloatArray, size: FloatArray, radius: float) -> Stretch:
    """A ring without a stop, starting in the middle of its longest edge, twice round."""
    i = int(np.argmax(size))
    z, turn = np.roll(z, -i - 1), np.roll(turn, -i - 1)
    middle = (z[-1] + z[0]) / 2
    return _twice(
        _rounded(np.concatenate([[middle], z, [middle]]), np.concatenate([[0.0], turn, [0.0]]), radius)
    )


def _stretch(z: ComplexArray) -> Stretch:
    s = stations(z)
    return Stretch(z, s, float(s[-1]))


def _rounded(z: ComplexArray, turn: FloatArray, radius: float) -> ComplexArray:
    """The polyline with each inner vertex replaced by an arc tangent to its two edges."""
    step = min(2 * math.acos(max(1 - SAGITTA / max(radius, 2 * SAGITTA), -1.0)), 0.4)
    parts: list[ComplexArray] = []
    size = np.abs(np.diff(z))
    for i in range(len(z)):
        angle = turn[i]
        if i in (0, len(z) - 1) or abs(angle) < 1e-4:
            parts.append(z[i : i + 1])
            continue
        before, after = (z[i] - z[i - 1]) / size[i - 1], (z[i + 1] - z[i]) / size[i]
        cut = radius * math.tan(abs(angle) / 2)
        begin = z[i] - before * cut
        side = math.copysign(1.0, angle)
        n = max(1, math.ceil(abs(angle) / step))
        swing = np.exp(1j * angle * np.arange(n + 1) / n)
        parts.append(begin + 1j * side * before * radius * (1 - swing))
        if n == 1:
            parts.append(np.array([z[i] + after * cut]))
    joined = np.concatenate(parts)
    fresh = np.concatenate([[True], np.abs(np.diff(joined)) > 1e-7])
    return np.asarray(joined[fresh])


def _extended(found: list[Stretch], centres: Polygon, reach: float) -> list[Stretch]:
    """Straight extensions before and after each open stretch, as far as they stay in `centres`."""
    opens = [s for s in found if not s.closed and s.length > 1e-6]
    closed = [s for s in found if s.closed]
    if not opens:
        return closed
    heads = np.array([s.z[0] for s in opens]), np.array([(s.z[0] - s.z[1]) for s in opens])
    tails = np.array([s.z[-1] for s in opens]), np.array([(s.z[-1] - s.z[-2]) for s in opens])
    before, after = (_free_run(p, d / np.abs(d), centres, reach) for p, d in (heads, tails))
    result = []
    for s, b, a in zip(opens, before.tolist(), after.tolist(), strict=True):
        z = s.z
        if b > 0:
            z = np.concatenate([[z[0] + (z[0] - z[1]) / abs(z[0] - z[1]) * b], z])
        if a > 0:
            z = np.concatenate([z, [z[-1] + (z[-1] - z[-2]) / abs(z[-1] - z[-2]) * a]])
        result.append(Stretch(z, stations(z) - b, s.length, False, s.inside))
    return result + closed


def _free_run(p: ComplexArray, d: ComplexArray, region: Polygon, reach: float) -> FloatArray:
    """How far one can go from points p straight in directions d inside `region`, at most `reach`; mm."""
    nudge = 0.02
    starts, ends = p + d * nudge, p + d * reach
    rays = shapely.linestrings(
        np.stack(
            [np.column_stack([starts.real, starts.imag]), np.column_stack([ends.real, ends.imag])], axis=1
        )
    )
    inside = np.asarray(shapely.intersection(rays, region))
    first = np.array([_first_part(g, a) for g, a in zip(inside, starts.tolist(), strict=True)])
    return np.where(first > 0.1, first + nudge, 0.0)


def _first_part(geometry: shapely.Geometry, start: complex) -> float:
    for part in shapely.get_parts(geometry):
        if isinstance(part, LineString) and not part.is_empty:
            z = to_complex(shapely.get_coordinates(part))
            if min(abs(z[0] - start), abs(z[-1] - start)) < 1e-6:
                return run_length(z)
    return 0.0
