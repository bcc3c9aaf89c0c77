"""What falls, and when: worked out once the plan is made, with every hole open before the first leg."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import shapely
from shapely import MultiPolygon, Point, Polygon

from cutout.geom.curve import to_complex
from cutout.geom.outline import polygons_of
from cutout.kit import Blade
from cutout.pattern import Pattern
from cutout.saw.model import Hole, Leg
from cutout.saw.planner.spin import swept
from cutout.saw.planner.state import HAIR, SNAPS, THIN

CRUMB = 1.5
"""A smaller piece (mm^2) is a crumb, which falls without a word."""
PLAIN = 0.003
"""The edge of a piece is told this plainly (mm): no vertex within this of the line through its neighbours, none
nearer than a hair to another. Cuts that meet at a hair's breadth leave vertices by the thousand."""


def with_falls(legs: Sequence[Leg], holes: Sequence[Hole], pattern: Pattern, blade: Blade) -> list[Leg]:
    """The legs, each with the waste that comes free while it is sawn."""
    found = []
    standing = {o.id: _less(o.region, holes, o.id) for o in pattern.openings}
    for leg in legs:
        swath: shapely.Geometry = shapely.LineString(leg.path).buffer(
            blade.kerf / 2, quad_segs=32, cap_style="flat"
        )
        if leg.start_by == "spin":
            z = to_complex(leg.path[:2])
            swath = shapely.union(swath, swept(complex(z[0]), complex(z[1] - z[0]), leg.turned, blade))
        drops, standing[leg.opening] = _fallen(standing.get(leg.opening, []), _grown(swath), pattern)
        found.append(replace(leg, drops=MultiPolygon([_plain(p) for p in drops if p.area >= CRUMB])))
    return found


def _plain(piece: Polygon) -> Polygon:
    """A piece without the hairs of its edge."""
    simple = shapely.simplify(piece, PLAIN)
    plain = shapely.remove_repeated_points(simple, HAIR)
    return plain if plain.is_valid and isinstance(plain, Polygon) and not plain.is_empty else simple


def _fallen(
    standing: Sequence[Polygon], tool: shapely.Geometry, pattern: Pattern
) -> tuple[list[Polygon], list[Polygon]]:
    """What falls when `tool` is taken out of what stands, and what still stands; what falls takes hairs with it."""
    drops: list[Polygon] = []
    left: list[Polygon] = []
    touched: list[Polygon] = []
    for piece in standing:
        if not shapely.intersects(piece, tool):
            left.append(piece)
            continue
        for part in polygons_of(shapely.difference(piece, tool)):
            (touched if _is_held(part, pattern) else drops).append(part)
    if drops and touched:
        hairs = shapely.union_all([_grown(p) for p in drops])
        more, touched = _fallen(touched, hairs, pattern)
        drops += more
    return drops, [*left, *touched]


def _grown(geometry: shapely.Geometry) -> shapely.Geometry:
    """With the wood beside it that is too thin to hold anything."""
    return shapely.buffer(geometry, THIN, quad_segs=8)


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
