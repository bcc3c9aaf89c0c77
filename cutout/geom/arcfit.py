"""Lines and arcs through closed polylines, as few as a greedy walk finds, within a tolerance.

All stretches of all rings are tried at once; what each can be is up to `stretches`. Where the stretches meet, and
which value of its interval each takes, is up to `arcjoint`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom import arcjoint, curve
from cutout.geom.curve import Arc, ComplexArray, FloatArray, Line
from cutout.geom.outline import Ring
from cutout.geom.stretches import IntArray, Path, Stretches

_THIN = 0.1
"""Share of the tolerance spent on thinning the polyline out first, which also speeds the fit up."""
_FIT = 0.8
"""Share of the tolerance the fit may use; the rest is for what happens between the points it looks at."""
_LONGEST = 512
"""Most vertices one arc may pass."""


def fit_rings(lines: Sequence[FloatArray], tol: float) -> list[Ring]:
    """One ring of lines and arcs for each closed polyline (n, 2), each within `tol` of the other.

    A ring starts at a vertex of its polyline, has its sense, and does not cross itself if the polyline
    doesn't: a fit that would is made again more closely, and in the last resort gives the vertices.
    Raises ValueError for fewer than three vertices or a tolerance that is not positive.
    """
    if not tol > 0:
        raise ValueError("a ring to fit needs a tolerance above zero")
    clean = [_cleaned(np.asarray(xy, dtype=float)) for xy in lines]
    if any(len(z) < 3 for z in clean):
        raise ValueError("a ring to fit needs three vertices")
    made: dict[int, Ring] = {}
    for share in (1.0, 0.5, 0.25):
        left = [i for i in range(len(clean)) if i not in made]
        if left:
            fit = _fit([clean[i] for i in left], tol * share)
            sound = _sound(fit, [clean[i] for i in left], tol)
            made |= {i: ring for i, ring, good in zip(left, fit.rings(), sound, strict=True) if good}
    return [made[i] if i in made else Ring.of_points(curve.to_array(z)) for i, z in enumerate(clean)]


def filled(rings: Sequence[Ring], tol: float) -> NDArray[np.object_]:
    """Each ring of lines and arcs as a polygon, drawn within `tol`: all at once, which is what makes it quick."""
    return _Fit.of(rings).polygons(tol)


def areas(rings: Sequence[Ring]) -> FloatArray:
    """Signed area of each ring of lines and arcs, positive counter-clockwise."""
    fit = _Fit.of(rings)
    sweep, chord = 4 * np.arctan(fit.bulge), np.abs(fit.end - fit.start)
    radius = chord * (1 + fit.bulge**2) / (4 * np.where(fit.bulge == 0, 1.0, np.abs(fit.bulge)))
    swept = (fit.start.conj() * fit.end).imag + radius**2 * (sweep - np.sin(sweep))
    return np.asarray(np.bincount(fit.ring, swept / 2, len(rings)))


def longest(rings: Sequence[Ring]) -> list[int]:
    """Which line or arc of each ring is the longest: the first of those that are equal to a millionth of a mm."""
    fit = _Fit.of(rings)
    half, chord = 2 * np.arctan(np.abs(fit.bulge)), np.abs(fit.end - fit.start)
    length = np.round(np.where(half == 0, chord, chord * half / np.where(half == 0, 1.0, np.sin(half))), 6)
    first = np.flatnonzero(np.diff(fit.ring, prepend=-1)).tolist()
    return [int(np.argmax(length[a:b])) for a, b in pairwise([*first, len(length)])]


@dataclass(frozen=True, eq=False, slots=True)
class _Fit:
    """Rings of lines and arcs as arrays: ring, start, end, bulge of every run (n,)."""

    ring: IntArray
    start: ComplexArray
    end: ComplexArray
    bulge: FloatArray

    @classmethod
    def of(cls, rings: Sequence[Ring]) -> _Fit:
        """Rings of lines and arcs as arrays."""
        runs = [
            (n, s.start, s.end, s.bulge if isinstance(s, curve.Arc) else 0.0)
            for n, ring in enumerate(rings)
            for s in ring.segments
        ]
        ring, start, end, bulge = zip(*runs, strict=True) if runs else ((), (), (), ())
        return cls(
            np.array(ring, np.intp), np.array(start, complex), np.array(end, complex), np.array(bulge, float)
        )

    def rings(self) -> list[Ring]:
        """The same as values."""
        runs = zip(self.start.tolist(), self.end.tolist(), self.bulge.tolist(), strict=True)
        segments = [Arc(a, b, bulge) if bulge else Line(a, b) for a, b, bulge in runs]
        ends = np.flatnonzero(np.diff(self.ring)) + 1
        cuts = [0, *ends.tolist(), len(segments)]
        return [Ring(tuple(segments[a:b])) for a, b in pairwise(cuts)]

    def polygons(self, tol: float) -> NDArray[np.object_]:
        """Each ring filled, drawn within `tol`."""
        half = 2 * np.arctan(self.bulge)
        curved = np.abs(half) > 1e-9
        chord = self.end - self.start
        radius = np.abs(chord) / 2 / np.sin(np.where(curved, np.abs(half), np.pi / 2))
        angle = 2 * np.arccos(np.clip(1 - tol / np.maximum(radius, 1e-12), -1.0, 1.0 - 1e-12))
        counts = np.where(curved, np.ceil(2 * np.abs(half) / np.minimum(angle, np.pi / 4)), 1).astype(np.intp)
        _, which, along = _ragged(counts)
        h, share = half[which], along / counts[which]
        ratio = np.where(curved[which], np.sin(h * share) / np.sin(np.where(curved[which], h, 1.0)), share)
        z = self.start[which] + chord[which] * ratio * np.exp(1j * h * (share - 1))
        loops = shapely.linearrings(curve.to_array(z), indices=self.ring[which])
        return np.asarray(shapely.polygons(loops), dtype=object)


def _cleaned(xy: FloatArray) -> ComplexArray:
    z = curve.to_complex(xy)
    return np.asarray(z[z != np.roll(z, 1)] if len(z) > 1 else z)


def _sound(fit: _Fit, lines: list[ComplexArray], tol: float) -> list[bool]:
    """Whether each ring is simple and still runs the way its polyline does."""
    polygons = fit.polygons(tol / 10)
    left = [bool(np.sum((z.conj() * np.roll(z, -1)).imag) > 0) for z in lines]
    turns = shapely.is_ccw(shapely.get_exterior_ring(polygons))
    return [bool(v and t == w) for v, t, w in zip(shapely.is_valid(polygons), turns, left, strict=True)]


def _fit(lines: list[ComplexArray], tol: float) -> _Fit:
    path = Path(_thinned(lines, tol * _THIN), tol * _FIT)
    found = arcjoint.settled(path, _walked(path))
    few = np.bincount(found.ring)[found.ring] < 3
    found = found.halved(few & (found.steps > 1), path)
    most = tol * (1 - _THIN)
    while (over := path.misfit(found.start, found.steps) > most).any():
        found = found.halved(over, path)
    a, b = path.ends(found.start, found.steps)
    low, high = path.interval(found.start, found.steps)
    own = path.middle(found.start, found.steps, low, high)
    bulge = arcjoint.bent(path, found, low, high, own)
    near = path.deviations(found.start, found.steps, bulge) <= most
    return _Fit(found.ring, a, b, np.where(near, bulge, own))


def _thinned(lines: list[ComplexArray], tol: float) -> list[ComplexArray]:
    """Fewer vertices within `tol`; each ring starts at its sharpest corner, which the thinning always keeps."""
    turned = []
    for z in lines:
        ahead, back = np.roll(z, -1) - z, z - np.roll(z, 1)
        turned.append(np.roll(z, -int(np.argmax(np.abs(np.angle(ahead / back))))))
    loops = np.array([shapely.LinearRing(curve.to_array(z)) for z in turned], dtype=object)
    thin = [shapely.get_coordinates(t)[:-1] for t in shapely.simplify(loops, tol, preserve_topology=False)]
    return [curve.to_complex(xy) if len(xy) >= 3 else z for xy, z in zip(thin, turned, strict=True)]


def _ragged(counts: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """For rows of different length laid end to end: where each starts, and each item's row and column."""
    first = np.cumsum(counts) - counts
    which = np.repeat(np.arange(len(counts)), counts)
    return first, which, np.arange(len(which)) - first[which]


