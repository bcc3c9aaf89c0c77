"""Widths of a region everywhere, and the necks where it is narrow between wider parts.

The middle line (medial axis) of a region comes from the Voronoi diagram of points along its boundary: the
ridges inside the region between points that are not neighbours. Point spacing follows the local width, so
that the middle line has the right shape; the width of a neck is then measured between the two walls
themselves, exactly, whatever the spacing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components, dijkstra
from scipy.spatial import cKDTree
from shapely import LineString, MultiPolygon

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.measure.walls import Walls, ridges_of
from cutout.pattern import Pattern

_PROMINENT = 1.15
"""A neck counts when the region is this much wider on both sides of it."""

_PART = 0.3
"""A wider part counts only if it is this much (mm) wider than the neck."""

_ROUNDS = 3
"""Times the walls are divided further at most; each round divides by up to 8."""

_SAME_WIDTH = 1.1
"""A web reaches as far as the width stays below this many times its least width."""

_TAPERED = 0.7
"""... and above this many times that."""

_LEVEL = 1.02
"""A web is level where its width stays below this many times its least width: its middle stands for it."""


@dataclass(frozen=True, slots=True)
class Neck:
    """A narrow place between wider parts; mm.

    feet: where the narrowest line across meets the two walls. at: its middle. width: its length.
    along: unit direction of the web, square to that line. length: how far the region stays about as narrow.
    part: width of the lesser of the two parts it joins, infinite where both are one (round an opening).
    """

    at: complex
    width: float
    along: complex
    length: float
    feet: tuple[complex, complex]
    part: float


@dataclass(frozen=True, slots=True)
class Arm:
    """A narrow part held at one end only; mm.

    at: half way along it. width: its width there. along: unit direction from the root to the tip. length:
    along its middle line, from where the region gets as narrow as was asked. tip: its far end.
    """

    at: complex
    width: float
    along: complex
    length: float
    tip: complex


class Middle:
    """The middle line of a region as a graph: nodes with a width, edges between them."""

    def __init__(self, region: MultiPolygon) -> None:
        # Where its rings begin, and in what order they come, is no matter of its shape.
        region = shapely.normalize(region)
        shapely.prepare(region)
        self.walls = Walls(region)
        ridges = ridges_of(self.walls, region)
        for _ in range(_ROUNDS):
            finer = self.walls.refined(ridges)
            if finer is None:
                break
            self.walls = finer
            ridges = ridges_of(self.walls, region)
        self.nodes, self.edges, self.feet, self.clearance, self.least = ridges.graph(self.walls)

    @property
    def widths(self) -> FloatArray:
        """Width of the region at each node (mm): twice its distance from the walls."""
        return 2 * self.clearance

    @cached_property
    def tree(self) -> cKDTree:
        """The nodes, to be asked which of them lie near a place."""
        return cKDTree(np.column_stack([self.nodes.real, self.nodes.imag]))

    @cached_property
    def facing(self) -> FloatArray:
        """For each edge how many times longer the way along the walls is than across; infinite between rings."""
        i, j = self.feet.T
        across = np.maximum(np.abs(self.walls.z[i] - self.walls.z[j]), 1e-12)
        return np.asarray(self.walls.detour(i, j) / across)

    @cached_property
    def neighbours(self) -> list[list[int]]:
        """Edges at each node."""
        lists: list[list[int]] = [[] for _ in range(len(self.nodes))]
        for k, (a, b) in enumerate(self.edges.tolist()):
            lists[a].append(k)
            lists[b].append(k)
        return lists

    def necks(self, below: float, *, jams: bool = False) -> tuple[Neck, ...]:
        """Every neck narrower than `below` mm, narrowest first; one where several lie at the same place.

        jams: those between parts that both are at least `below` wide, however little more than the neck itself: where
        something of that width would jam.
        """
        if len(self.nodes) == 0:
            return ()
        found = (self._neck(k) for k in self._saddles(below, jams))
        return _apart(sorted((n for n in found if n.width < below), key=lambda n: (n.width, n.at.real)))

    def _saddles(self, below: float, jams: bool) -> list[_Saddle]:
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
        rest = order[wide:]
        ends, leasts = self.edges[rest].tolist(), self.least[rest].tolist()
        saddles = []
        for k, (u, v), least in zip(rest.tolist(), ends, leasts, strict=True):
            u, v = parent[u], parent[v]
            while root[u] != u:
                root[u] = u = root[root[u]]
            while root[v] != v:
                root[v] = v = root[root[v]]
            if u == v:
                saddles.append(_Saddle(k, math.inf))
                continue
            part, whole = (top[u], top[v]) if top[u] < top[v] else (top[v], top[u])
            enough = below / 2 if jams else max(_PROMINENT * least, least + _PART / 2)
            if part >= enough:
                saddles.append(_Saddle(k, 2 * part))
            root[v] = u
            top[u] = whole
        return saddles

    def arms(self, below: float, least: float) -> tuple[Arm, ...]:
        """Parts narrower than `below` mm that hang on wider ones by one end and are `least` mm long or more."""
        if len(self.nodes) == 0:
            return ()
        thin = self.widths < below
        a, b = self.edges.T
        inner = thin[a] & thin[b]
        n = len(self.nodes)
        steps = np.abs(self.nodes[a] - self.nodes[b])[inner] + 1e-9
        graph = coo_matrix((steps, (a[inner], b[inner])), shape=(n, n)).tocsr()
        _, label = connected_components(graph, directed=False)
        roots = np.concatenate([a[thin[a] & ~thin[b]], b[thin[b] & ~thin[a]]])
        if len(roots) == 0:
            return ()
        roots = roots[np.argsort(label[roots], kind="stable")]
        held, first = np.unique(label[roots], return_index=True)
        by_part = np.argsort(label, kind="stable")
        starts = np.searchsorted(label[by_part], [held, held + 1])
        found = []
        for low, high, at in zip(*starts.tolist(), np.split(roots, first[1:]), strict=True):
            nodes = by_part[low:high]
            away = np.abs(self.nodes[nodes] - self.nodes[at[0]])
            # A first sieve: bent arms reach less far than they are long, which is measured below.
            if away.max() >= 0.8 * least and np.ptp(np.abs(self.nodes[at] - self.nodes[at[0]])) < below / 2:
                found.append(self._arm(graph, nodes, int(at[0])))
        return tuple(arm for arm in found if arm.length >= least)

    def _arm(self, graph: csr_matrix, nodes: NDArray[np.intp], root: int) -> Arm:
        """The arm from `root` to the farthest of the nodes of its part (ascending)."""
        own = graph[nodes][:, nodes]
        start = int(np.searchsorted(nodes, root))
        (far,), (before,) = dijkstra(own, directed=False, indices=[start], return_predecessors=True)
        tip = int(np.argmax(np.where(np.isfinite(far), far, -1.0)))
        way = [tip]
        while way[-1] != start:
            way.append(int(before[way[-1]]))
        half = int(nodes[way[int(np.argmin(np.abs(far[way] - far[tip] / 2)))]])
        end = int(nodes[tip])
        along = complex(self.nodes[end] - self.nodes[root])
        z = complex(self.nodes[half])
        return Arm(z, float(self.widths[half]), along / abs(along), float(far[tip]), complex(self.nodes[end]))

    def _neck(self, saddle: _Saddle) -> Neck:
        path = self._path(saddle.edge, _SAME_WIDTH)
        level = self._path(saddle.edge, _LEVEL)
        middle = level.edges[self._half_way(level, _LEVEL * 2 * float(self.least[saddle.edge]))]
        i, j = self.feet[middle].tolist()
        p, q = self.walls.narrowest(i, j, float(self.least[middle]) * 2)
        width = abs(q - p)
        along = 1j * (q - p) / width if width > 0 else 1 + 0j
        return Neck((p + q) / 2, width, along, self._length(path, width), (p, q), saddle.part)

    def _half_way(self, path: _Path, width: float) -> int:
        """Which edge of a path lies half way along it, to where it is as wide as `width`."""
        steps = np.abs(np.diff(self._run(path, width)))
        return int(np.searchsorted(np.cumsum(steps), steps.sum() / 2))

    def _length(self, path: _Path, width: float) -> float:
        """Length of the middle line along a path, to where it first is _SAME_WIDTH times `width` wide."""
        z = self._run(path, _SAME_WIDTH * width)
        # A middle line trembles by a share of the width; that is no length.
        return float(LineString(np.column_stack([z.real, z.imag])).simplify(0.1 * width).length)

    def _run(self, path: _Path, width: float) -> ComplexArray:
        """Places of a path's nodes, its ends drawn in to where the region first is `width` wide.

        Past the end of its walls' straight run the clearance r grows as r^2 = r0^2 + x^2: a corner is near.
        """
        z, r, limit = self.nodes[path.nodes].copy(), self.clearance[path.nodes], width / 2
        for end, inner in ((0, 1), (-1, -2)):
            if r[end] > limit >= r[inner]:
                part = math.sqrt((limit**2 - r[inner] ** 2) / (r[end] ** 2 - r[inner] ** 2))
                z[end] = z[inner] + part * (z[end] - z[inner])
            elif r[end] > limit:
                z[end] = z[inner] + limit / r[end] * (z[end] - z[inner])
        return z

    def _path(self, edge: int, times: float) -> _Path:
        """The way through `edge`: on both sides as far as the width stays below `times` its own."""
        limit = times * float(self.least[edge])
        edges, nodes = [edge], self.edges[edge].tolist()
        seen = {edge}
        for _ in range(2):
            while True:
                ahead = [k for k in self.neighbours[nodes[-1]] if k not in seen]
                best = max(ahead, key=lambda k: float(self.least[k]), default=-1)
                if best < 0 or not _TAPERED * limit <= self.least[best] <= limit:
                    break
                seen.add(best)
                edges.append(best)
                a, b = self.edges[best].tolist()
                nodes.append(b if a == nodes[-1] else a)
            edges.reverse()
            nodes.reverse()
        return _Path(edges, nodes)


@dataclass(frozen=True, slots=True)
class _Saddle:
    """An edge where two wider parts join, and how wide the lesser of them gets; infinite where a loop closes."""

    edge: int
    part: float


@dataclass(frozen=True, slots=True)
class _Path:
    """Edges in order, and the nodes before, between and after them."""

    edges: list[int]
    nodes: list[int]


def _apart(necks: Iterable[Neck]) -> tuple[Neck, ...]:
    """Necks without those that lie within a width of a narrower one, or in the same web."""
    kept: list[Neck] = []
    many = list(necks)
    at = np.array([n.at for n in many], dtype=complex)
    around = np.array([max(n.width, n.length / 2) for n in many])
    stays = np.zeros(len(many), dtype=bool)
    for k, neck in enumerate(many):
        apart = np.abs(at[:k] - at[k])[stays[:k]]
        if (apart > np.maximum(around[:k][stays[:k]], neck.width)).all():
            stays[k] = True
            kept.append(neck)
    return tuple(kept)


@lru_cache(maxsize=8)
def middle_of_keep(pattern: Pattern) -> Middle:
    """Middle line of what survives."""
    return Middle(pattern.keep)


@lru_cache(maxsize=8)
def middle_of_waste(pattern: Pattern) -> Middle:
    """Middle line of what is cut out."""
    return Middle(pattern.waste)
