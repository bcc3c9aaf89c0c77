"""Where the middle of a bit may go: the waste, drawn in by the bit's radius."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Bit
from cutout.pattern import Opening, Pattern
from cutout.route.model import Purpose, Side

SAGITTA = 5e-4
"""Greatest distance (mm) between a round of the offset and its chords. GEOS errs up to 2.25 times that."""
_FINE = 1e-3
"""Greatest distance (mm) between a curve of the outline and the chords the path is worked out from."""
_CREVICE = 5e-3
"""What is thinner than this (mm) counts as reached: it is rounding of the offset, not wood."""
_BORE, SPOT = 0.008, 0.004
"""A round opening this near the bit's size (mm) is drilled; its path is a circle of the second radius (mm)."""
_OVERLAP = 0.2
"""Share of the bit's diameter by which neighbouring clearing runs overlap."""


@dataclass(frozen=True, slots=True)
class Space:
    """Room a bit may sweep: one connected region, and the number of the opening it belongs to.

    It reaches past the panel's edge where the waste does, so that the bit can run out into the air.
    """

    opening: int
    region: Polygon


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """A closed run (n, 2) of the bit's middle in cutting direction, not yet fitted."""

    opening: int
    side: Side
    xy: FloatArray
    bit: Bit
    purpose: Purpose


def quad_segs(radius: float, sagitta: float = SAGITTA) -> int:
    """Chords per quarter circle that keep radius * (1 - cos(step / 2)) within `sagitta`."""
    ratio = max(1 - sagitta / radius, 0.0) if radius > 0 else 0.0
    return max(8, math.ceil(math.pi / 4 / math.acos(ratio)))


def grow(region: shapely.Geometry, by: float) -> MultiPolygon:
    """The region drawn out (or in, when negative) with rounds true to SAGITTA."""
    return as_multi(shapely.buffer(region, by, quad_segs=quad_segs(abs(by))))


def finely(pattern: Pattern) -> Pattern:
    """The same pattern with its curves drawn closer, so that arcs come out as arcs and not as their chords."""
    board = pattern.panel.polygon
    figure = as_multi(shapely.intersection(pattern.outline.region(_FINE), board))
    waste = figure if pattern.keep_mode == "panel" else as_multi(shapely.difference(board, figure))
    if pattern.keep_mode == "both":
        return replace(pattern, figure=figure)
    parts = np.array(polygons_of(waste), dtype=object)
    openings = [o for opening in pattern.openings for o in _redrawn(opening, parts)]
    waste = MultiPolygon([o.region for o in openings])
    keep = as_multi(shapely.difference(board, waste))
    return replace(pattern, figure=figure, waste=waste, keep=keep, openings=tuple(openings))


def _redrawn(opening: Opening, parts: np.ndarray) -> Iterator[Opening]:
    """The opening with the region among `parts` that shares most with it."""
    if len(parts):
        shared = shapely.area(shapely.intersection(parts, opening.region))
        best = int(np.argmax(shared))
        if shared[best] > opening.region.area / 2:
            yield replace(opening, region=parts[best])
            return
    yield opening


def guarded(pattern: Pattern) -> MultiPolygon:
    """The wood no bit may touch: what is kept; with keep `both` the figure, which stays exact."""
    return pattern.figure if pattern.keep_mode == "both" else pattern.keep


def spaces(pattern: Pattern, margin: float) -> tuple[Space, ...]:
    """The rooms a bit may sweep, up to `margin` mm past the panel's edge, by opening.

    None where nothing is to be cut, or nothing stays.
    """
    if not pattern.openings or guarded(pattern).is_empty:
        return ()
    if pattern.keep_mode == "panel":
        return tuple(s for o in pattern.openings for s in _opening_spaces(o, pattern, margin))
    air = grow(pattern.panel.polygon, margin)
    rooms = polygons_of(shapely.difference(air, guarded(pattern)))
    numbers = _numbers(rooms, pattern.openings)
    return tuple(Space(n, room) for n, room in sorted(zip(numbers, rooms, strict=True), key=lambda p: p[0]))


def rest(region: shapely.Geometry, centre: MultiPolygon, radius: float) -> MultiPolygon:
    """What a bit of `radius` leaves of `region` when its middle goes everywhere in `centre`."""
    return as_multi(shapely.difference(region, grow(centre, radius + _CREVICE)))


