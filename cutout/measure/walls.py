"""Points along the walls of a region and the Voronoi ridges between them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import Delaunay
from shapely import LinearRing, LineString, MultiPolygon, Point

from cutout.geom.curve import ComplexArray, FloatArray, stations, to_complex
from cutout.geom.outline import polygons_of

IntArray = NDArray[np.int64]

_SPACING = (0.5, 2.0)
"""Least and greatest first spacing of the points (mm)."""

_STATIONS = 3000
"""So many stations draw the finest drawing tried; more only take time."""

_FINEST = 0.1
"""Spacing below which no wall is divided further (mm)."""

MOST_POINTS = 100_000
"""Points one middle line is taken from at most: some 3 s and 150 MB. Usual drawings have 10,000."""

_COARSER = 1.25
"""Where there would be more, walls are divided into pieces so many times longer, until there are not."""

_PER_WIDTH = 3.0
"""Points along a wall for each local width of the region."""

_FORKS = 1.2
"""Middle lines between points less further apart along the wall than this, times across, are its roughness."""

_FINE = 0.01
"""Wall points nearer than this (mm) are looked at: whether the region lies between them."""

_JOGGLE = 1e-5
"""How far (mm) points are joggled while they are triangulated: far less than any size, far more than rounding."""

_GOLDEN = np.array([0.7548776662466927, 0.5698402909980532])
"""Steps that spread points evenly over a square: 1/g and 1/g**2, g the real root of g**3 = g + 1."""

_DETOUR = 3.0
"""Points further apart along the wall than this many times across face each other; nearer ones are a corner's."""


class Walls:
    """Points along the boundary of a region, ring by ring, with where each lies on its ring."""

    def __init__(self, region: MultiPolygon, stations: list[FloatArray] | None = None) -> None:
        self.region = region
        self.rings = [
            ring for polygon in polygons_of(region) for ring in (polygon.exterior, *polygon.interiors)
        ]
        self.lengths = np.array([ring.length for ring in self.rings])
        # Boxes, as the panel's edge, have no form to draw, and how large the panel is must not matter here.
        drawn = [
            length for ring, length in zip(self.rings, self.lengths, strict=True) if len(ring.coords) > 5
        ]
        spacing = float(np.clip(sum(drawn) / _STATIONS, *_SPACING))
        self.stations = stations or [_stations(ring, spacing) for ring in self.rings]
        counts = np.array([len(s) for s in self.stations], dtype=np.int64)
        places = (_on(ring, s) for ring, s in zip(self.rings, self.stations, strict=True))
        self.z: ComplexArray = np.concatenate([np.empty(0, dtype=complex), *places])
        self.s: FloatArray = np.concatenate([np.empty(0), *self.stations])
        self.ring: IntArray = np.repeat(np.arange(len(self.rings)), counts)
        starts = np.cumsum(counts) - counts
        index = np.arange(len(self.z))
        last = (starts + counts - 1)[self.ring]
        self.next: IntArray = np.where(index == last, starts[self.ring], index + 1)
        self.before: IntArray = np.empty_like(self.next)
        self.before[self.next] = index

    def refined(self, ridges: Ridges) -> Walls | None:
        """Walls with more points where the region is narrow for their spacing; None when fine enough.

        Where there would be more than MOST_POINTS the pieces are longer than its width asks for: widths are exact all
        the same, but a neck between two points may be missed. None as well where MOST_POINTS are reached.
        """
        gap = np.abs(self.z[self.next] - self.z)
        narrow = ridges.narrowest(self)
        need = np.maximum(np.minimum(narrow, narrow[self.next]) / _PER_WIDTH, _FINEST)
        pieces = _divided(gap, need)
        if len(gap) >= MOST_POINTS / _COARSER:
            return None
        while pieces.sum() > MOST_POINTS:
            need = need * _COARSER
            pieces = _divided(gap, need)
        if pieces.max(initial=1) <= 1:
            return None
        stations = []
        for k, s in enumerate(self.stations):
            mine = pieces[self.ring == k]
            ahead = np.append(s[1:], self.lengths[k])
            part = _counted(mine) / np.repeat(mine, mine)
            stations.append(np.repeat(s, mine) + part * np.repeat(ahead - s, mine))
        return Walls(self.region, stations)

    def distance(self, z: ComplexArray, i: IntArray) -> FloatArray:
        """Distances of places z from the two runs of wall that meet at points i; all (n,)."""
        return np.minimum(
            _to_run(z, self.z[i], self.z[self.next[i]]), _to_run(z, self.z[self.before[i]], self.z[i])
        )

    def detour(self, i: IntArray, j: IntArray) -> FloatArray:
        """Distance from points i to points j along the wall; infinite between rings."""
        apart = np.abs(self.s[i] - self.s[j])
        along = np.minimum(apart, self.lengths[self.ring[i]] - apart)
        return np.where(self.ring[i] == self.ring[j], along, np.inf)

    def wide_apart(self, i: IntArray, j: IntArray) -> FloatArray:
        """The longest piece of wall that ends at point i or j, each (n,)."""
        ahead = np.abs(self.z[self.next] - self.z)
        longest = np.maximum(ahead, ahead[self.before])
        return np.asarray(np.maximum(longest[i], longest[j]))

    def narrowest(self, i: int, j: int, width: float) -> tuple[complex, complex]:
        """Ends of the shortest line between the walls round points i and j; between parallel walls, near them."""
        # Some way along both walls; a little where the two points coincide.
        reach = 1.5 * width + 0.05
        if self.ring[i] == self.ring[j]:
            reach = min(reach, 0.45 * float(self.detour(np.array([i]), np.array([j]))[0]))
        lines = [
            shapely.shortest_line(self._piece(i, part * reach), self._piece(j, part * reach))
            for part in (1.0, 0.3, 0.1)
        ]
        # Shorter pieces only where they find the same width, to a tenth of the working resolution.
        good = [line for line in lines if line.length <= lines[0].length + 1e-3]
        # Short pieces may end before they face each other squarely: from one foot straight across.
        across = shapely.shortest_line(shapely.get_point(good[-1], 0), self._piece(j, reach))
        back = shapely.shortest_line(shapely.get_point(across, -1), self._piece(i, reach))
        q, p = to_complex(shapely.get_coordinates(back)).tolist()
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


