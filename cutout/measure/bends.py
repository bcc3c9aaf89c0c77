"""Bends of a closed line that a circle of a given radius can't roll into.

A line made of many short runs carries noise: its direction at one vertex says little. So bends are found
on a thinned copy of the line (Douglas-Peucker, COARSE), and how badly the circle fits is then measured on
the line itself. A change of the line that stays well inside COARSE changes neither the number nor the
sort of bends, however the line is sampled.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from shapely import LinearRing

from cutout.geom.curve import ComplexArray, FloatArray, stations, to_array, to_complex

COARSE = 0.05
"""Greatest distance (mm) between a line and the thinned copy its bends are found on."""

INTO_KEEP = 0.1
"""How far (mm) a cut that follows the line may stray into what survives; common practice, no source."""

LEFT_STANDING = 0.2
"""How much waste (mm) it may leave on the line: a stroke of sandpaper; common practice, no source."""

_HAIRPIN = math.radians(150)
"""From this turn on the flanks of a bend no longer meet at a useful apex."""

_BLUNT = math.radians(20)
"""Corners of this turn and more make one blunt corner where they lie close together; noise turns less."""

_WINDOW, _FAN, _NARROWINGS, _PROBES, _PATH = 81, 9, 4, 3, 33
"""Points of the walls, directions of the fan, times it is narrowed to a quarter, points of the stretch it is opened
from, points of its path. So many that the fan, a half turn at most, ends within a degree; how fine, not how much."""


@dataclass(frozen=True, slots=True)
class Bend:
    """A stretch of line the circle can't follow; mm and radians.

    at: middle of the stretch. apex: where its flanks, drawn on straight, meet (`at` for a hairpin).
    inward: unit direction from the apex into the circle's side. turn: how far the line turns. length: of
    the stretch. radius: of the line there, 0 for a sharp corner. depth: greatest distance between the line
    and the nearest circle that fits; infinite where none does. path: points along the stretch.
    """

    sharp: bool
    at: complex
    apex: complex
    inward: complex
    turn: float
    length: float
    radius: float
    depth: float
    path: ComplexArray


def left_bends(ring: ComplexArray, radius: float, sharpest: float) -> list[Bend]:
    """Bends where a circle of `radius` mm on the left of a closed polyline (n,) can't touch the line.

    sharpest: a bend rounded off with less than this radius (mm) counts as a sharp corner. For bends to the
    right pass the ring reversed. No bends when the radius is too small to matter.
    """
    if radius <= INTO_KEEP or len(ring) < 3:
        return []
    line = _Line(ring)
    thin = _Thin(line)
    least = _least_turn(radius)
    found = [
        _Candidate.of(thin, run, stretch, line)
        for run in thin.runs(2 * sharpest)
        for stretch in _best_stretches(thin, run, radius)
        if thin.turning(stretch) >= least
    ]
    # So many at a time: their tables stay within a few megabytes.
    depths = np.concatenate(
        [_depths(found[i : i + 256], line, radius) for i in range(0, len(found), 256)] or [np.empty(0)]
    )
    deep = [(c, float(d)) for c, d in zip(found, depths, strict=True) if d > LEFT_STANDING]
    near = _near([c for c, _ in deep], radius, line.length)
    return [
        c.bend(sharpest, d)
        for (c, d), others in zip(deep, near, strict=True)
        if not any(c.beside(deep[k][0], radius, line.length) for k in others)
    ]


def _near(found: list[_Candidate], radius: float, around: float) -> list[list[int]]:
    """For each stretch those that end less than `radius` before it starts, or start so soon after it ends.

    around: length of the closed line they lie on. The only ones that can be `beside` it.
    """
    start, end = (np.mod([getattr(c, side).s for c in found], around) for side in ("start", "end"))
    return [
        sorted({*before, *after})
        for before, after in zip(
            _within(end, start - radius, radius, around), _within(start, end, radius, around), strict=True
        )
    ]


def _within(places: FloatArray, low: FloatArray, width: float, around: float) -> Iterator[list[int]]:
    """Places, on a closed line `around` long, that lie from each of `low` (n,) on over `width` mm."""
    order = np.argsort(places)
    twice = np.concatenate([places[order], places[order] + around])
    low = np.mod(low, around)
    slack = 1e-6 * (around + width)
    first = np.searchsorted(twice, low - slack)
    last = np.searchsorted(twice, low + min(width, around) + slack)
    wrapped = np.searchsorted(twice, low + around - slack)  # a place a rounding before the start
    for a, b, c in zip(first.tolist(), last.tolist(), wrapped.tolist(), strict=True):
        rows = [*range(a, b), *range(c, min(c + 1, len(twice)))]
        yield order[np.array(rows, dtype=int) % max(len(places), 1)].tolist() if rows else []


def _least_turn(radius: float) -> float:
    """Smallest turn of a sharp corner that a circle of this radius can't follow."""
    return 2.0 * math.acos((radius - INTO_KEEP) / (radius + LEFT_STANDING))


