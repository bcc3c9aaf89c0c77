"""What is open so far while one opening is being planned: holes, kerfs, fallen pieces, and what still stands."""

from __future__ import annotations

import math
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cached_property
from operator import is_not
from typing import Any

import numpy as np
import shapely
from shapely import MultiPolygon, Point, Polygon

from cutout.geom.curve import ComplexArray, FloatArray, to_array, to_complex
from cutout.geom.outline import polygons_of
from cutout.kit import Blade
from cutout.saw.model import CORNER, EDGE, SAME_GO, Place, StartBy
from cutout.saw.planner.area import Area, as_line
from cutout.saw.planner.spin import SHY, swept, swept_parts

END_ROOM = 0.15
"""A blade put into a kerf stays this far (mm) from the kerf's end."""
HELD = 0.03
"""A piece nearer than this (mm) to keep is still held by it."""
THIN = 0.05
"""Wood thinner than this (mm) holds nothing."""
FILED = 0.75
"""A held piece of up to this many times kerf x blade width, what is a skin of it left out, is left for the file, if
no deeper than a kerf."""
LEAST_FILED, MOST_FILED = 0.6, 4.5
"""Up to this area (mm^2), a stroke or two, it is left for the file whatever the blade, and none that is larger.
Common practice, no source."""
GONE_BY = 1.0
"""The same, found when the saw has gone by and would have to come back for it. Common practice, no source."""
SOONER_FILED = 2.0
"""Up to this area (mm^2) a file is quicker than a move and a short cut. Common practice, no source."""
SNAPS = 0.6
"""A piece that hangs on no more outline than this (mm) breaks off by hand. Common practice, no source."""
WORTHLESS = 0.01
"""A leg that takes off less than this share of a square as wide as its kerf is not sawn."""
SAME_SPOT, TRIES = 0.5, 2
"""A place that holds a piece is sawn again at most so often; nearer than this (mm) it is the same place."""
DENSE = 0.2
"""How deep a piece reaches is told by places on its edge so far apart (mm)."""
PLAIN = 0.01
"""What is open is simplified by this much (mm) before rooms are looked for: less than the room beside a blade."""
HAIR = 0.01
"""No two points of a path, nor of the edge of what falls, lie nearer to each other than this (mm)."""
MOST_PASSED = 4096
"""What so many paths pass is remembered at most: more than a walk asks for, but for the longest."""
CRUMB = 0.05
"""Pieces smaller than this (mm^2) are sawdust."""


@dataclass(frozen=True, slots=True)
class Covers:
    """A run along a stretch: which one, from where to where (mm along it)."""

    stretch: int
    start: float
    end: float


@dataclass(frozen=True, eq=False)
class Cut:
    """A leg in the making. z: path (n,), complex; along: which stretch it runs along, None for a nibble. led: the
    path as it was asked for, not carried on to the outline.

    start_by, seconds: the move it begins with and what that takes. parent: the cut it branched from and how far
    along it that is (mm), None where it began in a hole, in fallen waste or at the edge. go: number of the go.
    """

    z: ComplexArray
    starts: Place
    ends: Place
    drops: MultiPolygon
    along: Covers | None
    start_by: StartBy
    seconds: float
    parent: tuple[int, float] | None
    go: int
    led: ComplexArray
    turned: float = 0.0

    @cached_property
    def length(self) -> float:
        """Length of the path in mm."""
        return float(np.abs(self.z[1:] - self.z[:-1]).sum())


@dataclass(frozen=True, eq=False, slots=True)
class Drilled:
    """A hole in the making."""

    at: complex
    diameter: float
    place: Place
    clears: bool = False

    @property
    def number(self) -> int:
        """Its number."""
        assert self.place.number is not None
        return self.place.number


@dataclass(frozen=True, eq=False, slots=True)
class KerfPath:
    """The way along a kerf: its points, the cut that made it, and whether it runs as that was sawn.

    s: distance along of each point (mm).
    """

    z: ComplexArray
    cut: int
    forward: bool
    s: FloatArray

    @classmethod
    def of(cls, z: ComplexArray, cut: int, forward: bool) -> KerfPath:
        """From its points (n,)."""
        return cls(z, cut, forward, lengths_along(z))


