"""What falls, and when: worked out once the plan is made, with every hole open before the first leg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely import MultiPolygon, Point, Polygon

from cutout.geom.outline import polygons_of
from cutout.pattern import Pattern
from cutout.saw.model import Hole, Leg

THIN = 0.05
"""Wood thinner than this (mm) holds nothing."""
SNAPS = 0.6
"""A piece that hangs on no more outline than this (mm) breaks off."""
CRUMB = 1.5
"""A smaller piece (mm^2) is a crumb, which falls without a word."""


def with_falls(legs: Sequence[Leg], holes: Sequence[Hole], pattern: Pattern, kerf: float) -> list[Leg]:
    """The legs, each with the waste that comes free while it is sawn."""
    found = []
    standing = {o.id: _less(o.region, holes, o.id) for o in pattern.openings}
    for leg in legs:
        swath = shapely.LineString(leg.path).buffer(kerf / 2 + THIN, quad_segs=32, cap_style="flat")
        drops: list[Polygon] = []
        left: list[Polygon] = []
        for piece in standing.get(leg.opening, []):
            if not shapely.intersects(piece, swath):
                left.append(piece)
                continue
            for part in polygons_of(shapely.difference(piece, swath)):
                (left if _is_held(part, pattern) else drops).append(part)
        standing[leg.opening] = left
        found.append(replace(leg, drops=MultiPolygon([p for p in drops if p.area >= CRUMB])))
    return found


def _less(region: Polygon, holes: Sequence[Hole], opening: int) -> list[Polygon]:
    discs = [Point(h.at).buffer(h.diameter / 2 + THIN, quad_segs=64) for h in holes if h.opening == opening]
    return list(polygons_of(shapely.difference(region, shapely.union_all(discs)))) if discs else [region]


def _is_held(piece: Polygon, pattern: Pattern) -> bool:
    """Whether keep holds a piece along more of its outline than a nib breaks off at."""
    if not shapely.dwithin(pattern.keep, piece, THIN / 2):
        return False
    if piece.area < 4 * SNAPS**2:
        return True
    x0, y0, x1, y1 = piece.bounds
    near = shapely.clip_by_rect(pattern.keep, x0 - 1, y0 - 1, x1 + 1, y1 + 1)
    contact = shapely.intersection(piece.boundary, shapely.buffer(near, THIN / 2))
    return float(shapely.length(contact)) > SNAPS
