"""What the template shows, laid out on paper: the panel frame, or its mirror image for the back."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon, STRtree

from cutout.draw.box import Box
from cutout.draw.shapes import cut_lines, waste_rings
from cutout.geom.curve import FloatArray, Similarity, to_array, to_complex
from cutout.geom.outline import Ring, as_multi, from_region, polygons_of
from cutout.pattern import Zone
from cutout.saw.model import Hole, Leg
from cutout.write.work import Work

BORDER = 8.0
"""Paper shown round the pattern, and past the panel's edge (mm)."""

LEAD = 15.0
"""So much of a way in from the panel's edge is printed (mm); no sheet is printed for the rest."""


_NAME = 6.0
"""Paper (mm) each way from the middle of an area, for its name."""


class NearLines:
    """Distances (mm) from points to a set of lines, by a tree of their straight pieces."""

    def __init__(self, lines: shapely.Geometry) -> None:
        self._lines = lines
        self._pieces = segments(lines)
        self._tree = STRtree(self._pieces)
        shapely.prepare(self._lines)

    def distances(self, points: FloatArray) -> FloatArray:
        """Distance of each point (n, 2); infinite when there are no lines."""
        if len(self._pieces) == 0:
            return np.full(len(points), np.inf)
        spots = shapely.points(points)
        return np.asarray(shapely.distance(spots, self._pieces[self._tree.nearest(spots)]))

    def within(self, points: FloatArray, reach: float) -> NDArray[np.bool_]:
        """Which points (n, 2) lie no farther than that from some line."""
        return np.asarray(shapely.dwithin(self._lines, shapely.points(points), reach))

    def distance(self, point: complex) -> float:
        """Distance of one point."""
        return float(self.distances(np.array([[point.real, point.imag]]))[0])

    def nearest(self, point: complex) -> complex:
        """The point of the lines nearest to one point."""
        spot = shapely.Point(point.real, point.imag)
        piece = self._pieces[self._tree.nearest(spot)]
        foot = shapely.line_interpolate_point(piece, shapely.line_locate_point(piece, spot))
        return complex(shapely.get_x(foot), shapely.get_y(foot))


def segments(geometry: shapely.Geometry | Sequence[shapely.Geometry]) -> NDArray[np.object_]:
    """Every straight piece of every line in the geometry, as an array of two-point lines."""
    parts = shapely.get_parts(shapely.get_parts(np.atleast_1d(np.asarray(geometry, dtype=object))))
    xy, of = shapely.get_coordinates(parts, return_index=True)
    same = of[1:] == of[:-1]
    pairs = np.stack([xy[:-1][same], xy[1:][same]], axis=1)
    return np.asarray(shapely.linestrings(pairs), dtype=object) if len(pairs) else np.empty(0, dtype=object)


