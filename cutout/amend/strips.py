"""Where a straight strip of wood could hold a loose piece, and what each such strip would cost to look at."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon

from cutout.amend.rays import Edges, crossings
from cutout.amend.strength import Strength
from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, polygons_of

_TURN = math.radians(15)
"""Directions tried, counted from the grain."""
_STEEPEST = math.cos(math.radians(60))
"""A strip leaves its piece within 60 degrees of square: flatter ones leave wedges nobody can saw clean."""
LANES = np.array([-0.5, -0.25, 0.0, 0.25, 0.5])
"""Across a strip, in its widths: where its length is measured."""
SLENDER = 10.0
"""A strip should not be longer than this many times its width: it would whip while the rest is sawn."""
_SECTORS = 24  # stretches of the edge of a piece: one every 15 degrees of a round one
_NEARBY = 0.1
"""Other pieces are looked for within this part of the way across all of them first: most are met there."""
_SPOILS = 2.5
"""What a strip spoils lies within one gap of it: a passage wider is not felt further off. So many are looked at."""
_EACH = 3
"""Strips looked at closely: the best few of each stretch of the piece's edge."""


@dataclass(frozen=True)
class Strip:
    """A straight strip from a loose piece at `start` to the piece numbered `target` at `end`; mm.

    area: the strip with what it overlaps at both ends. visible: the part that was waste before.
    cost: mm^2 of visible wood, plus what it spoils (skew landings, slivers beside it).
    """

    start: tuple[float, float]
    end: tuple[float, float]
    width: float
    target: int
    area: Polygon
    visible: Polygon
    cost: float


@dataclass(frozen=True)
class Site:
    """The pieces of keep with their edges, the waste between them, and how wide a strip must be.

    gap: passage (mm) that must stay open beside a strip.
    """

    pieces: Sequence[Polygon]
    edges: Edges
    waste: MultiPolygon
    strength: Strength
    gap: float

    @classmethod
    def of(cls, pieces: Sequence[Polygon], waste: MultiPolygon, strength: Strength, gap: float) -> Site:
        """A site with the edges of `pieces` made ready for the search."""
        return cls(pieces, Edges.of(pieces), waste, strength, gap)


@dataclass(frozen=True)
class _Rays:
    """n lines square through the middle of possible strips."""

    start: FloatArray
    direction: FloatArray
    width: FloatArray
    sector: NDArray[np.int64]
    target: NDArray[np.int64]
    length: FloatArray

    def pick(self, index: NDArray[np.int64] | NDArray[np.bool_]) -> _Rays:
        return _Rays(
            self.start[index],
            self.direction[index],
            self.width[index],
            self.sector[index],
            self.target[index],
            self.length[index],
        )


def strips_from(site: Site, piece: int, share: float = 1.0, slender: float = SLENDER) -> tuple[Strip, ...]:
    """Strips that could hold the piece numbered `piece`, cheapest first, to any other piece.

    share: part of the wanted width that will do, for pieces too small to take all of it. slender: how many
    times longer than wide a strip may be.
    """
    rays = _reaching(site, piece, _rays(site, piece, share), slender)
    rays = _best_of_each_sector(rays, rays.length * rays.width, 4 * _EACH)
    rays, cost = _landing_well(site, piece, rays)
    rays = _best_of_each_sector(rays, cost, _EACH)
    strips = [strip for i in range(len(rays.start)) if (strip := _strip(site, piece, rays, i)) is not None]
    return tuple(sorted(strips, key=lambda s: (round(s.cost, 3), s.start)))


def shortest_strip(site: Site, line: LineString) -> Strip:
    """A strip of the least width along a line between two pieces, whatever wood it lands on."""
    (x0, y0), (x1, y1) = shapely.get_coordinates(line)[[0, -1]].tolist()
    length = max(math.hypot(x1 - x0, y1 - y0), 1e-6)
    ahead = np.array([x1 - x0, y1 - y0]) / length
    width = site.strength.least(math.atan2(y1 - y0, x1 - x0))
    side, more = width / 2 * np.array([-ahead[1], ahead[0]]), width / 2 * ahead
    first, last = np.array([x0, y0]) - more, np.array([x1, y1]) + more
    area = Polygon([first - side, last - side, last + side, first + side])
    seen = max(polygons_of(area.intersection(site.waste)), key=lambda p: p.area, default=area)
    return Strip((x0, y0), (x1, y1), width, -1, area, seen, seen.area)