@dataclass
class Poses:
    """Places in kerfs from which a leg may branch off: position, direction, how far along which path."""

    q: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=complex))
    u: ComplexArray = field(default_factory=lambda: np.zeros(0, dtype=complex))
    s: FloatArray = field(default_factory=lambda: np.zeros(0))
    path: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=int))
    paths: list[KerfPath] = field(default_factory=list)

    def add(self, q: ComplexArray, u: ComplexArray, s: FloatArray, path: KerfPath) -> None:
        """Note poses on one more path."""
        self.q, self.u = np.concatenate([self.q, q]), np.concatenate([self.u, u])
        self.s = np.concatenate([self.s, s])
        self.path = np.concatenate([self.path, np.full(len(q), len(self.paths))])
        self.paths.append(path)


@dataclass(frozen=True, slots=True)
class Move:
    """How a leg begins: the move, what it takes (seconds), and the cut it branches from with how far along it."""

    start_by: StartBy
    seconds: float
    parent: tuple[int, float] | None = None


@dataclass
class State:
    """Mutable by nature: planning is a walk, each step depends on all before. Local to one opening."""

    area: Area
    blade: Blade
    first_leg: int
    first_hole: int
    cuts: list[Cut] = field(default_factory=list)
    holes: list[Drilled] = field(default_factory=list)
    standing: list[Polygon] = field(default_factory=list)
    places: list[tuple[complex, Place]] = field(default_factory=list)
    points: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    along: FloatArray = field(default_factory=lambda: np.zeros(0))
    done: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    open: list[tuple[shapely.Geometry, Place]] = field(default_factory=list)
    poses: Poses = field(default_factory=Poses)
    along_stretch: dict[int, list[int]] = field(default_factory=dict)
    tree: shapely.STRtree | None = None
    kerfs: set[int] = field(default_factory=set)
    spins: bool = False
    reopened: list[list[float]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._grown: dict[tuple[int, str], tuple[shapely.Geometry, shapely.Geometry]] = {}
        self._held: tuple[list[shapely.Geometry], list[Polygon]] | None = None
        self._bounds = np.zeros((0, 4))
        self._passed: dict[bytes, np.ndarray] = {}
        self._carried_on: dict[bytes, complex | None] = {}
        self.standing = [self.area.region]
        self._roomy_region = shapely.buffer(self.area.waste, 0.05, quad_segs=4, join_style="mitre")
        shapely.prepare(self._roomy_region)
        self.done = ~self.area.reachable
        self.points, self.along = self.area.points.copy(), self.area.along.copy()
        self.tree = shapely.STRtree(self.points_as_shapes())
        self.places = [(complex(x, y), EDGE) for x, y in self.area.places.tolist()]

    def __getstate__(self) -> dict[str, Any]:
        """All but what is only remembered; what is known by its identity is so again where it arrives."""
        kept = dict(self.__dict__)
        kept["kerfs"] = [n for n, (shape, _) in enumerate(self.open) if id(shape) in self.kerfs]
        for name in ("_grown", "_passed", "_carried_on"):
            kept[name] = {}
        return kept

    def __setstate__(self, kept: dict[str, Any]) -> None:
        self.__dict__.update(kept)
        self.kerfs = {id(self.open[n][0]) for n in kept["kerfs"]}

    def forget(self) -> None:
        """Let go of what was only remembered to be quick: the walk is over. What is held yet will be asked again."""
        for memory in (self._grown, self._passed, self._carried_on):
            memory.clear()

    @property
    def next_hole(self) -> Place:
        """The hole that comes next."""
        return Place("hole", self.first_hole + len(self.holes))

    def points_as_shapes(self) -> np.ndarray:
        """The outline points as shapely points."""
        return np.asarray(shapely.points(self.points))

    @property
    def next_leg(self) -> int:
        """Number of the leg that comes next."""
        return self.first_leg + len(self.cuts)

    @property
    def goes(self) -> int:
        """How many goes were begun so far."""
        return self.cuts[-1].go if self.cuts else 0

    def numbered(self, opening: int, first: tuple[int, int]) -> State:
        """The same sawn in an equal opening of another number. first: numbers of its first hole and first leg."""
        if (opening, first) == (self.area.id, (self.first_hole, self.first_leg)):
            return self
        more = {"hole": first[0] - self.first_hole, "leg": first[1] - self.first_leg}

        def at(place: Place) -> Place:
            return place if place.number is None else replace(place, number=place.number + more[place.kind])

        other = copy(self)
        other.first_hole, other.first_leg = first
        other.area = replace(self.area, id=opening)
        other.cuts = [replace(cut, starts=at(cut.starts), ends=at(cut.ends)) for cut in self.cuts]
        other.holes = [replace(hole, place=at(hole.place)) for hole in self.holes]
        return other

    def passed(self, z: ComplexArray) -> np.ndarray:
        """Indices of outline points that a kerf along z leaves clean. Worked out once a path, of the last many."""
        key = z.tobytes()
        if key not in self._passed:
            if len(self._passed) >= MOST_PASSED:
                self._passed.clear()
            self._passed[key] = self._found_passed(z)
        return self._passed[key]

    def _found_passed(self, z: ComplexArray) -> np.ndarray:
        assert self.tree is not None
        ahead = z[-1] + self.area.clean * (z[-1] - z[-2]) / abs(z[-1] - z[-2])
        swath = shapely.LineString(to_array(np.concatenate([z, [ahead]]))).buffer(
            self.blade.kerf / 2 + self.area.clean, quad_segs=8, cap_style="flat"
        )
        return np.asarray(self.tree.query(swath, predicate="intersects"))

    def fresh(self, z: ComplexArray) -> np.ndarray:
        """Indices of outline points that a kerf along z leaves clean and that are not yet."""
        found = self.passed(self.pushed(z))
        return np.asarray(found[~self.done[found]])

    def touched(self, at: shapely.Point, diameter: float) -> np.ndarray:
        """Indices of outline points that a hole leaves clean."""
        assert self.tree is not None
        return np.asarray(self.tree.query(at, predicate="dwithin", distance=diameter / 2 + self.area.clean))

    def drill(self, at: complex, diameter: float, clears: bool = False) -> Place:
        """Drill a hole: the outline it touches is clean, and the blade turns in it. Returns it.

        clears: it is there to take waste away.
        """
        assert self.tree is not None
        hole = self.next_hole
        disc = Point(at.real, at.imag).buffer(diameter / 2, quad_segs=32)
        self.holes.append(Drilled(at, diameter, hole, clears))
        self.done[self.tree.query(disc, predicate="dwithin", distance=self.area.clean)] = True
        if diameter >= self.blade.hole_to_turn - 1e-6:
            self.places.append((at, hole))
        self._remove(disc, hole)
        return hole

    def before(self) -> tuple[np.ndarray, list[Polygon], int, int]:
        """What `undrill` needs to take a hole back."""
        return self.done.copy(), list(self.standing), len(self.open), len(self.places)

    def undrill(self, before: tuple[np.ndarray, list[Polygon], int, int]) -> None:
        """Take the last hole back: nothing can be sawn from it after all."""
        self.holes.pop()
        self.done, self.standing, opened, places = before
        del self.open[opened:]
        self._bounds = self._bounds[:opened]
        del self.places[places:]

    def saw(
        self, z: ComplexArray, starts: Place, along: Covers | None, move: Move, turned: float = 0.0
    ) -> Cut:
        """Saw a leg along z and note what it covers, what falls and where a blade may start from now on.

        turned: by which angle (radians) the blade was spun before.
        """
        leg = Place("leg", self.next_leg)
        end, led = self.open_at(z[-1]), z
        z = self.pushed(z)
        kerf: shapely.Geometry = shapely.LineString(to_array(z)).buffer(
            self.blade.kerf / 2, quad_segs=16, cap_style="flat"
        )
        if move.start_by == "spin":
            kerf = shapely.union(kerf, swept(z[0], z[1] - z[0], turned, self.blade))
        drops = self._remove(kerf, leg)
        self.done[self.passed(z)] = True
        go = self.goes if self.cuts and move.start_by in SAME_GO else self.goes + 1
        cut = Cut(
            z,
            starts,
            end or CORNER,
            MultiPolygon(drops),
            along,
            move.start_by,
            move.seconds,
            move.parent,
            go,
            led,
            turned,
        )
        if along is not None:
            self.along_stretch.setdefault(along.stretch, []).append(len(self.cuts))
        self.cuts.append(cut)
        self._note_poses(z)
        return cut

    def is_worth_sawing(self, z: ComplexArray) -> bool:
        """Whether a kerf along z takes off more than dust."""
        swath = shapely.LineString(to_array(self.pushed(z))).buffer(self.blade.kerf / 2, cap_style="flat")
        fresh = shapely.area(shapely.intersection(np.array(self.standing, dtype=object), swath))
        return float(fresh.sum()) > WORTHLESS * self.blade.kerf**2

    def near_open(self, z: ComplexArray) -> np.ndarray:
        """Which of some points lie within a kerf's width of something open."""
        near = np.zeros(len(z), dtype=bool)
        if len(z) and self.open:
            spots = shapely.points(to_array(z))
            tree = shapely.STRtree([g for g, _ in self.open])
            near[tree.query(spots, predicate="dwithin", distance=self.blade.kerf)[0]] = True
        return near

    def frees(self, z: ComplexArray) -> bool:
        """Whether a kerf along z frees a piece in which, with the kerfs round it, the blade can be turned."""
        tool = shapely.LineString(to_array(self.pushed(z))).buffer(
            self.blade.kerf / 2, quad_segs=8, cap_style="flat"
        )
        half = self.blade.hole_to_turn / 2 + 0.05
        touched = np.array(self.standing, dtype=object)
        touched = touched[shapely.intersects(touched, tool)]
        parts = [p for piece in touched for p in polygons_of(shapely.difference(piece, tool))]
        return any(
            part.area > half * half
            and not shapely.dwithin(self.area.line, part, HELD)
            and not shapely.is_empty(shapely.buffer(part, self.blade.kerf - half, quad_segs=2))
            for part in parts
        )

    def spins_freely(self, start: complex, ahead: complex, turned: float) -> bool:
        """Whether a blade that is turned by this angle, to begin at `start` towards `ahead`, sweeps waste alone."""
        parts = swept_parts(start, ahead, turned, self.blade, SHY)
        return bool(shapely.covers(self._roomy_region, parts).all())

    def is_kerf(self, geometry: shapely.Geometry) -> bool:
        """Whether something open is a kerf: neither a hole nor a piece that fell."""
        return id(geometry) in self.kerfs

    def pushed(self, z: ComplexArray) -> ComplexArray:
        """A path that ends against wood, carried on until the square end of its kerf meets the outline."""
        if self.open_at(z[-1]):
            return z
        key = z[-2:].tobytes()
        if key not in self._carried_on:
            self._carried_on[key] = self._carried(z)
        more = self._carried_on[key]
        return z if more is None else np.concatenate([z, [more]])

    def _carried(self, z: ComplexArray) -> complex | None:
        """Where the end of a path comes to when it is carried on against the outline; None where it can't be."""
        kerf = self.blade.kerf
        d = z[-1] - z[-2]
        d = d / abs(d)
        extra = np.linspace(0.0, kerf / 2, 33)[1:]
        side = 1j * d * kerf / 2
        back, front = z[-1] - d * kerf / 2, z[-1] + d * extra
        corners = np.stack(
            [back + 0 * extra - side, front - side, front + side, back + 0 * extra + side], axis=1
        )
        boxes = shapely.polygons(np.stack([corners.real, corners.imag], axis=-1))
        fits = np.asarray(shapely.covers(self._roomy_region, boxes))
        count = int(np.argmin(np.concatenate([fits, [False]])))
        return complex(z[-1] + d * extra[count - 1]) if count else None

    def open_at(self, z: complex) -> Place | None:
        """What is already open at z: a hole, an earlier leg, the edge; None if it is wood."""
        x, y = float(z.real), float(z.imag)
        close = self._beside((x, y, x, y), 0.02)
        if close:
            spot = Point(x, y)
            for i in reversed(close):
                if shapely.dwithin(self.open[i][0], spot, 0.02):
                    return self.open[i][1]
        if len(self.area.places) and not shapely.intersects_xy(self.area.region, x, y):
            return EDGE if shapely.contains_xy(self.area.waste, x, y) else None
        return None

    def _beside(self, box: tuple[float, float, float, float], away: float) -> list[int]:
        """Numbers of what is open whose bounds come nearer than `away` (mm) to a box: all that is worth a look."""
        x0, y0, x1, y1 = self._bounds.T
        near = (x0 <= box[2] + away) & (x1 >= box[0] - away) & (y0 <= box[3] + away) & (y1 >= box[1] - away)
        found: list[int] = np.flatnonzero(near).tolist()
        return found

    def near(self, part: shapely.Geometry, away: float = 0.1) -> list[shapely.Geometry]:
        """What is open nearer than `away` (mm) to a piece."""
        shapely.prepare(part)
        close = [self.open[i][0] for i in self._beside(_box(part), away)]
        return (
            [g for g, here in zip(close, shapely.dwithin(part, close, away), strict=True) if here]
            if close
            else []
        )

    def _note_open(self, geometry: shapely.Geometry, by: Place) -> None:
        shapely.prepare(geometry)
        self.open.append((geometry, by))
        self._bounds = np.concatenate([self._bounds, [_box(geometry)]])

    def plain(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """Something open, simplified and grown by PLAIN: what rooms are looked for in. Worked out once."""
        known = self._grown.get((id(geometry), "plain"))
        if known is None:
            grown = shapely.buffer(shapely.simplify(geometry, PLAIN), PLAIN, quad_segs=1)
            known = self._grown[id(geometry), "plain"] = geometry, grown
        return known[1]

    def _thickened(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """Something open, grown by THIN. Worked out once."""
        known = self._grown.get((id(geometry), "thick"))
        if known is None:
            known = self._grown[id(geometry), "thick"] = geometry, shapely.buffer(geometry, THIN, quad_segs=8)
        return known[1]

    def _remove(self, tool: shapely.Geometry, by: Place) -> list[Polygon]:
        """Take `tool`, a hole or the kerf of a leg, out of what stands; returns the pieces that came free."""
        box = shapely.box(*shapely.bounds(tool))
        drops: list[Polygon] = []
        standing: list[Polygon] = []
        held: list[Polygon] = []
        for piece in self.standing:
            if not shapely.intersects(piece, box) or not shapely.intersects(piece, tool):
                standing.append(piece)
                continue
            for part in polygons_of(shapely.difference(piece, tool)):
                if part.area < CRUMB:
                    continue
                if not shapely.dwithin(self.area.line, part, HELD):
                    drops.append(part)
                else:
                    standing.append(part)
                    held.append(part)
        self.standing = standing
        fallen_with = by if by.kind == "leg" else Place("leg", self.next_leg - 1)
        self._note_open(tool, by)
        if by.kind == "leg":
            self.kerfs.add(id(tool))
        for part in drops:
            self._note_open(part, fallen_with)
        if drops and self.cuts:
            self._open_places(drops, fallen_with)
        for part in held:
            if self.for_the_file(part):
                self.done[self._touching(part)] = True
        return drops

    def leave_to_the_file(self, spots: np.ndarray) -> bool:
        """Whether a file takes a piece that holds some unsawn outline points (their indices) sooner than a cut.

        If so, its points count as clean. A hair of wood joins many to larger ones: only `held` tells them apart.
        """
        held = self.held()
        if not held or len(spots) == 0:
            return False
        near = shapely.STRtree(held).query(
            shapely.points(self.points[spots]), predicate="dwithin", distance=self.area.clean
        )[1]
        pieces = [held[i] for i in np.unique(near).tolist()]
        small = [p for p in pieces if self.snaps(p) or (p.area <= SOONER_FILED and self.for_the_file(p))]
        touched = [self._touching(piece) for piece in small]
        fresh = bool(touched) and not self.done[np.concatenate(touched)].all()
        for points in touched:
            self.done[points] = True
        return fresh

    def skin(self, part: shapely.Geometry) -> bool:
        """Whether a piece is nowhere thicker than what may stay on the line for the file."""
        half = self.area.allow / 2 + THIN
        if shapely.area(part) > 2 * half * shapely.length(part):
            return False
        return bool(shapely.is_empty(shapely.buffer(part, -half, quad_segs=4)))

    def for_the_file(self, part: Polygon, least: float = LEAST_FILED) -> bool:
        """Whether a held piece is a skin, or small and shallow enough to leave in its corner for a file.

        least: up to this area (mm^2) it is small whatever the blade.
        """
        if self.skin(part):
            return True
        most = min(max(FILED * self.blade.kerf * self.blade.width, least), MOST_FILED)
        if part.area > most and (self._surely_fat(part, most) or shapely.area(self.fat(part)) > most):
            return False
        # The tip of a corner too sharp for any kerf is left out of account.
        core = shapely.intersection(part, self.area.sawable)
        return bool(shapely.is_empty(core)) or self._is_no_deeper(core, self.blade.kerf)

    def _is_no_deeper(self, part: shapely.Geometry, most: float) -> bool:
        """Whether `depth` is no more than that (mm), told without putting together what is open."""
        near = self.near(part)
        if not near:
            return self.depth(part)[0] <= most
        left = np.asarray(shapely.points(shapely.get_coordinates(shapely.segmentize(part, DENSE))))
        for geometry in near:
            left = left[~shapely.dwithin(geometry, left, most)]
            if len(left) == 0:
                return True
        return False

    def depth(self, part: shapely.Geometry) -> tuple[float, tuple[float, float]]:
        """How far a piece reaches from what is open (mm), and where it reaches furthest."""
        near = self.near(part)
        xy = shapely.get_coordinates(shapely.segmentize(part, DENSE))
        if not near:
            return float(np.sqrt(shapely.area(part))), (float(xy[0, 0]), float(xy[0, 1]))
        away = np.asarray(shapely.distance(shapely.points(xy), shapely.union_all(near)))
        worst = int(np.argmax(away))
        return float(away[worst]), (float(xy[worst, 0]), float(xy[worst, 1]))

    def held(self) -> list[Polygon]:
        """Pieces of waste that are still held to keep by more than a skin."""
        now = [*self.standing, *(g for g, _ in self.open)]
        if self._held is None or len(now) != len(self._held[0]) or any(map(is_not, now, self._held[0])):
            opened = shapely.union_all([self._thickened(g) for g, _ in self.open])
            parts = polygons_of(shapely.difference(shapely.union_all(self.standing), opened))
            near = shapely.dwithin(self.area.line, np.array(parts, dtype=object), THIN / 2).tolist()
            self._held = now, [p for p, n in zip(parts, near, strict=True) if n and p.area > CRUMB]
        return list(self._held[1])

    def reopen(self) -> bool:
        """Mark as unsawn the outline points that still hold a large piece; False if there is none."""
        reach = shapely.buffer(self.area.line, self.area.clean + 0.02, quad_segs=4)
        contacts = [
            contact
            for part in self.held()
            if not self.for_the_file(part, GONE_BY) and not self.snaps(part)
            for contact in shapely.get_parts(shapely.intersection(self.fat(part), reach))
        ]
        if not contacts:
            return False
        spots = shapely.get_coordinates(shapely.centroid(np.array(contacts)))
        # A place that was sawn again twice and still holds is as clean as it gets: what stays there is reported.
        seen = np.array(self.reopened).reshape(-1, 2)
        near = np.hypot(*(spots[:, None] - seen[None, :]).transpose(2, 0, 1)) < SAME_SPOT
        spots = spots[near.sum(axis=1) < TRIES]
        self.reopened += spots.tolist()
        if len(spots) == 0:
            return False
        self._watch(spots)
        return True

    def _surely_fat(self, part: Polygon, most: float) -> bool:
        """Whether a piece without its skins is larger than `most` (mm^2), told without working it out.

        A strip of width h along the inside of a polygon of n vertices and perimeter L is no larger than L h and half
        a disc of radius h at each vertex.
        """
        half = self.area.allow / 2 + THIN
        strip = half * (shapely.length(part) + math.pi / 2 * half * shapely.get_num_coordinates(part))
        return bool(shapely.area(part) - strip > most)

    def fat(self, part: Polygon, more: float = 0.0) -> shapely.Geometry:
        """A piece without its skins: where it is thicker, by `more` mm to each side, than what may stay."""
        half = self.area.allow / 2 + THIN + more
        core = shapely.buffer(shapely.buffer(part, -half, quad_segs=4), half + 0.02, quad_segs=4)
        return shapely.intersection(part, core)

    def _watch(self, spots: FloatArray) -> None:
        """Move the nearest outline points to these places and mark them as unsawn."""
        for x, y in spots.tolist():
            away = np.hypot(self.points[:, 0] - x, self.points[:, 1] - y)
            i = int(np.argmin(np.where(self.area.reachable, away, np.inf)))
            self.points[i] = x, y
            self.done[i] = False
            if self.area.where[i] >= 0:
                line = as_line(self.area.stretches[int(self.area.where[i])])
                self.along[i] = line.project(shapely.Point(x, y))
        self.tree = shapely.STRtree(self.points_as_shapes())
        self._passed.clear()

    def snaps(self, part: Polygon) -> bool:
        """Whether a held piece hangs on so little outline that it breaks off by hand; a nib stays for the file."""
        return self.hold(self.fat(part)) <= SNAPS + 2 * THIN

    def hold(self, part: shapely.Geometry) -> float:
        """Length of outline (mm) along which a piece is held."""
        return float(shapely.length(shapely.intersection(self.area.line, shapely.buffer(part, THIN + 0.01))))

    def _touching(self, part: Polygon) -> np.ndarray:
        assert self.tree is not None
        return np.asarray(self.tree.query(part, predicate="dwithin", distance=0.08))

    def _open_places(self, drops: list[Polygon], fallen_with: Place) -> None:
        """Places in fallen waste, kerf round it included, where the blade can be turned."""
        half = self.blade.hole_to_turn / 2 + 0.05
        for piece in drops:
            if piece.area < 1.0:
                continue
            whole = shapely.union_all([self.plain(piece), *map(self.plain, self.near(piece))])
            room = shapely.buffer(whole, -half, quad_segs=4)
            for part in polygons_of(room):
                n = int(min(max(part.exterior.length / max(self.blade.width, 2.0), 1), 150))
                spots = shapely.line_interpolate_point(part.exterior, np.arange(n) / n, normalized=True)
                self.places.extend(
                    (z, fallen_with) for z in to_complex(shapely.get_coordinates(spots)).tolist()
                )

    def _note_poses(self, z: ComplexArray) -> None:
        """Places in the new kerf from which a blade put into it, either way round, can branch off."""
        for path, forward in ((z, True), (z[::-1], False)):
            s = lengths_along(path)
            width = self.blade.width + END_ROOM
            if s[-1] < width:
                continue
            n = int(min(max(2, np.ceil((s[-1] - width) / max(width / 2, 1.0))), 400))
            at = np.linspace(width, s[-1], n) if s[-1] > width + 0.1 else np.array([s[-1]])
            i = np.clip(np.searchsorted(s, at, side="right") - 1, 0, len(path) - 2)
            d = path[i + 1] - path[i]
            q = _interp(at, s, path)
            straight = self._straight(at, s, path)
            if straight.any():
                d = d / np.abs(d)
                self.poses.add(
                    q[straight], d[straight], at[straight], KerfPath(path, len(self.cuts) - 1, forward, s)
                )

    def _straight(self, at: FloatArray, s: FloatArray, path: ComplexArray) -> np.ndarray:
        """Where the kerf behind s is straight enough for a blade to be put into it and pushed straight on."""
        return self.starts_straight(path, s, at - self.blade.width / 2)

    def starts_straight(self, path: ComplexArray, s: FloatArray, middle: FloatArray) -> np.ndarray:
        """Whether a blade with its middle at s lies straight in a kerf along `path`."""
        half = self.blade.width / 2
        play = (self.blade.kerf - self.blade.body) / 2
        front, centre, back = (_interp(middle + k, s, path) for k in (half, 0.0, -half))
        ahead = _interp(middle + 0.05, s, path) - centre
        ahead = ahead / np.maximum(np.abs(ahead), 1e-12)
        bow = np.abs(((back - centre) / ahead).imag) + np.abs(((front - centre) / ahead).imag)
        return np.asarray(
            (bow < 0.6 * play) & (middle - half >= s[0] - 1e-6) & (middle + half <= s[-1] + 1e-6)
        )


def _box(geometry: shapely.Geometry) -> tuple[float, float, float, float]:
    x0, y0, x1, y1 = shapely.bounds(geometry).tolist()
    return x0, y0, x1, y1


def lengths_along(z: ComplexArray) -> FloatArray:
    """How far along a path each of its points (n,) lies."""
    s = np.zeros(len(z))
    np.cumsum(np.abs(z[1:] - z[:-1]), out=s[1:])
    return s


def _interp(at: FloatArray, s: FloatArray, path: ComplexArray) -> ComplexArray:
    return np.asarray(np.interp(at, s, path))
