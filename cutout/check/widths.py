"""Widths of a region everywhere, and the necks where it is narrow between wider parts.

The middle line (medial axis) of a region comes from the Voronoi diagram of points along its boundary: the
ridges inside the region between points that are not neighbours. Point spacing follows the local width, so
that the middle line has the right shape; the width of a neck is then measured between the two walls
themselves, exactly, whatever the spacing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import QhullError, Voronoi
from shapely import LinearRing, LineString, MultiPolygon, Point

from cutout.geom.curve import ComplexArray, FloatArray, to_complex
from cutout.geom.outline import polygons_of
from cutout.pattern import Pattern

IntArray = NDArray[np.int64]

_SPACING = (0.5, 2.0)
"""Least and greatest first spacing of the points (mm)."""

_FINEST = 0.1
"""Spacing below which no wall is divided further (mm)."""

_PER_WIDTH = 3.0
"""Points along a wall for each local width of the region."""

_PROMINENT = 1.15
"""A neck counts when the region is this much wider on both sides of it."""

_PART = 0.3
"""A wider part counts only if it is this much (mm) wider than the neck."""

_FORKS = 1.2
"""Middle lines between points less further apart along the wall than this, times across, are its roughness."""

_DETOUR = 3.0
"""Points further apart along the wall than this many times across face each other; nearer ones are a corner's."""

_SAME_WIDTH = 1.25
"""A web reaches as far as the width stays below this many times its least width."""

_LEVEL = 1.01
"""A web is level where its width stays below this many times its least width: its middle stands for it."""


@dataclass(frozen=True, slots=True)
class Neck:
    """A narrow place between wider parts; mm.

    feet: where the narrowest line across meets the two walls. at: its middle. width: its length.
    along: unit direction of the web, square to that line. length: how far the region stays about as narrow.
    """

    at: complex
    width: float
    along: complex
    length: float
    feet: tuple[complex, complex]


class Middle:
    """The middle line of a region as a graph: nodes with a width, edges between them."""

    def __init__(self, region: MultiPolygon) -> None:
        self.walls = _Walls(region)
        self._diagram(region)

    def _diagram(self, region: MultiPolygon) -> None:
        shapely.prepare(region)
        for _ in range(4):
            ridges = _ridges(self.walls, region)
            spare = self.walls.refined(ridges)
            if spare is None:
                break
            self.walls = spare
        self.nodes, self.edges, self.feet, self.clearance, self.least = ridges.graph(self.walls)

    @property
    def widths(self) -> FloatArray:
        """Width of the region at each node (mm): twice its distance from the walls."""
        return 2 * self.clearance

    @cached_property
    def neighbours(self) -> list[list[int]]:
        """Edges at each node."""
        lists: list[list[int]] = [[] for _ in range(len(self.nodes))]
        for k, (a, b) in enumerate(self.edges.tolist()):
            lists[a].append(k)
            lists[b].append(k)
        return lists

    def necks(self, below: float) -> tuple[Neck, ...]:
        """Every neck narrower than `below` mm, narrowest first; one where several lie at the same place."""
        found = (self._neck(k) for k in self._saddles(below))
        return _apart(sorted((n for n in found if n.width < below), key=lambda n: (n.width, n.at.real)))

    def _saddles(self, below: float) -> list[int]:
        """Edges where, as the width asked for shrinks, two wider parts first join or a loop first closes."""
        order = np.argsort(-self.least, kind="stable")
        wide = int(np.searchsorted(-self.least[order], -below / 2))
        n = len(self.nodes)
        a, b = self.edges[order[:wide]].T
        _, label = connected_components(coo_matrix((np.ones(wide), (a, b)), shape=(n, n)), directed=False)
        peak = np.zeros(n)
        np.maximum.at(peak, label, self.clearance)
        parent, top = label.tolist(), peak.tolist()
        root = list(range(n))

        def find(i: int) -> int:
            i = parent[i]
            while root[i] != i:
                root[i] = root[root[i]]
                i = root[i]
            return i

        saddles = []
        for k in order[wide:].tolist():
            u, v = find(int(self.edges[k, 0])), find(int(self.edges[k, 1]))
            if u == v:
                saddles.append(k)
                continue
            least = float(self.least[k])
            if min(top[u], top[v]) >= max(_PROMINENT * least, least + _PART / 2):
                saddles.append(k)
            root[v] = u
            top[u] = max(top[u], top[v])
        return saddles

    def _neck(self, edge: int) -> Neck:
        path = self._reach(edge, _SAME_WIDTH)
        middle = self._middle(self._reach(edge, _LEVEL))
        i, j = self.feet[middle].tolist()
        p, q = self.walls.narrowest(i, j, float(self.least[middle]) * 2)
        width = abs(q - p)
        along = 1j * (q - p) / width if width > 0 else 1 + 0j
        return Neck((p + q) / 2, width, along, self._length(path, 0.1 * width), (p, q))

    def _length(self, path: list[int], tolerance: float) -> float:
        """Length of the middle line along edges, its zigzag between the points of the walls left out."""
        run = self.nodes[self.edges[path]].mean(axis=1)
        line = LineString(np.column_stack([run.real, run.imag])) if len(path) > 1 else LineString()
        return float(line.simplify(tolerance).length)

    def _middle(self, path: list[int]) -> int:
        """The edge half way along a path of edges."""
        a, b = self.nodes[self.edges[path]].T
        along = np.cumsum(np.abs(b - a))
        return path[int(np.searchsorted(along, along[-1] / 2))]

    def _reach(self, edge: int, times: float) -> list[int]:
        """Edges through `edge` in order: on both sides as far as the width stays below `times` its own."""
        limit = times * float(self.least[edge])
        sides = []
        seen = {edge}
        for node in self.edges[edge].tolist():
            side: list[int] = []
            while True:
                ahead = [k for k in self.neighbours[node] if k not in seen]
                if not ahead:
                    break
                best = max(ahead, key=lambda k: float(self.least[k]))
                if self.least[best] > limit:
                    break
                seen.add(best)
                side.append(best)
                a, b = self.edges[best].tolist()
                node = b if a == node else a
            sides.append(side)
        return [*reversed(sides[0]), edge, *sides[1]]