def _rays(site: Site, piece: int, share: float) -> _Rays:
    """A fan of rays from points all round the piece, aligned with the grain where they can be."""
    ring = _from_its_tip(site.pieces[piece])
    # One every millimetre and a half; a few round the smallest, no more than eight a sector round the largest.
    n = int(np.clip(ring.length / 1.5, 24, 192))
    # Half a step off the start, so that the places are the same whichever way round they are counted.
    at = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, (np.arange(n) + 0.5) / n, normalized=True)
    )
    tangent = np.roll(at, -1, axis=0) - np.roll(at, 1, axis=0)
    # Clockwise: outward is to the left of the direction of travel.
    outward = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    outward /= np.maximum(np.hypot(*outward.T), 1e-12)[:, None]
    angles = site.strength.grain + _TURN * np.arange(round(2 * math.pi / _TURN))
    fan = np.column_stack([np.cos(angles), np.sin(angles)])
    point, turn = np.nonzero(outward @ fan.T >= _STEEPEST)
    across = broad(site.pieces[piece])
    widths = np.array([_width(site, piece, a, share, across) for a in angles.tolist()])
    sector = ((point + 0.5) * _SECTORS / n).astype(np.int64)
    unknown = np.zeros(len(point), dtype=np.int64)
    return _Rays(at[point], fan[turn], widths[turn], sector, unknown, np.zeros(len(point)))


def _from_its_tip(polygon: Polygon) -> shapely.LinearRing:
    """The edge of a piece, clockwise from the vertex farthest from its middle: turned or mirrored it is the same."""
    shell = shapely.get_coordinates(shapely.get_exterior_ring(shapely.normalize(polygon)))[:-1]
    middle = shapely.get_coordinates(polygon.centroid)[0]
    away = np.round(np.hypot(*(shell - middle).T), 6)
    return shapely.LinearRing(np.roll(shell, -int(np.argmax(away)), axis=0))


def _width(site: Site, piece: int, angle: float, share: float, broad: float) -> float:
    """As wide as the wood needs, but no wider than the piece is broad: more would hide the piece."""
    square = np.array([-math.sin(angle), math.cos(angle)])
    extent = float(np.ptp(shapely.get_coordinates(site.pieces[piece].exterior) @ square))
    # Taste: a bridge wider than this is taken for part of the figure.
    room = min(0.6 * extent, broad)
    return max(min(site.strength.wanted(angle), room) * share, min(site.strength.least(angle), 0.9 * extent))


def _reaching(site: Site, piece: int, rays: _Rays, slender: float) -> _Rays:
    """The rays that leave the piece once and then meet another piece, with which and how far."""
    if len(rays.start) == 0:
        return rays
    inside = 1e-6
    start, span = rays.start + inside * rays.direction, _span(site)
    target, length = np.full(len(start), -1), np.full(len(start), np.inf)
    for reach in (_NEARBY * span, span):
        left = np.flatnonzero(target < 0)
        found = crossings(site.edges, start[left], rays.direction[left], np.full(len(left), reach), 1)
        target[left], length[left] = found.owner[:, 0], found.distance[:, 0] + inside
    met = (target >= 0) & (target != piece)
    width = np.maximum(rays.width, np.where(met, length, 0.0) / slender)
    return _Rays(rays.start, rays.direction, width, rays.sector, target, length).pick(met)


