"""Free arms: parts of a region that hang on the rest by one end, followed from root to tip."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.measure.widths import Middle


@dataclass(frozen=True, eq=False)
class FreeArm:
    """The middle line of an arm from where it leaves its parent to its tip; mm, n places.

    z (n,): places. width (n,): of the region there. beyond (n,): how far the arm goes on from there to its
    tip, along the middle line.
    """

    z: ComplexArray
    width: FloatArray
    beyond: FloatArray

    @cached_property
    def along(self) -> ComplexArray:
        """Unit direction of the arm at each place, taken over a width to either side; (n,)."""
        s = self.beyond[0] - self.beyond
        ends = [np.clip(s + side * self.width, s[0], s[-1]) for side in (-1, 1)]
        back, ahead = (np.interp(e, s, self.z.real) + 1j * np.interp(e, s, self.z.imag) for e in ends)
        chord = ahead - back
        return np.asarray(chord / np.maximum(np.abs(chord), 1e-12))


def free_arms(middle: Middle, least: float) -> tuple[FreeArm, ...]:
    """Every arm of a region that is `least` mm long or more; where an arm forks, the shorter prongs are their own.

    The middle line without its loops is a forest: leaves are taken off one by one, until the loops are left,
    or in a part without any loop its widest place. What was taken off is free at its tip.
    """
    if len(middle.nodes) == 0:
        return ()
    parent, order = _taken_off(middle)
    steps = np.abs(middle.nodes - middle.nodes[parent]).tolist()
    up = parent.tolist()
    beyond = middle.clearance.tolist()
    longer: dict[int, int] = {}
    for node in order:
        if (reach := beyond[node] + steps[node]) > beyond[up[node]] or up[node] not in longer:
            beyond[up[node]] = max(reach, beyond[up[node]])
            longer[up[node]] = node
    free = set(order)
    reach_of = np.array(beyond)
    tops = [n for n in order if (up[n] not in free or longer[up[n]] != n) and beyond[n] >= least]
    arms = []
    for top in sorted(tops):
        way = [top]
        while way[-1] in longer:
            way.append(longer[way[-1]])
        if len(way) > 1:
            nodes = np.array(way)
            arms.append(FreeArm(middle.nodes[nodes], middle.widths[nodes], reach_of[nodes]))
    return tuple(arms)


def _taken_off(middle: Middle) -> tuple[np.ndarray, list[int]]:
    """Each node's parent, itself where it was not taken off; and those that were, tips first."""
    n = len(middle.nodes)
    a, b = middle.edges.T
    _, label = connected_components(coo_matrix((np.ones(len(a)), (a, b)), shape=(n, n)), directed=False)
    widest = np.lexsort((-middle.clearance, label))
    stays = np.zeros(n, dtype=bool)
    stays[widest[np.unique(label[widest], return_index=True)[1]]] = True
    degree = np.bincount(middle.edges.ravel(), minlength=n).tolist()
    parent = np.arange(n)
    gone = [False] * n
    order: list[int] = []
    ready = np.flatnonzero((np.array(degree) == 1) & ~stays).tolist()
    edges, neighbours = middle.edges.tolist(), middle.neighbours
    while ready:
        node = ready.pop()
        ahead = [m for k in neighbours[node] for m in edges[k] if m != node and not gone[m]]
        if len(ahead) != 1:
            continue
        gone[node] = True
        order.append(node)
        parent[node] = ahead[0]
        degree[ahead[0]] -= 1
        if degree[ahead[0]] == 1 and not stays[ahead[0]]:
            ready.append(ahead[0])
    return parent, order