def _apart(necks: Iterable[Neck]) -> tuple[Neck, ...]:
    """Necks without those that lie within a width of a narrower one, or in the same web."""
    kept: list[Neck] = []
    for neck in necks:
        if all(abs(neck.at - o.at) > max(neck.width, o.width, o.length / 2) for o in kept):
            kept.append(neck)
    return tuple(kept)


class _Walls:
    """Points along the boundary of a region, ring by ring, with where each lies on its ring."""

    def __init__(self, region: MultiPolygon, stations: list[FloatArray] | None = None) -> None:
        self.region = region
        self.rings = [
            ring for polygon in polygons_of(region) for ring in (polygon.exterior, *polygon.interiors)
        ]
        self.lengths = np.array([ring.length for ring in self.rings])
        spacing = float(np.clip(self.lengths.sum() / 4000, *_SPACING))
        self.stations = stations or [_stations(ring, spacing) for ring in self.rings]
        self.z: ComplexArray = np.concatenate(
            [_on(ring, s) for ring, s in zip(self.rings, self.stations, strict=True)]
        )
        self.ring: IntArray = np.repeat(np.arange(len(self.rings)), [len(s) for s in self.stations])
        self.s = np.concatenate(self.stations)
        counts = np.array([len(s) for s in self.stations])
        starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
        index = np.arange(len(self.z))
        self.next: IntArray = np.where(
            index == (starts + counts - 1)[self.ring], starts[self.ring], index + 1
        )

    def refined(self, ridges: _Ridges) -> _Walls | None:
        """Walls with more points where the region is narrow for their spacing; None when fine enough."""
        gap = np.abs(self.z[self.next] - self.z)
        narrow = ridges.narrowest(self)
        need = np.maximum(np.minimum(narrow, narrow[self.next]) / _PER_WIDTH, _FINEST)
        pieces = np.where(np.isfinite(need), np.ceil(np.minimum(gap / need, 8.0) - 1e-9), 1).astype(np.int64)
        if pieces.max(initial=1) <= 1:
            return None
        stations = []
        for k, s in enumerate(self.stations):
            mine = pieces[self.ring == k]
            ahead = np.append(s[1:], self.lengths[k])
            part = np.concatenate([np.arange(n) for n in mine.tolist()]) / np.repeat(mine, mine)
            stations.append(np.repeat(s, mine) + part * np.repeat(ahead - s, mine))
        return _Walls(self.region, stations)

    def detour(self, i: IntArray, j: IntArray) -> FloatArray:
        """Distance from points i to points j along the wall; infinite between rings."""
        apart = np.abs(self.s[i] - self.s[j])
        along = np.minimum(apart, self.lengths[self.ring[i]] - apart)
        return np.where(self.ring[i] == self.ring[j], along, np.inf)

    def narrowest(self, i: int, j: int, width: float) -> tuple[complex, complex]:
        """Ends of the shortest line between the walls round points i and j."""
        reach = 1.5 * width + 0.05
        if self.ring[i] == self.ring[j]:
            length = self.lengths[self.ring[i]]
            apart = abs(self.s[i] - self.s[j])
            reach = min(reach, 0.45 * min(apart, length - apart))
        line = shapely.shortest_line(self._piece(i, reach), self._piece(j, reach))
        p, q = to_complex(shapely.get_coordinates(line)).tolist()
        return p, q

    def _piece(self, i: int, reach: float) -> LineString | Point:
        ring, s, length = self.rings[self.ring[i]], float(self.s[i]), float(self.lengths[self.ring[i]])
        if reach <= 0:
            return Point(self.z[i].real, self.z[i].imag)
        own = _vertices(ring)
        inside = own[(np.mod(own - s + reach, length) < 2 * reach)]
        offset = np.mod(inside - s + reach, length)
        stations = np.concatenate([[s - reach], s - reach + np.sort(offset), [s + reach]])
        z = _on(ring, np.mod(stations, length))
        return LineString(np.column_stack([z.real, z.imag]))