def _landing_well(site: Site, piece: int, rays: _Rays) -> tuple[_Rays, FloatArray]:
    """The rays whose whole strip runs from broad wood to broad wood, and the cost of each in mm^2."""
    n, lanes = len(rays.start), len(LANES)
    if n == 0:
        return rays, np.zeros(0)
    across = np.column_stack([-rays.direction[:, 1], rays.direction[:, 0]])
    back = _depth(site, piece, rays.width)
    offset = (LANES[None, :] * rays.width[:, None])[..., None] * across[:, None, :]
    start = rays.start[:, None, :] - (back[:, None] * rays.direction)[:, None, :] + offset
    flat = start.reshape(-1, 2)
    reach = np.repeat(back + rays.length + 3 * rays.width, lanes)
    found = crossings(site.edges, flat, np.repeat(rays.direction, lanes, axis=0), reach, 3)
    inside = shapely.contains_xy(site.pieces[piece], flat[:, 0], flat[:, 1]).reshape(n, lanes)
    owner, distance = found.owner.reshape(n, lanes, 3), found.distance.reshape(n, lanes, 3)
    leaves = inside & (owner[..., 0] == piece)
    lands = owner[..., 1] == rays.target[:, None]
    depth = np.array([_depth(site, int(t), w) for t, w in zip(rays.target, rays.width, strict=True)])
    stays = distance[..., 2] >= distance[..., 1] + depth[:, None]
    good = (leaves & lands & stays).all(axis=1)
    rays, distance = rays.pick(good), distance[good]
    seen = distance[..., 1] - distance[..., 0]
    skew = np.ptp(distance[..., 0], axis=1) + np.ptp(distance[..., 1], axis=1)
    return rays, rays.width * (seen.mean(axis=1) + 0.25 * skew)


def _depth(site: Site, piece: int, width: FloatArray | float) -> FloatArray:
    """How far (mm) a strip of `width` must run on into a piece: half its width, less in a small piece."""
    polygon = site.pieces[piece]
    broad = 2 * polygon.area / max(polygon.length, 1e-9)
    return np.minimum(np.asarray(width, dtype=float) / 2, 0.5 * broad)


def _best_of_each_sector(rays: _Rays, cost: FloatArray, each: int) -> _Rays:
    """The cheapest few rays of every stretch of the edge, so that strips on all sides stay in the running."""
    order = np.lexsort((np.round(cost, 6), rays.sector))
    sector = rays.sector[order]
    rank = np.arange(len(order)) - np.searchsorted(sector, sector)
    return rays.pick(np.sort(order[rank < each]))


def _strip(site: Site, piece: int, rays: _Rays, i: int) -> Strip | None:
    d, width, target = rays.direction[i], float(rays.width[i]), int(rays.target[i])
    start, end = rays.start[i], rays.start[i] + rays.length[i] * d
    first = start - float(_depth(site, piece, width)) * d
    last = end + float(_depth(site, target, width)) * d
    side = width / 2 * np.array([-d[1], d[0]])
    area = Polygon([first - side, last - side, last + side, first + side])
    near = _round_about(site.waste, area, _SPOILS * site.gap)
    seen = [p for p in polygons_of(area.intersection(near)) if p.area > 1e-6]
    if len(seen) != 1 or seen[0].interiors:
        return None
    spoilt = max(_unsawable(near.difference(area), site.gap) - _unsawable(near, site.gap), 0.0)
    weak = 1 + float(rays.length[i]) / (SLENDER * width)
    cost = weak * seen[0].area + 4 * spoilt
    return Strip(_pair(start), _pair(end), width, target, area, seen[0], cost)


def broad(polygon: Polygon) -> float:
    """Diameter (mm) of the largest circle that fits into the piece."""
    return 2 * float(shapely.maximum_inscribed_circle(polygon, tolerance=0.05).length)


def _unsawable(waste: shapely.Geometry, gap: float) -> float:
    """Area (mm^2) of waste that a passage `gap` wide does not reach."""
    opened = shapely.buffer(shapely.buffer(waste, -gap / 2), gap / 2)
    return float(shapely.difference(waste, opened).area)


def _round_about(waste: MultiPolygon, area: Polygon, away: float) -> MultiPolygon:
    """The waste within `away` mm of a strip: of a long slanting one far less than its bounds hold."""
    zone = area.buffer(away, join_style="mitre")
    return as_multi(shapely.intersection(shapely.clip_by_rect(waste, *zone.bounds), zone))


def _span(site: Site) -> float:
    bounds = shapely.total_bounds(np.array(site.pieces, dtype=object))
    return float(math.hypot(bounds[2] - bounds[0], bounds[3] - bounds[1]))


def _pair(xy: FloatArray) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])