class _Line:
    """A closed polyline by distance along it."""

    def __init__(self, ring: ComplexArray) -> None:
        self.closed = np.append(ring, ring[0])
        self.along = stations(self.closed)
        self.length = float(self.along[-1])
        self._place: dict[complex, float] = dict(zip(ring.tolist(), self.along.tolist(), strict=False))

    def at(self, s: FloatArray) -> ComplexArray:
        """Points at distances `s` (any shape), counted round and round."""
        s = np.mod(s, self.length)
        real = np.interp(s, self.along, self.closed.real)
        return np.asarray(real + 1j * np.interp(s, self.along, self.closed.imag))

    def where(self, vertex: complex) -> float:
        """Distance along the line of one of its own vertices."""
        return self._place[vertex]


class _Thin:
    """The thinned line: vertices, how far it turns at each (+ left), and the chord after each.

    bulge: how far the line itself lies to the right of the chord, as an arc that turns left does.
    """

    def __init__(self, line: _Line) -> None:
        closed = LinearRing(to_array(line.closed)).simplify(COARSE, preserve_topology=False)
        z = to_complex(np.asarray(closed.coords))[:-1]
        self.z = z if len(z) >= 3 else line.closed[:-1]
        ahead = np.roll(self.z, -1) - self.z
        self.turn: FloatArray = np.angle(ahead * np.roll(ahead, 1).conj())
        self.chord: FloatArray = np.abs(ahead)
        starts = np.array([line.where(v) for v in self.z.tolist()])
        own = (np.searchsorted(starts, line.along[:-1], side="right") - 1) % len(starts)
        aside = -((line.closed[:-1] - self.z[own]) * (ahead / self.chord)[own].conj()).imag
        self.bulge = np.zeros(len(self.z))
        np.maximum.at(self.bulge, own, aside)

    @cached_property
    def size(self) -> int:
        """Number of vertices."""
        return len(self.z)

    def turning(self, stretch: range) -> float:
        """Total turn over the vertices of a stretch."""
        return float(self.turn[np.array(stretch) % self.size].sum())

    def vertex(self, k: int) -> complex:
        """A vertex, counted round and round."""
        return complex(self.z[k % self.size])

    def direction(self, vertex: int) -> complex:
        """Unit direction of the chord that leaves a vertex."""
        step = self.z[(vertex + 1) % self.size] - self.z[vertex % self.size]
        return complex(step / abs(step))

    def runs(self, near: float) -> Iterator[range]:
        """Vertices that belong to one bend: all turn left, and the chords between them pass for an arc's.

        An arc that turns as its vertices say bulges out by chord * turn / 8; a straight run between two
        corners, their edges frayed by noise, does not. Corners `near` mm apart or less are one blunt corner.
        """
        after = np.roll(self.turn, -1)
        sagitta = self.chord * np.maximum(self.turn, after) / 8
        blunt = (self.chord <= near) & (np.minimum(self.turn, after) >= _BLUNT)
        together = blunt | (sagitta <= self.bulge + COARSE)
        one_arc = (self.turn > 0) & (after > 0) & together
        if one_arc.all():
            yield range(self.size)
            return
        first = int(np.flatnonzero(~one_arc)[0]) + 1
        begin = first
        for k in range(first, first + self.size):
            if not one_arc[k % self.size]:
                if self.turn[begin % self.size] > 0:
                    yield range(begin, k + 1)
                begin = k + 1


