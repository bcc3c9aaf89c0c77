"""Closed rings of segments and the outline they form together."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.geom import curve
from cutout.geom.curve import FLATTENING, ComplexArray, FloatArray, Line, Segment, Similarity


@dataclass(frozen=True)
class Ring:
    """One closed run of segments; each starts where the one before it ends, the first where the last ends."""

    segments: tuple[Segment, ...]

    @classmethod
    def of_points(cls, xy: FloatArray) -> Ring:
        """A ring of straight runs through (n, 2) vertices; the closing vertex may be repeated or not."""
        z = curve.to_complex(np.asarray(xy, dtype=float))
        if len(z) > 1 and z[0] == z[-1]:
            z = z[:-1]
        pairs = zip(z.tolist(), np.roll(z, -1).tolist(), strict=True)
        return cls(tuple(Line(a, b) for a, b in pairs if a != b))

    def complex_points(self, tol: float = FLATTENING) -> ComplexArray:
        """Vertices of a polyline within `tol` of the ring, closing vertex not repeated; (n,) complex."""
        return np.concatenate([curve.points(s, tol)[:-1] for s in self.segments])

    def points(self, tol: float = FLATTENING) -> FloatArray:
        """Vertices of a polyline within `tol` of the ring, closing vertex not repeated; (n, 2)."""
        return curve.to_array(self.complex_points(tol))

    def polygon(self, tol: float = FLATTENING) -> Polygon:
        """The ring filled; shapely Polygon."""
        return Polygon(self.points(tol))

    @cached_property
    def area(self) -> float:
        """Signed area, positive counter-clockwise; exact."""
        return math.fsum(curve.swept_area(s) for s in self.segments)

    @cached_property
    def length(self) -> float:
        """Length once round."""
        return math.fsum(curve.length(s) for s in self.segments)

    def transform(self, by: Similarity) -> Ring:
        """The ring moved by a similarity; a mirror also flips its sense, keep that in mind."""
        return Ring(tuple(curve.transform(s, by) for s in self.segments))

    def reversed(self) -> Ring:
        """The same ring walked the other way round."""
        return Ring(tuple(curve.reverse(s) for s in reversed(self.segments)))

    def corners(self, at_least: float = math.radians(15)) -> tuple[tuple[complex, float], ...]:
        """(point, turn) where the direction jumps by `at_least` radians; turn is + to the left."""
        found = []
        before = (*self.segments[-1:], *self.segments[:-1])
        for previous, segment in zip(before, self.segments, strict=True):
            arriving, leaving = curve.tangent(previous, at_end=True), curve.tangent(segment)
            if arriving and leaving:
                turn = math.atan2(
                    (arriving.conjugate() * leaving).imag, (arriving.conjugate() * leaving).real
                )
                if abs(turn) >= at_least:
                    found.append((segment.start, turn))
        return tuple(found)


@dataclass(frozen=True)
class Note:
    """Something the reader did that the user should know: `kind` is a short tag, `text` a sentence.

    lengths: mm; where there are any, `text` is a format string with {} for each.
    """

    kind: str
    text: str
    lengths: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Letter:
    """Where a letter of a text stands: its foot on the base line, the way to the next letter, and up its stems.

    along: as long as the room it takes. up: as long as a capital is high, slanting where its stems do.
    """

    letter: str
    foot: complex
    along: complex
    up: complex

    def transform(self, by: Similarity) -> Letter:
        """The letter's place after a similarity."""
        still = by(0j)
        return Letter(self.letter, by(self.foot), by(self.along) - still, by(self.up) - still)


@dataclass(frozen=True)
class Outline:
    """What every reader returns: outer rings counter-clockwise, holes clockwise, none crossing; y up.

    `scale` is mm per unit where the source says its true size, else None. letters: of a text, where each stands.
    """

    rings: tuple[Ring, ...]
    scale: float | None = None
    notes: tuple[Note, ...] = ()
    letters: tuple[Letter, ...] = ()

    def region(self, tol: float = FLATTENING) -> MultiPolygon:
        """The silhouette as filled polygons (even-odd over the rings, which do not cross)."""
        return nest([ring.points(tol) for ring in self.rings])

    @cached_property
    def bounds(self) -> tuple[float, float, float, float]:
        """min x, min y, max x, max y of the silhouette; raises ValueError when there are no rings."""
        if not self.rings:
            raise ValueError("an empty outline has no bounds")
        z = np.concatenate([ring.complex_points() for ring in self.rings])
        return float(z.real.min()), float(z.imag.min()), float(z.real.max()), float(z.imag.max())

    def transform(self, by: Similarity) -> Outline:
        """The outline moved by a similarity, ring senses kept as promised after a mirror; scale follows."""
        rings = (ring.transform(by) for ring in self.rings)
        if by.mirror:
            rings = (ring.reversed() for ring in rings)
        scale = self.scale / abs(by.a) if self.scale is not None else None
        return Outline(tuple(rings), scale, self.notes, tuple(x.transform(by) for x in self.letters))