def _divided(gap: FloatArray, need: FloatArray) -> IntArray:
    """Into how many pieces, at most 8, each gap (n,) is divided, so that none is longer than is needed (n,)."""
    return np.where(np.isfinite(need), np.ceil(np.minimum(gap / need, 8.0) - 1e-9), 1).astype(np.int64)


def _to_run(z: ComplexArray, a: ComplexArray, b: ComplexArray) -> FloatArray:
    """Distances of places z from straight runs a..b, all (n,)."""
    along = b - a
    square = np.maximum((along * along.conj()).real, 1e-18)
    part = np.clip(((z - a) * along.conj()).real / square, 0.0, 1.0)
    return np.abs(z - a - part * along)


@lru_cache(maxsize=4096)
def _vertices(ring: LinearRing) -> FloatArray:
    """Distances of a ring's own vertices along it."""
    return stations(to_complex(shapely.get_coordinates(ring)))[:-1]


def _stations(ring: LinearRing, spacing: float) -> FloatArray:
    """Distances along a ring of its vertices and of points between them, `spacing` apart at most."""
    own = _vertices(ring)
    ahead = np.append(own[1:], ring.length)
    pieces = np.maximum(np.ceil((ahead - own) / spacing - 1e-9), 1).astype(np.int64)
    part = _counted(pieces) / np.repeat(pieces, pieces)
    return np.asarray(np.repeat(own, pieces) + part * np.repeat(ahead - own, pieces))


def _counted(pieces: IntArray) -> IntArray:
    """0, 1, 2 ... up to each number of pieces, one after the other."""
    ends = np.cumsum(pieces)
    return np.arange(ends[-1]) - np.repeat(ends - pieces, pieces)


def _on(ring: LinearRing, s: FloatArray) -> ComplexArray:
    z = to_complex(shapely.get_coordinates(ring))
    own = np.append(_vertices(ring), ring.length)
    return np.asarray(np.interp(s, own, z.real) + 1j * np.interp(s, own, z.imag))


@dataclass(frozen=True, slots=True)
class Ridges:
    """Voronoi ridges inside a region: the two points each lies between and the two nodes it joins.

    close: (k, 2) points that face each other across the region from so near that the nodes between them lie outside:
    no ridge is seen there until the walls are divided further.
    """

    nodes: ComplexArray
    between: IntArray
    joins: IntArray
    across: FloatArray
    close: IntArray

    def narrowest(self, walls: Walls) -> FloatArray:
        """For each point the shortest distance to a point that faces it across; infinite where none."""
        least = np.full(len(walls.z), np.inf)
        facing = walls.detour(*self.between.T) > _DETOUR * self.across
        i, j = np.concatenate([self.between[facing], self.close]).T
        for side in (i, j):
            np.minimum.at(least, side, np.abs(walls.z[i] - walls.z[j]))
        return least

    def graph(self, walls: Walls) -> tuple[ComplexArray, IntArray, IntArray, FloatArray, FloatArray]:
        """Nodes, edges, feet, clearance at each node, least clearance along each edge."""
        used, flat = np.unique(self.joins, return_inverse=True)
        edges = flat.reshape(-1, 2).astype(np.int64)
        nodes = self.nodes[used]
        clearance = np.full(len(nodes), np.inf)
        for end in (0, 1):
            for foot in (0, 1):
                near = walls.distance(nodes[edges[:, end]], self.between[:, foot])
                np.minimum.at(clearance, edges[:, end], near)
        i, j = self.between.T
        a, b = nodes[edges[:, 0]], nodes[edges[:, 1]]
        middle = (walls.z[i] + walls.z[j]) / 2
        across = ((a - middle) * (b - middle).conj()).real <= 0
        least = np.minimum(clearance[edges[:, 0]], clearance[edges[:, 1]])
        there = np.minimum(walls.distance(middle, i), walls.distance(middle, j))
        least = np.where(across, np.minimum(least, there), least)
        return nodes, edges, self.between, clearance, least


