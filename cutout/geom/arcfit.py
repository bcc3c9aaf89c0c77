"""Lines and arcs through a closed polyline, as few as a greedy walk finds, within a tolerance.

An arc between two given ends has one freedom left, its curvature. Every point the arc must pass within a
tolerance leaves it an interval, so a stretch can be one arc exactly if the intervals of all its points
share a value: no circle is ever fitted and then tested. All stretches of all starts are tried at once.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom import curve
from cutout.geom.curve import Arc, ComplexArray, FloatArray, Line
from cutout.geom.outline import Ring

IntArray: TypeAlias = NDArray[np.intp]
BoolArray: TypeAlias = NDArray[np.bool_]

_THIN = 0.1
"""Share of the tolerance spent on thinning the polyline out first, which also speeds the fit up."""
_FIT = 0.88
"""Share of the tolerance the fit may use; the rest is for what happens between the points it looks at."""
_STEEPEST = 10.0
"""Greatest tan(sweep / 2): arcs turn a little under half a circle at most."""
_SHIFT = 5
"""How many vertices a joint may move back, and some forth, to where both sides fit best."""
_LONGEST = 512
"""Most vertices one arc may pass."""


def fit_arcs(xy: FloatArray, tol: float) -> Ring:
    """A ring of lines and arcs within `tol` of the closed polyline `xy` (n, 2), and the polyline of it.

    The ring starts at a vertex of the polyline, has its sense, and does not cross itself if the polyline
    doesn't: a fit that would is made again more closely, and in the last resort gives the vertices.
    Raises ValueError for fewer than three vertices or a tolerance that is not positive.
    """
    z = _cleaned(np.asarray(xy, dtype=float))
    if len(z) < 3 or not tol > 0:
        raise ValueError("a ring to fit needs three vertices and a tolerance above zero")
    for share in (1.0, 0.5, 0.25):
        ring = _fit(z, tol * share)
        drawn = ring.polygon(tol / 10)
        if drawn.is_valid and drawn.exterior.is_ccw == _turns_left(z):
            return ring
    return Ring.of_points(curve.to_array(z))


def _turns_left(z: ComplexArray) -> bool:
    return bool(np.sum((z.conj() * np.roll(z, -1)).imag) > 0)


def _cleaned(xy: FloatArray) -> ComplexArray:
    z = curve.to_complex(xy)
    return np.asarray(z[z != np.roll(z, 1)] if len(z) > 1 else z)


def _fit(z: ComplexArray, tol: float) -> Ring:
    path = _Path(_thinned(z, tol * _THIN), tol * _FIT)
    nodes, steps = _choose(path, _reach(path))
    for colour in (1, 0, 1):
        nodes, steps = _settled(path, nodes, steps, colour)
    if len(nodes) < 3:
        nodes, steps = _halved(nodes, steps, steps > 1)
    bulges = path.bulges(nodes, steps)
    most = tol * (1 - _THIN)
    while (over := path.deviations(nodes, steps, bulges) > most).any():
        nodes, steps = _halved(nodes, steps, over)
        bulges = path.bulges(nodes, steps)
    runs = zip(path.at(nodes).tolist(), path.at(nodes + steps).tolist(), bulges.tolist(), strict=True)
    return Ring(tuple(Arc(a, b, bulge) if bulge else Line(a, b) for a, b, bulge in runs))


def _settled(path: _Path, nodes: IntArray, steps: IntArray, colour: int) -> tuple[IntArray, IntArray]:
    """Every second joint moved to the vertex nearby where the worse of its two stretches fits best.

    A walk by longest reach drags each joint a little past the place where line and arc truly meet.
    """
    count = len(nodes)
    which = np.arange(colour, count - (count % 2 and not colour), 2)
    if count < 3 or not len(which):
        return nodes, steps
    before = nodes[which - 1] - np.where(which == 0, len(path), 0)
    whole = steps[which - 1] + steps[which]
    shifts = np.array(sorted(range(-_SHIFT, 3), key=abs))
    first = np.clip(steps[which - 1][:, None] + shifts, 1, whole[:, None] - 1)
    start, size = np.broadcast_to(before[:, None], first.shape).ravel(), first.ravel()
    end = np.broadcast_to((before + whole)[:, None], first.shape).ravel()
    fit = np.maximum(path.misfit(start, size), path.misfit(start + size, end - start - size))
    best = np.argmin(np.round(fit / path.tol, 3).reshape(first.shape), axis=1)
    moved = nodes.copy()
    moved[which] = before + first[np.arange(len(which)), best]
    return moved, np.diff(np.append(moved, moved[0] + len(path)))


def _halved(nodes: IntArray, steps: IntArray, over: BoolArray) -> tuple[IntArray, IntArray]:
    """Each stretch that went `over` as two: one past its tolerance, or one of a ring of fewer than three."""
    half = steps[over] // 2
    starts = np.concatenate([nodes[~over], nodes[over], nodes[over] + half])
    sizes = np.concatenate([steps[~over], half, steps[over] - half])
    order = np.argsort(starts, kind="stable")
    return starts[order], sizes[order]


def _thinned(z: ComplexArray, tol: float) -> ComplexArray:
    """Fewer vertices within `tol`; starts at the sharpest corner, which the thinning always keeps."""
    ahead, back = np.roll(z, -1) - z, z - np.roll(z, 1)
    first = int(np.argmax(np.abs(np.angle(ahead / back))))
    ring = shapely.LinearRing(curve.to_array(np.roll(z, -first)))
    xy = shapely.get_coordinates(shapely.simplify(ring, tol, preserve_topology=False))[:-1]
    return curve.to_complex(xy) if len(xy) >= 3 else np.roll(z, -first)


class _Path:
    """A closed polyline and the tests of its stretches; a stretch is a first vertex and a number of edges."""

    def __init__(self, z: ComplexArray, tol: float) -> None:
        self.z = z
        self.tol = tol
        self.middles = np.stack([z, (z + np.roll(z, -1)) / 2], axis=1).ravel()

    def __len__(self) -> int:
        return len(self.z)

    def at(self, i: IntArray) -> ComplexArray:
        return np.asarray(self.z[i % len(self.z)])

    def interval(self, start: IntArray, steps: IntArray) -> tuple[FloatArray, FloatArray]:
        """Least and greatest q of the arcs that pass every vertex and middle of an edge closely enough.

        q = 1 / c, c the distance of the arc's centre from its chord, to the left of travel. A circle
        through the chord's ends, half chord h, passes within t of (x, y), measured from the chord's
        middle, if (A q - 2 y)^2 <= 4 t^2 (h^2 q^2 + 1) with A = x^2 + y^2 - h^2 - t^2. A point closer to
        an end than about t leaves q free. An empty interval has its least above its greatest.
        """
        t, a, b = self.tol, self.at(start), self.at(start + steps)
        half = np.maximum(np.abs(b - a) / 2, 1e-12)
        first, which, along = _ragged(2 * steps - 1)
        p = self.middles[(2 * start[which] + 1 + along) % len(self.middles)]
        local = (p - ((a + b) / 2)[which]) * ((b - a).conjugate() / (2 * half))[which]
        h, x, y = half[which], local.real, local.imag
        A = x * x + y * y - h * h - t * t
        inner = -2 * t * h > A
        free = ~inner & (np.hypot(np.abs(x) - h, y) <= t)
        root = 2 * t * np.sqrt(np.maximum(A * A + 4 * h * h * (y * y - t * t), 0.0))
        below = np.where(inner, A * A - 4 * t * t * h * h, 1.0)
        none = np.where(free, np.inf, -np.inf)
        low = np.maximum.reduceat(np.where(inner, (2 * A * y - root) / below, -none), first)
        high = np.minimum.reduceat(np.where(inner, (2 * A * y + root) / below, none), first)
        return np.maximum(low, -_STEEPEST / half), np.minimum(high, _STEEPEST / half)

    def feasible(self, start: IntArray, steps: IntArray) -> BoolArray:
        low, high = self.interval(start, steps)
        return np.asarray(low <= high)

    def bulges(self, start: IntArray, steps: IntArray) -> FloatArray:
        """Bulge of one arc per stretch, in the middle of what it may be; 0 where a line will do."""
        return self._middle(start, steps, *self.interval(start, steps))

    def _middle(self, start: IntArray, steps: IntArray, low: FloatArray, high: FloatArray) -> FloatArray:
        half = np.abs(self.at(start + steps) - self.at(start)) / 2
        middle = (np.tan(np.arctan(low * half) / 2) + np.tan(np.arctan(high * half) / 2)) / 2
        return np.where((low <= 0) & (high >= 0), 0.0, middle)

    def misfit(self, start: IntArray, steps: IntArray) -> FloatArray:
        """Greatest distance of each stretch from the one arc it gets; infinite where no arc will do."""
        low, high = self.interval(start, steps)
        away = self.deviations(start, steps, self._middle(start, steps, low, high))
        return np.where(low <= high, away, np.inf)

    def deviations(self, start: IntArray, steps: IntArray, bulges: FloatArray) -> FloatArray:
        """Greatest distance of each stretch from its arc or line, edges included.

        Along an edge the distance from the arc's centre is greatest at an end and least at the foot of
        the perpendicular. The polyline runs from one end of the arc to the other, so no point of the arc
        is farther from the polyline either.
        """
        a, b = self.at(start), self.at(start + steps)
        curved = np.where(bulges == 0, 1.0, bulges)
        centre = (a + b) / 2 + (b - a) * 0.25j * (1 / curved - curved)
        radius = np.abs(a - centre)
        first, which, along = _ragged(steps)
        p, q = self.at(start[which] + along), self.at(start[which] + along + 1)
        edge, spoke = q - p, centre[which] - p
        share = np.clip((spoke * edge.conjugate()).real / np.maximum(np.abs(edge) ** 2, 1e-300), 0.0, 1.0)
        far = np.abs(np.abs(spoke) - radius[which])
        foot = np.abs(np.abs(spoke - share * edge) - radius[which])
        unit = (b - a) / np.maximum(np.abs(b - a), 1e-300)
        aside = np.abs(((p - a[which]) * unit[which].conjugate()).imag)
        off = np.where(bulges[which] == 0, aside, np.maximum(far, foot))
        return np.asarray(np.maximum.reduceat(off, first))


def _ragged(counts: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """For rows of different length laid end to end: where each starts, and each item's row and column."""
    first = np.cumsum(counts) - counts
    which = np.repeat(np.arange(len(counts)), counts)
    return first, which, np.arange(len(which)) - first[which]


