"""One opening as the saw sees it: where the blade's centre may go, the line to saw, points that check it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.geom.curve import FloatArray, stations
from cutout.geom.outline import polygons_of
from cutout.kit import Blade
from cutout.kit.blade import SQUEEZE, TURNS
from cutout.pattern import Opening, Panel
from cutout.saw.planner.band import breaks
from cutout.saw.planner.line import Stretch, stretches

CLEAN = 0.05
"""On top of the allowance: so much (mm) the middle of a kerf is off its line by being drawn in chords."""
ROOMY = 0.075
"""The blade's middle may leave the region of centres by this much (mm): less than a pencil line into keep."""
_BAND = 60.0
"""Air round the board (mm) that a cut may begin and end in: longer than any blade is wide, and its turn."""


@dataclass(frozen=True, eq=False)
class Area:
    """One opening ready for planning; mm.

    region: the opening; waste: the same, with the air beyond the panel's edge where it reaches that.
    centres: where the blade's centre may be, mitred at points of keep; roomy: the same, round about them, and a hair
    more. line: the outline to saw.
    points: (m, 2) places along it; step: their spacing; reachable: those a kerf can reach at all.
    where, along: for each point the stretch that passes it (-1: none) and how far along.
    places: (k, 2) places outside the panel where a blade may come in.
    """

    id: int
    region: Polygon
    waste: Polygon
    centres: MultiPolygon
    roomy: shapely.Geometry
    line: shapely.Geometry
    stretches: tuple[Stretch, ...]
    points: FloatArray
    step: float
    reachable: np.ndarray
    where: np.ndarray
    along: FloatArray
    places: FloatArray
    radius: float
    allow: float
    kerf: float

    @cached_property
    def sawable(self) -> shapely.Geometry:
        """All that a kerf can reach, a hair more."""
        return shapely.buffer(self.centres, self.kerf / 2 + 0.02)

    @property
    def clean(self) -> float:
        """Wood left thinner than this (mm) on the outline counts as sawn: the allowance for the file."""
        return self.allow + CLEAN


def area_of(opening: Opening, panel: Panel, blade: Blade, allow: float) -> Area:
    """The opening prepared for `blade`; allow: wood (mm) that may stay on the waste side of the line."""
    board = panel.polygon
    waste = _waste(opening, board)
    line = _line(opening, board)
    centres = _centres(waste, blade)
    found = _stretches(centres, line, blade, allow)
    step = min(max(0.6 * blade.kerf, 0.3), 0.8)
    points = _points_along(line, step)
    where, along, reachable = _assigned(points, found, centres, blade.kerf / 2 + allow + CLEAN)
    # Round about points of keep: mitred, two of them would close a mouth that the kerf just fits through.
    roomy = shapely.buffer(waste, ROOMY - blade.kerf / 2, quad_segs=8)
    shapely.prepare([roomy, line, waste, opening.region])
    return Area(
        opening.id,
        opening.region,
        waste,
        centres,
        roomy,
        line,
        tuple(found),
        points,
        step,
        reachable,
        where,
        along,
        _outside_places(opening, board, blade),
        _radius(blade),
        allow,
        blade.kerf,
    )


def stretches_of(opening: Opening, panel: Panel, blade: Blade, allow: float) -> list[Stretch]:
    """The stretches alone of what `area_of` prepares."""
    board = panel.polygon
    waste = _waste(opening, board)
    return _stretches(_centres(waste, blade), _line(opening, board), blade, allow)


def fewest_stretches(opening: Opening, panel: Panel, blade: Blade, allow: float) -> int:
    """So many stretches longer than a kerf it takes at least, told without fitting any."""
    board = panel.polygon
    waste = _waste(opening, board)
    parts = shapely.orient_polygons(_centres(waste, blade)).geoms
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    found = (breaks(ring, _radius(blade), blade.kerf, allow) for ring in rings)
    # The blunt end of a narrow tip breaks twice, and takes no cut of its own.
    z = np.concatenate([np.zeros(0), *(z[np.abs(z - np.roll(z, 1)) >= blade.kerf] for z in found)])
    if not opening.at_edge:
        return len(z)
    # Out in the air nothing is sawn.
    line = _line(opening, board)
    shapely.prepare(line)
    return int(np.count_nonzero(shapely.dwithin(line, shapely.points(z.real, z.imag), blade.kerf)))


def _waste(opening: Opening, board: Polygon) -> Polygon:
    """What the blade may move in: the opening, and the air beyond the panel's edge where it reaches that."""
    return _with_air(opening.region, board) if opening.at_edge else opening.region


def _radius(blade: Blade) -> float:
    return max(blade.turning_radius * TURNS, 0.05)


def _line(opening: Opening, board: Polygon) -> shapely.Geometry:
    """The outline to saw: the opening's, without what lies on the panel's edge."""
    if not opening.at_edge:
        return opening.region.boundary
    return shapely.difference(opening.region.boundary, shapely.buffer(board.exterior, 0.02))