def _best_stretches(thin: _Thin, run: range, radius: float) -> list[range]:
    """Parts of a bend that turn more than a circle of `radius` would over their length.

    The disjoint stretches of greatest (turn - length / radius): Ruzzo and Tompa's algorithm for all
    maximal scoring subsequences. A chord scores -length / radius, a vertex its turn.
    """
    kept: list[tuple[int, int, float, float]] = []
    total = 0.0
    for k in run:
        before = total
        total += float(thin.turn[k % thin.size])
        first, last, low, high = k, k, before, total
        while True:
            j = next((i for i in range(len(kept) - 1, -1, -1) if kept[i][2] < low), -1)
            if j < 0 or kept[j][3] >= high:
                break
            first, low = kept[j][0], kept[j][2]
            del kept[j:]
        kept.append((first, last, low, high))
        total -= float(thin.chord[k % thin.size]) / radius
    return [range(first, last + 1) for first, last, _, _ in kept]


@dataclass(frozen=True, slots=True)
class _Side:
    """Where a stretch or a whole bend ends: its vertex, distance along the line, direction of travel there."""

    vertex: complex
    s: float
    direction: complex


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A tight stretch before it is measured, from `start` to `end`, inside a bend from `opens` to `closes`."""

    start: _Side
    end: _Side
    opens: _Side
    closes: _Side
    turn: float
    vertices: int
    path: ComplexArray

    @classmethod
    def of(cls, thin: _Thin, run: range, stretch: range, line: _Line) -> _Candidate:
        start, end = _sides(thin, stretch, line, line.where(thin.vertex(stretch[0])))
        opens, closes = _sides(thin, run, line, start.s)
        path = line.at(np.linspace(start.s, end.s, _PATH)) if end.s > start.s else np.array([start.vertex])
        return cls(start, end, opens, closes, thin.turning(stretch), len(stretch), path)

    def beside(self, other: _Candidate, radius: float, around: float) -> bool:
        """Whether `other` turns further in the same bend or on the same arc, too near to tell apart.

        Nearer, that is, than `radius`; around: length of the whole line.
        """
        if self.turn >= other.turn:
            return False
        gaps = np.array([self.start.s - other.end.s, other.start.s - self.end.s])
        if np.mod(gaps, around).min() >= radius:
            return False
        return self.opens.vertex == other.opens.vertex or other.passes_through(self.path)

    def passes_through(self, points: ComplexArray) -> bool:
        """Whether points lie on the arc of this stretch drawn on; (n,)."""
        if self.vertices < 3:
            return False
        centre, radius, off = self._circle()
        return bool(max(off, np.abs(np.abs(points - centre) - radius).max()) <= 2 * COARSE)

    def bend(self, sharpest: float, depth: float) -> Bend:
        """The finished bend: sharp if its line comes within LEFT_STANDING of the apex."""
        middle = complex(self.path[len(self.path) // 2])
        inward = 1j * self.start.direction * complex(math.cos(self.turn / 2), math.sin(self.turn / 2))
        apex, radius, missing = middle, self.radius, math.inf
        if self.turn < _HAIRPIN:
            apex = self._apex()
            missing = float(np.abs(self.path - apex).min())
        sharp = len(self.path) == 1 or radius < sharpest or missing < LEFT_STANDING
        length = self.end.s - self.start.s
        return Bend(
            sharp, middle, apex, inward, self.turn, length, 0.0 if sharp else radius, depth, self.path
        )

    @property
    def radius(self) -> float:
        """Radius of the circle nearest to the path; length / turn where the path is straight."""
        if len(self.path) == 1:
            return 0.0
        if self.vertices < 3:
            return (self.end.s - self.start.s) / self.turn
        return self._circle()[1]

    def round_enough(self, radius: float) -> bool:
        """Whether the path is a circle's, and that circle no smaller than `radius` mm."""
        if self.vertices < 3:
            return False
        _, own, off = self._circle()
        return own >= radius and off <= LEFT_STANDING

    def _circle(self) -> tuple[complex, float, float]:
        """Centre and radius of the circle nearest to the path (least squares), and its greatest distance off."""
        middle = complex(self.path.mean())
        z = self.path - middle
        rows = np.column_stack([2 * z.real, 2 * z.imag, np.ones(len(z))])
        x, y, c = np.linalg.lstsq(rows, np.abs(z) ** 2, rcond=None)[0].tolist()
        radius = math.sqrt(max(c + x * x + y * y, 0.0))
        centre = complex(x, y)
        return middle + centre, radius, float(np.abs(np.abs(z - centre) - radius).max())

    def _apex(self) -> complex:
        step = self.end.vertex - self.start.vertex
        across = (self.start.direction.conjugate() * self.end.direction).imag
        return (
            self.start.vertex + self.start.direction * (step.conjugate() * self.end.direction).imag / across
        )