@lru_cache(maxsize=4096)
def _vertices(ring: LinearRing) -> FloatArray:
    """Distances of a ring's own vertices along it."""
    z = to_complex(shapely.get_coordinates(ring))
    return np.asarray(np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])[:-1])


def _stations(ring: LinearRing, spacing: float) -> FloatArray:
    """Distances along a ring of its vertices and of points between them, `spacing` apart at most."""
    own = _vertices(ring)
    ahead = np.append(own[1:], ring.length)
    pieces = np.maximum(np.ceil((ahead - own) / spacing - 1e-9), 1).astype(np.int64)
    part = np.concatenate([np.arange(n) for n in pieces.tolist()]) / np.repeat(pieces, pieces)
    return np.asarray(np.repeat(own, pieces) + part * np.repeat(ahead - own, pieces))


def _on(ring: LinearRing, s: FloatArray) -> ComplexArray:
    z = to_complex(shapely.get_coordinates(ring))
    own = np.append(_vertices(ring), ring.length)
    return np.asarray(np.interp(s, own, z.real) + 1j * np.interp(s, own, z.imag))


@dataclass(frozen=True, slots=True)
class _Ridges:
    """Voronoi ridges inside a region: the two points each lies between and the two nodes it joins."""

    nodes: ComplexArray
    between: IntArray
    joins: IntArray
    across: FloatArray

    def narrowest(self, walls: _Walls) -> FloatArray:
        """For each point the shortest distance to a point that faces it across; infinite where none."""
        least = np.full(len(walls.z), np.inf)
        facing = walls.detour(*self.between.T) > _DETOUR * self.across
        for side in (0, 1):
            np.minimum.at(least, self.between[facing, side], self.across[facing])
        return least

    def graph(self, walls: _Walls) -> tuple[ComplexArray, IntArray, IntArray, FloatArray, FloatArray]:
        """Nodes, edges, feet, clearance at each node, least clearance along each edge."""
        used, flat = np.unique(self.joins, return_inverse=True)
        edges = flat.reshape(-1, 2).astype(np.int64)
        nodes = self.nodes[used]
        clearance = np.full(len(nodes), np.inf)
        for end in (0, 1):
            near = np.abs(nodes[edges[:, end]] - walls.z[self.between[:, 0]])
            np.minimum.at(clearance, edges[:, end], near)
        p, q = walls.z[self.between[:, 0]], walls.z[self.between[:, 1]]
        a, b = nodes[edges[:, 0]], nodes[edges[:, 1]]
        middle = (p + q) / 2
        across = ((a - middle) * (b - middle).conj()).real <= 0
        least = np.where(
            across, np.abs(p - q) / 2, np.minimum(clearance[edges[:, 0]], clearance[edges[:, 1]])
        )
        return nodes, edges, self.between, clearance, least


def _ridges(walls: _Walls, region: MultiPolygon) -> _Ridges:
    """Ridges of the Voronoi diagram of the wall points that lie inside the region, neighbours' left out."""
    xy = np.column_stack([walls.z.real, walls.z.imag])
    diagram = Voronoi(xy)
    inside = shapely.contains_xy(region, diagram.vertices[:, 0], diagram.vertices[:, 1])
    between = np.asarray(diagram.ridge_points, dtype=np.int64)
    joins = np.asarray(diagram.ridge_vertices, dtype=np.int64)
    i, j = between.T
    good = (joins >= 0).all(axis=1) & (walls.next[i] != j) & (walls.next[j] != i)
    good &= inside[joins[:, 0]] & inside[joins[:, 1]]
    across = np.abs(walls.z[i] - walls.z[j])
    good &= (across > 0) & (walls.detour(i, j) > _FORKS * across)
    return _Ridges(to_complex(diagram.vertices), between[good], joins[good], across[good])


@lru_cache(maxsize=8)
def middle_of_keep(pattern: Pattern) -> Middle:
    """Middle line of what survives."""
    return Middle(pattern.keep)


@lru_cache(maxsize=8)
def middle_of_waste(pattern: Pattern) -> Middle:
    """Middle line of what is cut out."""
    return Middle(pattern.waste)


def width_field(pattern: Pattern) -> tuple[FloatArray, FloatArray]:
    """Widths of keep: points on its middle line (n, 2) and the width there (n,), both mm, for a picture."""
    middle = middle_of_keep(pattern)
    return np.column_stack([middle.nodes.real, middle.nodes.imag]), middle.widths