@dataclass(frozen=True)
class Drawing:
    """The pattern in paper millimetres. `frame` takes panel points to paper points. more: named areas drawn besides
    the pattern, and centres of what is bored there, panel mm."""

    work: Work
    frame: Similarity
    more: tuple[Zone, ...] = ()
    centres: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, work: Work, more: tuple[Zone, ...] = ()) -> Drawing:
        """The drawing for gluing on the show face, or mirrored left-right for the back; turned as the sheets are."""
        back = Similarity(-1 + 0j, complex(work.pattern.panel.width, 0.0), mirror=True)
        seen = back if work.template.back else Similarity()
        turn = Similarity(cmath.exp(1j * work.sheet_turn))
        return cls(work, seen.then(turn) if work.sheet_turn else seen, more)

    @cached_property
    def pins(self) -> tuple[tuple[float, float], ...]:
        """Where a stack is pinned, panel mm."""
        return self.work.pins

    def at(self, point: tuple[float, float]) -> tuple[float, float]:
        """A panel point on paper."""
        z = self.frame(complex(*point))
        return z.real, z.imag

    def path(self, path: FloatArray) -> FloatArray:
        """Panel points (n, 2) on paper."""
        if self.frame == Similarity():
            return path
        z = to_complex(np.asarray(path, dtype=float))
        return to_array(self.frame.a * (z.conj() if self.frame.mirror else z) + self.frame.b)

    def geometry(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """A panel geometry on paper."""
        return shapely.transform(geometry, self.path)

    @cached_property
    def rings(self) -> tuple[Ring, ...]:
        """Rings whose even-odd fill is the waste."""
        return tuple(ring.transform(self.frame) for ring in waste_rings(self.work.pattern))

    @cached_property
    def silhouette(self) -> tuple[Ring, ...]:
        """The waste, or for keep `both` the figure, whose slot is too narrow to be seen small."""
        if self.work.pattern.keep_mode != "both":
            return self.rings
        return tuple(ring.transform(self.frame) for ring in from_region(self.work.pattern.figure))

    @cached_property
    def cuts(self) -> shapely.Geometry:
        """The lines to saw along."""
        return self.geometry(cut_lines(self.work.pattern))

    @cached_property
    def cuts_tree(self) -> NearLines:
        """The same lines, for asking how far a point is from them."""
        return NearLines(self.cuts)

    @cached_property
    def wood(self) -> MultiPolygon:
        """The wood that stays."""
        return as_multi(self.geometry(self.work.pattern.keep))

    @cached_property
    def board(self) -> Polygon:
        """The panel as it lies on the paper."""
        return Polygon(self.path(shapely.get_coordinates(self.work.pattern.panel.polygon)))

    @cached_property
    def middles(self) -> tuple[shapely.Geometry, shapely.Geometry]:
        """The panel's two middle lines."""
        width, height = self.work.pattern.panel.width, self.work.pattern.panel.height
        upright = LineString([(width / 2, 0.0), (width / 2, height)])
        level = LineString([(0.0, height / 2), (width, height / 2)])
        return self.geometry(upright), self.geometry(level)

    @property
    def panel(self) -> Box:
        """The bounds of the panel on the paper: its edge, where it is not turned."""
        x0, y0, x1, y1 = self.board.bounds
        return (x0, y0, x1, y1)

    @property
    def holes(self) -> tuple[Hole, ...]:
        """Holes in panel coordinates; take their centres through `at`."""
        return self.work.plan.holes

    @property
    def legs(self) -> tuple[Leg, ...]:
        """Legs in panel coordinates; take their paths through `path`."""
        return self.work.plan.legs

    @cached_property
    def ways(self) -> tuple[LineString, ...]:
        """The legs' paths."""
        return tuple(LineString(self.path(leg.path)) for leg in self.legs if len(leg.path) > 1)

    @cached_property
    def carried(self) -> shapely.GeometryCollection:
        """Everything a sheet is printed for: cut lines, holes and legs."""
        return shapely.GeometryCollection([*self._places, *self.ways])

    @cached_property
    def near(self) -> shapely.GeometryCollection:
        """The same, of the legs only what is not far from the figure: where the rest would take sheets of its own."""
        reach = shapely.convex_hull(shapely.GeometryCollection(self._places)).buffer(LEAD)
        ways = shapely.get_parts(shapely.intersection(self.ways, reach))
        return shapely.GeometryCollection([*self._places, *ways])

    @cached_property
    def _places(self) -> list[shapely.Geometry]:
        discs = [shapely.Point(self.at(h.at)).buffer(h.diameter / 2 + 2) for h in self.holes]
        drawn = [line for zone in self.more for line in shapely.get_parts(self.edge_of(zone))]
        # The middle too, where the name stands: an area may reach beyond its line to the panel's edge.
        areas = [part for zone in self.more for part in polygons_of(zone.area)]
        spokes = [shapely.maximum_inscribed_circle(part, tolerance=0.2) for part in areas]
        named = [
            shapely.buffer(self.geometry(shapely.get_point(spoke, 0)), min(spoke.length, _NAME))
            for spoke in spokes
        ]
        return [*shapely.get_parts(self.cuts), *discs, *drawn, *named]

    def edge_of(self, zone: Zone) -> shapely.Geometry:
        """The border of an area on paper, but for what lies on the panel's own edge."""
        edge = shapely.buffer(self.board.exterior, 0.1)
        return shapely.difference(shapely.boundary(self.geometry(zone.area)), edge)

    def content(self, carried: shapely.GeometryCollection) -> Box:
        """Bounds of what is carried, with a border that ends just past the panel's edge."""
        if carried.is_empty:
            return self.whole
        x0, y0, x1, y1 = carried.bounds
        left, bottom, right, top = self.whole
        return (
            max(x0 - BORDER, left),
            max(y0 - BORDER, bottom),
            min(x1 + BORDER, right),
            min(y1 + BORDER, top),
        )

    @cached_property
    def whole(self) -> Box:
        """The panel with a border, and whatever of a leg reaches out further."""
        x0, y0, x1, y1 = self.panel
        bounds = shapely.total_bounds(
            [self.carried, shapely.box(x0 - BORDER, y0 - BORDER, x1 + BORDER, y1 + BORDER)]
        )
        left, bottom, right, top = bounds.tolist()
        return (left, bottom, right, top)