def nest(rings: Iterable[FloatArray]) -> MultiPolygon:
    """Polygons from rings that do not cross, by how deep each lies inside the others (even-odd).

    Rings with fewer than three vertices or no area are left out. Any sense of the input is accepted.
    """
    polygons = np.array([Polygon(r) for r in rings if len(r) >= 3], dtype=object)
    if len(polygons) == 0:
        return MultiPolygon()
    valid = shapely.is_valid(polygons)
    polygons = polygons[~valid | (shapely.area(polygons) > 0)]
    if not valid.all():
        return as_multi(_even_odd(polygons))
    inside, container = _containment(polygons)
    depth = np.bincount(inside, minlength=len(polygons))
    areas = shapely.area(polygons)
    holes: dict[int, list[FloatArray]] = {i: [] for i in np.flatnonzero(depth % 2 == 0).tolist()}
    for hole in np.flatnonzero(depth % 2 == 1).tolist():
        around = container[inside == hole]
        parent = int(around[np.argmin(areas[around])])
        holes[parent].append(shapely.get_coordinates(polygons[hole]))
    made = MultiPolygon([Polygon(polygons[i].exterior, hs) for i, hs in holes.items()])
    return made if made.is_valid else as_multi(_even_odd(polygons))


def from_region(region: shapely.Geometry) -> tuple[Ring, ...]:
    """Rings of straight runs round a polygonal region: outers counter-clockwise, holes clockwise."""
    rings = []
    for polygon in polygons_of(region):
        for line, ccw in ((polygon.exterior, True), *((hole, False) for hole in polygon.interiors)):
            xy = shapely.get_coordinates(line)
            rings.append(Ring.of_points(xy if line.is_ccw == ccw else xy[::-1]))
    return tuple(rings)


def polygons_of(geometry: shapely.Geometry) -> tuple[Polygon, ...]:
    """The polygons in any geometry, lines and points left out."""
    if isinstance(geometry, Polygon):
        return () if geometry.is_empty else (geometry,)
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return tuple(p for p in parts if isinstance(p, Polygon) and not p.is_empty)


def as_multi(geometry: shapely.Geometry) -> MultiPolygon:
    """The polygonal part of any geometry as one MultiPolygon."""
    return MultiPolygon(polygons_of(geometry))


def _containment(polygons: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Pairs (i, j) where ring i lies inside ring j, judged by a point of i's own boundary."""
    tree = shapely.STRtree(polygons)
    starts = shapely.get_point(shapely.get_exterior_ring(polygons), 0)
    inside, container = tree.query(starts, predicate="intersects")
    # A ring may touch another one at its first vertex: of a touching pair only the smaller lies inside.
    areas = shapely.area(polygons)
    keep = (inside != container) & (areas[inside] < areas[container])
    inside, container = inside[keep], container[keep]
    touching = shapely.touches(starts[inside], polygons[container])
    if touching.any():
        points = shapely.point_on_surface(polygons[inside])
        within = shapely.contains_xy(polygons[container], shapely.get_x(points), shapely.get_y(points))
        keep = ~touching | within
        inside, container = inside[keep], container[keep]
    return inside, container


def _even_odd(polygons: np.ndarray) -> shapely.Geometry:
    """Even-odd fill of rings that cross or touch after all: symmetric difference, largest first."""
    order = np.argsort(-shapely.area(polygons), kind="stable")
    parts: list[shapely.Geometry] = shapely.make_valid(polygons[order]).tolist()
    return reduce(lambda a, b: shapely.symmetric_difference(a, b), parts)


def capital_of(outline: Outline) -> float | None:
    """Height (mm) of a capital of the first letter, across its base line; None where there are no letters."""
    if not outline.letters:
        return None
    letter = outline.letters[0]
    unit = letter.along / abs(letter.along) if letter.along else 1.0
    return abs((letter.up * complex(unit).conjugate()).imag)
