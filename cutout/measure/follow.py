"""Where the blade can't follow the line: the measure that tight corners and tight curves share.

The centre of the blade runs half a kerf inside the waste (on the line itself where panel and figure both
survive). A turning radius R of the centre line therefore asks for R + kerf / 2 at a corner of the waste
and for R - kerf / 2 round a point of wood; R on both sides where the blade runs on the line.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import Polygon, STRtree

from cutout.geom import curve
from cutout.geom.curve import Arc, ComplexArray, to_array, to_complex
from cutout.geom.outline import Outline
from cutout.kit import Blade
from cutout.measure.bends import Bend, left_bends
from cutout.memory import Memory
from cutout.pattern import Pattern
from cutout.pattern.panel import TOUCHING

_ON = 0.02
"""A place within this distance (mm) of a curve of the outline lies on it."""

_CORNER = 0.06
"""A corner found on a thinned line is the outline's own corner within this distance (mm)."""

_SAME_TURN = math.radians(8)
"""... and turns as far as the line does there, within this; else it is one small step of a traced curve."""

_KINK = 0.3
"""Bends to opposite sides this near (mm) are a step or spike of the line that no blade can tell from a line."""

_STRAIGHT_ON = math.radians(25)
"""... if the line goes on after it in much the same direction."""

_SHARPEST = 0.3
"""A corner rounded with less than this (mm), or than half the kerf, is sharp for any blade."""


@dataclass(frozen=True, slots=True)
class Tight:
    """One place the blade can't follow; mm and radians.

    inside: the waste has the corner (the blade must turn in it); else wood points into the waste.
    needed: least radius of the line this blade can follow here. opening: its number.
    """

    bend: Bend
    inside: bool
    needed: float
    opening: int

    @property
    def at(self) -> tuple[float, float]:
        """Place on the panel."""
        return self.bend.at.real, self.bend.at.imag

    @property
    def angle(self) -> float:
        """Angle of the corner: of the waste if `inside`, else of the wood."""
        return max(math.pi - self.bend.turn, 0.0)


@lru_cache(maxsize=8)
def tight_places(pattern: Pattern, blade: Blade) -> tuple[Tight, ...]:
    """Every place of the line that the blade can't follow, ring by ring.

    Radii and angles are exact where the outline has an arc or a corner of its own there.
    """
    half = 0.0 if pattern.keep_mode == "both" else blade.kerf / 2
    sharpest = max(_SHARPEST, blade.kerf / 2)
    edge = shapely.boundary(pattern.panel.polygon)
    exact = _Exact(pattern.outline)
    found: list[Tight] = []
    for ring, opening in _rings(pattern):
        on_ring: dict[bool, list[Bend]] = {}
        needed = {inside: blade.turning_radius + (half if inside else -half) for inside in (True, False)}
        for inside in (True, False):
            bends = _bends(ring if inside else ring[::-1], needed[inside], sharpest)
            on_ring[inside] = [b for b in bends if not _on_edge(b, edge)]
        for inside, bends in on_ring.items():
            found += [
                Tight(exact.corrected(b), inside, needed[inside], opening)
                for b, kink in zip(bends, _kinks(bends, on_ring[not inside]), strict=True)
                if not kink
            ]
    return tuple(found)


_known: Memory[list[Bend]] = Memory(2048)
"""Mending tries one pattern after the other, and most of their rings stay as they were."""


def _bends(ring: ComplexArray, radius: float, sharpest: float) -> list[Bend]:
    """`left_bends`, known again by a digest of the ring: rings themselves would be kept by the megabyte."""
    digest = hashlib.blake2b(ring.tobytes(), digest_size=16).digest()
    return _known.recall((digest, radius, sharpest), lambda: left_bends(ring, radius, sharpest))


def _kinks(bends: list[Bend], others: list[Bend]) -> list[bool]:
    """Whether each bend is, with one of those to the opposite side, half of a kink too small to saw."""
    if not bends or not others:
        return [False] * len(bends)
    here, there = (np.array([[b.at.real, b.at.imag] for b in side]) for side in (bends, others))
    near = cKDTree(there).query_ball_point(here, _KINK)
    return [any(_kink(b, others[k]) for k in ks) for b, ks in zip(bends, near, strict=True)]


def _kink(bend: Bend, other: Bend) -> bool:
    """Whether two bends to opposite sides are the two halves of a kink too small to saw."""
    return abs(bend.at - other.at) < _KINK and abs(bend.turn - other.turn) < _STRAIGHT_ON


def _on_edge(bend: Bend, edge: shapely.Geometry) -> bool:
    """Whether a bend lies on the panel's own edge, which nobody saws."""
    return bool(shapely.Point(bend.at.real, bend.at.imag).distance(edge) < TOUCHING)


def _rings(pattern: Pattern) -> Iterator[tuple[ComplexArray, int]]:
    """Every line to follow with the waste on its left, and the opening it belongs to."""
    if pattern.keep_mode != "both":
        for opening in pattern.openings:
            for xy in _oriented(opening.region):
                yield xy, opening.id
        return
    if not pattern.openings:
        return
    tree = STRtree([o.region for o in pattern.openings])
    for polygon in pattern.figure.geoms:
        for z in _oriented(polygon):
            nearest = int(tree.nearest(shapely.Point(z[0].real, z[0].imag)))
            yield z, pattern.openings[nearest].id


def _oriented(polygon: Polygon) -> Iterator[ComplexArray]:
    """Its rings, the inside on their left, each from the vertex farthest from their mean.

    What thinning leaves depends a little on where it begins: turned, mirrored or cut out anew in the same place.
    """
    for ring, ccw in ((polygon.exterior, True), *((hole, False) for hole in polygon.interiors)):
        z = to_complex(shapely.get_coordinates(ring)[:-1])
        z = z if ring.is_ccw == ccw else z[::-1]
        yield np.roll(z, -int(np.argmax(np.round(np.abs(z - z.mean()), 6))))


class _Exact:
    """Arcs and corners of an outline, to read exact radii and angles from."""

    def __init__(self, outline: Outline) -> None:
        self.arcs = [s for ring in outline.rings for s in ring.segments if isinstance(s, Arc)]
        # Less is where a traced line is joined, not a corner.
        self.corners = [c for ring in outline.rings for c in ring.corners(math.radians(5))]
        self.arc_tree = STRtree([shapely.LineString(to_array(curve.points(a))) for a in self.arcs])
        self.corner_tree = STRtree([shapely.Point(z.real, z.imag) for z, _ in self.corners])

    def corrected(self, bend: Bend) -> Bend:
        """The bend with the outline's own corner angle, or the radius of its own arc, where it has one."""
        here = shapely.Point(bend.at.real, bend.at.imag)
        if bend.sharp:
            near = self.corner_tree.query(here, predicate="dwithin", distance=_CORNER)
            turns = [abs(self.corners[i][1]) for i in near.tolist()]
            best = min(turns, key=lambda t: abs(t - bend.turn), default=math.inf)
            same = bend.length < _CORNER and abs(best - bend.turn) < _SAME_TURN
            return replace(bend, turn=best) if same else bend
        near = self.arc_tree.query(here, predicate="dwithin", distance=_ON)
        radii = [self.arcs[i].radius for i in near.tolist()]
        radius = min(radii, key=lambda r: abs(r - bend.radius), default=bend.radius)
        return replace(bend, radius=radius)