def _choose(path: _Path, reach: IntArray) -> tuple[IntArray, IntArray]:
    """First vertices and numbers of edges of the fewest stretches a walk by longest reach needs.

    Every vertex of the first stretch is tried as the start. The last stretch may end early, at the start.
    """
    n = len(path)
    walks = (_walk(start, reach.tolist()) for start in range(int(reach[0]) + 1))
    nodes = np.array(min(walks, key=len), dtype=np.intp)
    steps = np.diff(np.append(nodes, nodes[0] + n))
    while not path.feasible(nodes[-1:], steps[-1:])[0]:
        half = steps[-1] // 2
        nodes = np.append(nodes, nodes[-1] + half)
        steps = np.append(steps[:-1], [half, steps[-1] - half])
    return nodes, steps


def _walk(start: int, reach: list[int]) -> list[int]:
    nodes, at = [], start
    while at < start + len(reach):
        nodes.append(at)
        at += reach[at % len(reach)]
    return nodes


def _reach(path: _Path) -> IntArray:
    """How many edges from each vertex one arc or line can pass: doubled until it fails, then bisected."""
    n = len(path)
    most = min(n - 1, _LONGEST)
    good = np.ones(n, dtype=np.intp)
    bad = np.full(n, most + 1, dtype=np.intp)
    active, k = np.arange(n), 2
    while len(active) and k <= most:
        ok = path.feasible(active, np.full(len(active), k))
        good[active[ok]], bad[active[~ok]] = k, k
        active, k = active[ok], 2 * k
    while len(active := np.flatnonzero(bad - good > 1)):
        middle = (good[active] + bad[active]) // 2
        ok = path.feasible(active, middle)
        good[active[ok]], bad[active[~ok]] = middle[ok], middle[~ok]
    return good
