"""Where straight lines cross the edges of several regions: many lines at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree

from cutout.geom.curve import FloatArray

IntArray = NDArray[np.int64]


_PIECE = 1 / 24
"""A line is looked up in pieces of this share of the way across all edges."""


@dataclass(frozen=True)
class Edges:
    """Every straight edge of some polygons: `a` to `b` (n, 2), and which polygon each belongs to (n,).

    piece: lines longer than this (mm) are looked up piece by piece.
    """

    a: FloatArray
    b: FloatArray
    owner: IntArray
    tree: STRtree
    piece: float

    @classmethod
    def of(cls, polygons: Sequence[Polygon]) -> Edges:
        """The edges of all rings of `polygons`; `owner` counts in their order."""
        array = np.array(polygons, dtype=object)
        rings, owner = shapely.get_rings(array, return_index=True)
        points, ring = shapely.get_coordinates(rings, return_index=True)
        within = ring[1:] == ring[:-1]
        a, b = points[:-1][within], points[1:][within]
        lines = np.asarray(shapely.linestrings(np.stack([a, b], axis=1)), dtype=object)
        x0, y0, x1, y1 = shapely.total_bounds(array).tolist()
        piece = _PIECE * float(np.hypot(x1 - x0, y1 - y0)) if len(a) else 1.0
        return cls(a, b, owner[ring[:-1][within]], STRtree(lines), piece)


@dataclass(frozen=True)
class Crossings:
    """The first `k` crossings along each of n lines: distance from its start, the owner and the edge crossed.

    Rows are padded with inf and -1.
    """

    distance: FloatArray
    owner: IntArray
    edge: IntArray


def _met(
    edges: Edges, start: FloatArray, direction: FloatArray, reach: FloatArray
) -> tuple[IntArray, IntArray]:
    """Which line meets which edge, each pair once.

    Long lines are looked up piece by piece: the bounds of a slanting one hold nearly every edge.
    """
    count = np.maximum(np.ceil(reach / edges.piece), 1).astype(np.int64)
    of = np.repeat(np.arange(len(start)), count)
    part = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    ends = [
        start[of] + direction[of] * (reach[of] * np.minimum((part + k) / count[of], 1.0))[:, None]
        for k in (0, 1)
    ]
    piece, edge = edges.tree.query(shapely.linestrings(np.stack(ends, axis=1)), predicate="intersects")
    pairs = np.unique(np.column_stack([of[piece], edge]), axis=0)
    return pairs[:, 0], pairs[:, 1]


def crossings(edges: Edges, start: FloatArray, direction: FloatArray, reach: FloatArray, k: int) -> Crossings:
    """The first `k` edges crossed by lines from `start` (n, 2) along unit `direction` (n, 2) up to `reach` (n,).

    Distances are in the unit of the input, ascending along each row. Edges parallel to a line are passed over.
    """
    n = len(start)
    shape = (n, k)
    found = Crossings(np.full(shape, np.inf), np.full(shape, -1), np.full(shape, -1))
    line, edge = _met(edges, start, direction, reach)
    along, across = edges.b[edge] - edges.a[edge], edges.a[edge] - start[line]
    d = direction[line]
    turn = d[:, 0] * along[:, 1] - d[:, 1] * along[:, 0]
    usable = np.abs(turn) > 1e-12
    line, edge, along, across, turn = line[usable], edge[usable], along[usable], across[usable], turn[usable]
    distance = (across[:, 0] * along[:, 1] - across[:, 1] * along[:, 0]) / turn
    order = np.lexsort((distance, line))
    line, edge, distance = line[order], edge[order], distance[order]
    # A line through a vertex meets both edges there: count the place once.
    again = (line[1:] == line[:-1]) & (edges.owner[edge[1:]] == edges.owner[edge[:-1]])
    again &= np.diff(distance) < 1e-9
    once = np.concatenate([[True], ~again]) if len(line) else np.zeros(0, dtype=bool)
    line, edge, distance = line[once], edge[once], distance[once]
    rank = np.arange(len(line)) - np.searchsorted(line, line)
    first = rank < k
    at = (line[first], rank[first])
    found.distance[at], found.owner[at], found.edge[at] = (
        distance[first],
        edges.owner[edge[first]],
        edge[first],
    )
    return found