def contours(space: Space, centre: MultiPolygon, pattern: Pattern, bit: Bit) -> Iterator[Run]:
    """The runs along the border of `centre`, the part of `space` open to the bit's middle.

    The run round the whole panel is left out: nothing is cut there.
    """
    for room in polygons_of(centre):
        for run in around(room, space.opening, bit, "outline"):
            if run.side == "outside" or not _round_the_panel(room, pattern):
                yield run


def around(room: Polygon, opening: int, bit: Bit, purpose: Purpose) -> Iterator[Run]:
    """The runs along the border of one room.

    Round the inside of an opening clockwise, round a piece that stays counter-clockwise, seen from above:
    the wood that stays is on the left, so a bit that turns clockwise is not pulled along (woodcraft.com,
    router feed direction).
    """
    yield Run(opening, "inside", _ring(room.exterior, ccw=False), bit, purpose)
    for hole in room.interiors:
        yield Run(opening, "outside", _ring(hole, ccw=True), bit, purpose)


def bore(region: Polygon, bit: Bit) -> Polygon | None:
    """The spot for the bit's middle in a round opening of the bit's own size, which it drills; None in others."""
    middle = region.centroid
    least = float(region.exterior.distance(middle))
    if (
        region.interiors
        or not bit.radius - _BORE <= least <= shapely.minimum_bounding_radius(region) <= bit.radius + _BORE
    ):
        return None
    return shapely.Polygon(shapely.get_coordinates(middle.buffer(SPOT, quad_segs=2))[:-1])


def corner_spaces(space: Space, left: MultiPolygon, bit: Bit) -> Iterator[Space]:
    """The rooms in which a smaller `bit` cuts what is `left` of a space: each with a way round it."""
    reach = shapely.intersection(space.region, grow(left, bit.diameter))
    for room in polygons_of(reach):
        if shapely.intersects(room, left):
            yield Space(space.opening, room)


def clearing(piece: Polygon, opening: int, bit: Bit) -> tuple[Run, ...]:
    """Runs that turn a piece of waste to chips, from its middle outwards.

    The piece lies a bit's diameter away from what stays, so runs along its own border are safe.
    """
    runs: list[Run] = []
    left: shapely.Geometry = piece
    # A hundredth of a square millimetre is dust of the offsetting.
    while parts := [p for p in polygons_of(left) if p.area > 1e-2]:
        rooms = [room for part in parts for room in _inner_rooms(part, bit)]
        runs += [run for room in rooms for run in around(room, opening, bit, "clearing")]
        lines = shapely.union_all([room.boundary for room in rooms])
        left = shapely.difference(left, grow(lines, bit.radius))
    return tuple(reversed(runs))


def _inner_rooms(part: Polygon, bit: Bit) -> tuple[Polygon, ...]:
    inner = grow(part, -(bit.radius - _OVERLAP * bit.diameter))
    return polygons_of(inner) or (part,)


def _opening_spaces(opening: Opening, pattern: Pattern, margin: float) -> tuple[Space, ...]:
    region = opening.region
    if not opening.at_edge:
        return (Space(opening.id, region),)
    outside = shapely.difference(shapely.buffer(region, margin), pattern.panel.polygon)
    return tuple(Space(opening.id, p) for p in polygons_of(shapely.union(region, outside)))


def _numbers(rooms: tuple[Polygon, ...], openings: tuple[Opening, ...]) -> list[int]:
    """The opening each room shares most with; the first one where it shares none."""
    regions = np.array([o.region for o in openings], dtype=object)
    numbers = []
    for room in rooms:
        shared = shapely.area(shapely.intersection(regions, room))
        numbers.append(openings[int(np.argmax(shared))].id)
    return numbers


def _round_the_panel(room: Polygon, pattern: Pattern) -> bool:
    x0, y0, x1, y1 = room.bounds
    return x0 < 0 and y0 < 0 and x1 > pattern.panel.width and y1 > pattern.panel.height


def _ring(line: shapely.LinearRing, *, ccw: bool) -> FloatArray:
    xy = shapely.get_coordinates(line)[:-1]
    return xy if bool(line.is_ccw) == ccw else xy[::-1]