def _centres(waste: Polygon, blade: Blade) -> MultiPolygon:
    """Where the middle of the blade may be; a slit as wide as the cut may be narrower by a hair here and there."""

    def inside(cut: float) -> shapely.Geometry:
        return shapely.buffer(waste, -cut / 2, join_style="mitre", mitre_limit=4.0)

    inner, most = inside(blade.kerf), inside(blade.kerf - SQUEEZE)
    tight = shapely.difference(most, shapely.buffer(inner, 0.55 * SQUEEZE, join_style="mitre"))
    if not tight.is_empty:
        inner = shapely.union(inner, shapely.intersection(most, shapely.buffer(tight, 0.75 * SQUEEZE)))
    return MultiPolygon([p for p in polygons_of(inner) if p.area > 1e-4])


def _stretches(centres: MultiPolygon, line: shapely.Geometry, blade: Blade, allow: float) -> list[Stretch]:
    radius = _radius(blade)
    beyond = 2.5 * radius + 4 * blade.width
    found = _fitted(centres.wkb, radius, beyond, blade.kerf, allow)
    return _near(list(found), line, blade.kerf + allow)


@lru_cache(maxsize=256)
def _fitted(centres: bytes, radius: float, beyond: float, kerf: float, allow: float) -> tuple[Stretch, ...]:
    """Stretches round regions (WKB); remembered, for the plan and the advice on blades both want them."""
    parts = shapely.get_parts(shapely.from_wkb(centres)).tolist()
    return tuple(s for part in parts for s in stretches(part, radius, beyond, kerf, allow))


def _with_air(region: Polygon, board: Polygon) -> Polygon:
    air = shapely.difference(shapely.buffer(board, _BAND, join_style="mitre"), board)
    touching = shapely.intersection(shapely.buffer(region, 0.05, join_style="mitre"), air)
    joined = shapely.union_all([region, air, touching])
    return max(polygons_of(joined), key=lambda p: p.area)


def _outside_places(opening: Opening, board: Polygon, blade: Blade) -> FloatArray:
    if not opening.at_edge:
        return np.zeros((0, 2))
    rim = shapely.buffer(board, blade.hole_to_turn / 2 + 0.3, join_style="mitre").exterior
    near = shapely.intersection(rim, shapely.buffer(opening.region, blade.hole_to_turn))
    return _points_along(near, max(3.0, near.length / 200)) if not near.is_empty else np.zeros((0, 2))


def _points_along(line: shapely.Geometry, step: float) -> FloatArray:
    found = []
    for part in shapely.get_parts(
        shapely.line_merge(line) if isinstance(line, shapely.MultiLineString) else line
    ):
        n = max(2, math.ceil(part.length / step))
        spots = (np.arange(n) + 0.5) * part.length / n
        found.append(shapely.get_coordinates(shapely.line_interpolate_point(part, spots)))
    return np.concatenate(found) if found else np.zeros((0, 2))


def _near(found: list[Stretch], line: shapely.Geometry, kerf: float) -> list[Stretch]:
    """Stretches that pass along the outline; those out in the air beyond the panel are dropped."""
    if not found:
        return []
    mids = np.array([s.at(np.array([s.length / 2]))[0] for s in found])
    away = shapely.distance(shapely.points(mids.real, mids.imag), line)
    lines = np.array([as_line(s) for s in found])
    keep = (away < 2 * kerf) | (shapely.distance(lines, line) < kerf)
    return [s for s, k in zip(found, keep.tolist(), strict=True) if k]


def as_line(stretch: Stretch) -> shapely.LineString:
    """The stretch itself, extensions left out, as a shapely line."""
    z = stretch.part(0.0, stretch.length)
    return shapely.LineString(np.column_stack([z.real, z.imag]))


def _assigned(
    points: FloatArray, found: list[Stretch], centres: MultiPolygon, reach: float
) -> tuple[np.ndarray, FloatArray, np.ndarray]:
    where = np.full(len(points), -1)
    along = np.zeros(len(points))
    spots = np.asarray(shapely.points(points))
    shapely.prepare(centres)
    reachable = (
        shapely.dwithin(spots, centres, reach)
        if len(points) and not centres.is_empty
        else np.zeros(len(points), dtype=bool)
    )
    if found and len(points):
        # By single edges: the nearest of a few long lines takes a look at every edge of them.
        ways = [s.part(0.0, s.length) for s in found]
        starts = np.concatenate([z[:-1] for z in ways])
        steps = np.concatenate([np.diff(z) for z in ways])
        before = np.concatenate([stations(z)[:-1] for z in ways])
        owner = np.repeat(np.arange(len(ways)), [len(z) - 1 for z in ways])
        ends = np.stack([starts, starts + steps], axis=1)
        edges = np.asarray(shapely.linestrings(np.stack([ends.real, ends.imag], axis=-1)))
        tree = shapely.STRtree(edges)
        spot, edge = tree.query_nearest(spots, all_matches=False)
        off = (points[spot, 0] + 1j * points[spot, 1]) - starts[edge]
        size = np.abs(steps[edge])
        share = (off * steps[edge].conj()).real / np.where(size > 0, size, 1.0)
        where[spot] = owner[edge]
        along[spot] = before[edge] + np.clip(share, 0.0, size)
    return where, along, np.asarray(reachable)