def _sides(thin: _Thin, part: range, line: _Line, near: float) -> tuple[_Side, _Side]:
    """Both ends of a part of the thinned line, the first not more than once round before `near`."""
    first, last = thin.vertex(part[0]), thin.vertex(part[-1])
    start, end = line.where(first), line.where(last)
    if start > near + 1e-9:
        start -= line.length
    while end < start or (end == start and len(part) > 1):
        end += line.length
    return _Side(first, start, thin.direction(part[0] - 1)), _Side(last, end, thin.direction(part[-1]))


def _depths(found: list[_Candidate], line: _Line, radius: float) -> NDArray[np.float64]:
    """How far each stretch stays from any circle of `radius` that lies to the left of the line near it.

    From points of the stretch the circle is pulled back in a fan of directions until it clears the line;
    the least distance it then keeps from the point is the depth there. The fan is narrowed round the best
    direction, where two walls stop the circle at once. The circle may overlap the line by INTO_KEEP. Flanks
    of the bend that turn towards the circle further on count as straight: what they hide is a bend of its
    own. Round half a turn or more only the radius of the line decides.
    """
    start, end = np.array([c.start.s for c in found]), np.array([c.end.s for c in found])
    turn = np.array([c.turn for c in found])
    reach = radius * (np.tan(np.minimum(turn, _HAIRPIN) / 2) + 0.5)
    # Just under half of what is left of the line, so that the two flanks never meet.
    reach = np.minimum(reach, 0.49 * (line.length - (end - start)))
    s = np.linspace(start - reach, end + reach, _WINDOW, axis=1)
    walls = _straight_flanks(found, line.at(s), s)
    probes = line.at(np.linspace(start, end, _PROBES, axis=1))
    ahead = 1j * np.array([c.start.direction for c in found]) * np.exp(0.5j * turn)
    # Half the turn and a little, for stretches that are lopsided; never as far as the flanks themselves point.
    spread = np.clip(np.minimum(turn / 2 + 0.1, 0.49 * (math.pi - turn)), 0.02, math.pi / 2)
    away = walls[:, None, :] - probes[:, :, None]
    heading = np.zeros(probes.shape)
    for _ in range(_NARROWINGS):
        fan = heading[..., None] + spread[:, None, None] * np.linspace(-1, 1, _FAN)
        seen = away[:, :, None, :] * (ahead[:, None, None] * np.exp(1j * fan)).conj()[..., None]
        room = (radius - INTO_KEEP) ** 2 - seen.imag**2
        clear = np.where(room > 0, seen.real + np.sqrt(np.maximum(room, 0)), -np.inf).max(axis=3)
        best = np.argmin(clear, axis=2)[..., None]
        heading = np.take_along_axis(fan, best, axis=2)[..., 0]
        depth = np.take_along_axis(clear, best, axis=2)[..., 0] - radius
        spread = spread * 2 / (_FAN - 1)
    fits = np.array([c.round_enough(radius - INTO_KEEP) for c in found])
    # Three degrees short of half a turn the flanks hide what lies between them.
    around = turn >= math.pi - 0.05
    return np.where(around, np.where(fits, 0.0, np.inf), np.maximum(depth, 0).max(axis=1))


def _straight_flanks(found: list[_Candidate], z: ComplexArray, s: FloatArray) -> ComplexArray:
    """Points z at distances s along the line; where a flank turns to the left of its own line, put back on it."""
    for sides, forward in (([c.opens for c in found], False), ([c.closes for c in found], True)):
        here, origin, along = (
            np.array([getattr(side, name) for side in sides])[:, None]
            for name in ("s", "vertex", "direction")
        )
        local = (z - origin) * along.conj()
        ahead = np.maximum(local.real, 0) if forward else np.minimum(local.real, 0)
        outside = s > here if forward else s < here
        z = np.where(outside & (local.imag > 0), origin + along * ahead, z)
    return z
