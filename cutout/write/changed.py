"""Where easing moved the outline far enough to be seen."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from cutout.geom.outline import polygons_of
from cutout.write.work import Work

DEEP = 0.3
"""Changes thinner than this (mm) are not shown: a saw does not hold them either."""

_ONE_PLACE = 5.0
"""Changes closer than this (mm) are one place, like the two sides of a rounded corner."""

_BRIDGE_RIM = 0.05
"""What lies so near round a bridge (mm) belongs to it."""


def eased_places(work: Work) -> tuple[tuple[float, float], ...]:
    """Middles (mm, panel frame) of the places where the mended figure differs from the one laid out, by more
    than `DEEP` and apart from bridges; from the top left."""
    return work.once(eased_places, lambda: _eased_places(work))


def _eased_places(work: Work) -> tuple[tuple[float, float], ...]:
    if work.before.figure.equals(work.pattern.figure):
        return ()
    changed = shapely.symmetric_difference(work.before.figure, work.pattern.figure)
    bridges = shapely.union_all([b.area for b in work.bridges]).buffer(_BRIDGE_RIM)
    parts = polygons_of(shapely.buffer(shapely.difference(changed, bridges), -DEEP / 2))
    if not parts:
        return ()
    spots = np.array([shapely.get_coordinates(shapely.point_on_surface(p))[0] for p in parts])
    near = cKDTree(spots).query_pairs(_ONE_PLACE, output_type="ndarray")
    beside = coo_matrix((np.ones(len(near)), near.T), (len(spots), len(spots)))
    _, groups = connected_components(beside, directed=False)
    areas = np.array([p.area for p in parts])
    order = np.lexsort((-areas, groups))  # the largest part of each group first
    _, first = np.unique(groups[order], return_index=True)
    places = spots[order[first]].tolist()
    rounded = [(round(x, 3), round(y, 3)) for x, y in places]
    return tuple(sorted(rounded, key=lambda at: (-at[1], at[0])))