def _walked(path: Path) -> Stretches:
    """The fewest stretches a walk by longest reach needs in each ring.

    Every vertex of a ring's first stretch is tried as the start. The last stretch may end early, at the
    start, and is halved while that makes no arc of it.
    """
    start = _shortest_walks(path, _reach(path))
    ring = path.ring[start]
    found = Stretches(ring, start, np.zeros(len(start), dtype=np.intp))
    before = found.before()
    steps = np.empty(len(start), dtype=np.intp)
    steps[before] = (start - start[before] - 1) % path.size[start] + 1
    found = Stretches(ring, start, steps)
    while (bad := ~path.feasible(found.start, found.steps)).any():
        found = found.halved(bad, path)
    return found


def _shortest_walks(path: Path, reach: IntArray) -> IntArray:
    """The vertices at which the shortest walk round each ring stops, ring after ring; of equals the first one."""
    first = np.unique(path.base)
    tried = reach[first] + 1
    lead, walk, along = _ragged(tried)
    base, size = first[walk], path.size[first][walk]
    at, ends = along, along + size
    stops, left = [at], np.arange(len(at))
    count = np.zeros(len(at), dtype=np.intp)
    # All walks take their steps together; those that are round stay where they are.
    while len(left):
        count[left] += 1
        at = at.copy()
        at[left] += reach[base[left] + at[left] % size[left]]
        stops.append(at)
        left = left[at[left] < ends[left]]
    best = np.minimum.reduceat(count * len(count) + np.arange(len(count)), lead) % len(count)
    taken = np.stack(stops, axis=1)[best]
    within = np.arange(taken.shape[1]) < count[best][:, None]
    return np.asarray((first[:, None] + taken % size[best][:, None])[within])


def _reach(path: Path) -> IntArray:
    """How many edges from each vertex one arc or line can pass: doubled until it fails, then bisected."""
    most = np.minimum(path.size - 1, _LONGEST)
    good, bad = np.ones(len(path.z), dtype=np.intp), most + 1
    active, k = np.flatnonzero(most >= 2), 2
    while len(active):
        ok = path.feasible(active, np.full(len(active), k))
        good[active[ok]], bad[active[~ok]] = k, k
        active, k = active[ok], 2 * k
        active = active[most[active] >= k]
    while len(active := np.flatnonzero(bad - good > 1)):
        middle = (good[active] + bad[active]) // 2
        ok = path.feasible(active, middle)
        good[active[ok]], bad[active[~ok]] = middle[ok], middle[~ok]
    return good