def ridges_of(walls: Walls, region: MultiPolygon) -> Ridges:
    """Ridges of the Voronoi diagram of the wall points that lie inside the region, neighbours' left out.

    Taken from the Delaunay triangulation, its dual, which scipy makes in two thirds of the time.
    """
    if len(walls.z) < 4:
        none = np.empty((0, 2), dtype=np.int64)
        return Ridges(np.empty(0, dtype=complex), none, none, np.empty(0), none)
    mesh = Delaunay(_joggled(walls))
    corners = np.sort(mesh.simplices.astype(np.int64), axis=1)
    # Qhull's order changes with points far off; this one does not, and with it not a last bit of what is measured.
    order = np.lexsort(corners.T[::-1])
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    triangle, side = np.nonzero(mesh.neighbors > np.arange(len(corners))[:, None])
    ends = mesh.simplices[triangle[:, None], (side[:, None] + [1, 2]) % 3].astype(np.int64)
    i, j = np.sort(ends, axis=1).T
    joins = np.sort(rank[np.column_stack([triangle, mesh.neighbors[triangle, side]])], axis=1)
    across = np.abs(walls.z[i] - walls.z[j])
    centres = _circumcentres(walls.z[corners[order]])
    within = _inside(region, centres)[joins].all(axis=1)
    detour = np.where((walls.next[i] != j) & (walls.next[j] != i), walls.detour(i, j), 0.0)
    between = np.column_stack([i, j])
    kept = np.flatnonzero(within & (detour > _FORKS * across))
    kept = kept[~_beyond(region, walls.z[between[kept]])]
    kept = kept[np.lexsort((j[kept], i[kept]))]
    near = np.flatnonzero(~within & (detour > _DETOUR * across) & (across < walls.wide_apart(i, j)))
    close = between[near[_inside(region, walls.z[between[near]].mean(axis=1))]]
    return Ridges(centres, between[kept], joins[kept], across[kept], close)


def _beyond(region: MultiPolygon, pairs: ComplexArray) -> NDArray[np.bool_]:
    """Whether pairs of wall points (n, 2) face each other through what is not the region.

    Where that is finer than the steps between the points, at the very tip of a point, both nodes lie inside.
    """
    found = np.zeros(len(pairs), dtype=bool)
    fine = np.flatnonzero(np.abs(pairs[:, 0] - pairs[:, 1]) < _FINE)
    found[fine] = ~_inside(region, pairs[fine].mean(axis=1))
    return found


def _joggled(walls: Walls) -> FloatArray:
    """Points (n, 2) hardly moved, by the same steps each time, so that no four lie on one circle.

    Points along straight and parallel walls do by the thousand, and Qhull, which merges and divides such facets,
    takes twice as long over them as over points at random. Each ring's steps are its own: they do not change with
    how many points another ring has.
    """
    of = walls.ring
    first = np.searchsorted(of, of)
    along, begins = np.arange(len(of)) - first, walls.z[first]
    offset = np.column_stack([begins.real, begins.imag]) * _GOLDEN[::-1]
    steps = np.modf(along[:, None] * _GOLDEN + np.abs(offset))[0] - 0.5
    return np.asarray(np.column_stack([walls.z.real, walls.z.imag]) + _JOGGLE * steps)


def _inside(region: MultiPolygon, z: ComplexArray) -> NDArray[np.bool_]:
    """Whether places lie inside a region, asked along the axis that fewer of its edges overlap on.

    GEOS sorts edges by their extent in y: beside needles that stand upright it looks at all of them for each place.
    """
    edges = np.abs(np.diff(shapely.get_coordinates(region), axis=0)).sum(axis=0)
    if edges[1] <= 2 * edges[0]:
        return np.asarray(shapely.contains_xy(region, z.real, z.imag))
    swapped = shapely.transform(region, lambda xy: xy[:, ::-1])
    shapely.prepare(swapped)
    return np.asarray(shapely.contains_xy(swapped, z.imag, z.real))


def _circumcentres(z: ComplexArray) -> ComplexArray:
    """Centres of the circles through triangles (n, 3); not finite where the corners lie on a line."""
    b, c = z[:, 1] - z[:, 0], z[:, 2] - z[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        lifted = b * (c * c.conj()) - c * (b * b.conj())
        return np.asarray(z[:, 0] + lifted / (b * c.conj() - b.conj() * c))
