"""Holding tabs: where a part that would come loose stays joined to the wood beside it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, minimum_filter1d
from shapely import MultiPolygon, Polygon

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.geom.outline import Ring, polygons_of
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.pattern.panel import TOUCHING
from cutout.route.model import Settings, Tab
from cutout.route.track import Track

LEAST = 3
"""Tabs on every part that would come loose."""
_STEP = 1.5
"""Distance (mm) between the places looked at."""
_BEND = math.radians(25.0)
"""A path that turns more than this under a tab is a corner."""
_BESIDE = 0.3
"""How far (mm) beside the cut the wood begins to be looked at."""
_PROBES = 6
"""Points across the wood beside a place for a tab that are asked whether it holds."""


@dataclass(frozen=True, eq=False, slots=True)
class Piece:
    """A piece of wood once every run is cut; opening is 0 for what is kept.

    held: it stays clamped. waste: it may go to chips rather than be held.
    """

    area: Polygon
    opening: int
    held: bool
    waste: bool


@dataclass(frozen=True, eq=False, slots=True)
class Held:
    """Tabs of each ring, by its place in the list, and the loose pieces with no room for enough of them."""

    tabs: tuple[tuple[Tab, ...], ...]
    short: tuple[Piece, ...]


@dataclass(frozen=True, eq=False, slots=True)
class _Places:
    """Places (n,) on the rings: ring, distance along it, point, direction of travel, piece on either side.

    firm: how deep the wood is on the thinner side: 2 to the limit of a web, 1 to a tab's width, 0 less.
    """

    ring: NDArray[np.intp]
    along: FloatArray
    point: ComplexArray
    left: NDArray[np.intp]
    right: NDArray[np.intp]
    firm: NDArray[np.intp]


def pieces(
    pattern: Pattern, kept: shapely.Geometry, slugs: Iterable[tuple[int, shapely.Geometry]]
) -> tuple[Piece, ...]:
    """The wood there is after cutting: `kept` with what could not be reached, and `slugs` by opening.

    What reaches the panel's edge is clamped and held, except a figure and what drops off beside a panel.
    """
    mode, board = pattern.keep_mode, pattern.panel.polygon

    def held(area: Polygon, clamped: bool) -> bool:
        return clamped and bool(shapely.dwithin(area, board.exterior, TOUCHING))

    found = [Piece(area, 0, held(area, mode != "figure"), waste=False) for area in polygons_of(kept)]
    for opening, region in slugs:
        parts = polygons_of(shapely.intersection(region, board))
        found += [Piece(area, opening, held(area, mode != "panel"), waste=mode != "both") for area in parts]
    return tuple(found)


def place_tabs(
    rings: Sequence[Ring],
    wood: Sequence[Piece],
    avoid: MultiPolygon,
    kit: Kit,
    thickness: float,
    settings: Settings,
) -> Held:
    """Three tabs or more for every loose piece, as far apart as they go, each to wood that is itself held.

    None lies where the path bends (a corner), where the wood on either side is thin, or with its middle in
    `avoid`, where a smaller bit still has to cut. Tab length: wood wanted plus the bit's diameter, because the
    bit takes half its width off each end.
    """
    tracks = [Track(r) for r in rings]
    length = settings.tab_width + kit.bit.diameter
    web = (kit.limits.web_along if kit.wood.has_grain else kit.limits.web_sheet) * thickness
    depths = (max(web, settings.tab_width), settings.tab_width)
    places = _places(tracks, wood, avoid, kit.bit.radius, length, depths)
    secured = np.array([piece.held for piece in wood], dtype=bool)
    pending = [n for n, piece in enumerate(wood) if not piece.held]
    chosen: list[int] = []
    while True:
        ready = [n for n in pending if _joins(places, n, secured).any()]
        if not ready:
            break
        taken = _for_piece(places, _joins(places, ready[0], secured), chosen, length, settings)
        secured[ready[0]] = len(taken) >= LEAST
        if secured[ready[0]] or not wood[ready[0]].waste:
            chosen += taken
        pending.remove(ready[0])
    short = tuple(piece for piece, held in zip(wood, secured, strict=True) if not held)
    return Held(_tabs(places, chosen, length, len(rings)), short)


def beside(ring: Ring, tabs: Iterable[Tab], away: float) -> tuple[Tab, ...]:
    """The tabs that lie on a ring `away` mm from this one (mm), at the same places along this one.

    None for tabs of other rings: those lie farther off.
    """
    track, found = Track(ring), []
    along: FloatArray = np.arange(0.0, track.length, _STEP / 10)
    point, _ = track.samples(along)
    for tab in tabs:
        apart = np.abs(point - complex(*tab.at))
        nearest = int(np.argmin(apart))
        if apart[nearest] < 1.5 * away + _STEP / 10:
            half = (tab.end - tab.start) / 2
            found.append(Tab(along[nearest] - half, along[nearest] + half, tab.at))
    return tuple(sorted(found, key=lambda tab: tab.start))


def _joins(places: _Places, piece: int, secured: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Places where a tab would join a piece to one that is secured."""
    mine = (places.left == piece) | (places.right == piece)
    return np.asarray(mine & secured[np.where(places.left == piece, places.right, places.left)])


def _for_piece(
    places: _Places, joins: NDArray[np.bool_], chosen: list[int], length: float, settings: Settings
) -> list[int]:
    wanted = max(LEAST, round(np.count_nonzero(joins) * _STEP / settings.tab_spacing))
    taken: list[int] = []
    for firm in (2, 1):
        among = np.flatnonzero(joins & (places.firm >= firm))
        taken += _spread(places, among, chosen + taken, wanted - len(taken), length)
    return taken


def _tabs(places: _Places, chosen: list[int], length: float, rings: int) -> tuple[tuple[Tab, ...], ...]:
    made: list[list[Tab]] = [[] for _ in range(rings)]
    for i in sorted(chosen, key=lambda k: (places.ring[k], places.along[k])):
        along, at = float(places.along[i]), complex(places.point[i])
        made[places.ring[i]].append(Tab(along - length / 2, along + length / 2, (at.real, at.imag)))
    return tuple(tuple(tabs) for tabs in made)


def _spread(
    places: _Places, among: NDArray[np.intp], chosen: list[int], count: int, length: float
) -> list[int]:
    """Up to `count` of the places `among`, each as far as can be from all chosen before, with room between."""
    taken: list[int] = []
    if not len(among):
        return taken
    point = places.point[among]
    if chosen:
        apart = np.abs(point[:, None] - places.point[chosen]).min(axis=1)
    else:
        apart = np.abs(point - point.mean()) + 2 * length
    while len(taken) < count and apart.max() > 1.5 * length:
        best = int(np.argmax(np.round(apart, 6)))
        taken.append(int(among[best]))
        away = np.abs(point - point[best])
        apart = away if len(taken) == 1 and not chosen else np.minimum(apart, away)
    return taken


def _places(
    tracks: Sequence[Track],
    wood: Sequence[Piece],
    avoid: MultiPolygon,
    radius: float,
    length: float,
    depths: tuple[float, float],
) -> _Places:
    """Every place on the rings where a tab would join two pieces on a straight enough stretch."""
    found = [_straight(track, length) for track in tracks]
    ring = np.repeat(np.arange(len(tracks)), [len(f[0]) for f in found])
    along = np.concatenate([f[0] for f in found]) if found else np.empty(0)
    point = np.concatenate([f[1] for f in found]) if found else np.empty(0, dtype=complex)
    normal = 1j * (np.concatenate([f[2] for f in found]) if found else point)
    clear = ~_inside(avoid, point)
    ring, along, point, normal = ring[clear], along[clear], point[clear], normal[clear]
    left, left_firm = _wood_beside(point, normal, radius, wood, depths)
    right, right_firm = _wood_beside(point, -normal, radius, wood, depths)
    joins = (left >= 0) & (right >= 0) & (left != right)
    firm = np.minimum(left_firm, right_firm)
    return _Places(ring[joins], along[joins], point[joins], left[joins], right[joins], firm[joins])


def _straight(track: Track, length: float) -> tuple[FloatArray, ComplexArray, ComplexArray]:
    """Distances, points and directions along a ring where it bends little over the length of a tab."""
    count = int(track.length / _STEP)
    half = math.ceil((length / 2 + _STEP) / _STEP)
    if count < 2 * half + 2:
        return np.empty(0), np.empty(0, dtype=complex), np.empty(0, dtype=complex)
    along: FloatArray = np.arange(count, dtype=np.float64) * (track.length / count)
    point, ahead = track.samples(along)
    around = np.concatenate([ahead[-half:], ahead, ahead[: half + 1]])
    heading = np.concatenate([[0.0], np.cumsum(np.angle(around[1:] / around[:-1]))])
    window = 2 * half + 1
    bend = (maximum_filter1d(heading, window) - minimum_filter1d(heading, window))[half : half + count]
    straight = bend < _BEND
    return along[straight], point[straight], ahead[straight]


def _wood_beside(
    point: ComplexArray,
    outward: ComplexArray,
    radius: float,
    wood: Sequence[Piece],
    depths: tuple[float, float],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Number of the piece beside each place (-1: none), and how firm it is there; for waste 1 counts as 2."""
    piece = np.full(len(point), -1)
    firm = np.zeros(len(point), dtype=np.intp)
    for number, part in enumerate(wood):
        mine = _inside(part.area, point + outward * (radius + _BESIDE))
        piece[mine] = number
        which = np.flatnonzero(mine)
        for level, depth in ((1, depths[1]), (2, depths[1] if part.waste else depths[0])):
            probes = radius + np.linspace(_BESIDE, depth, _PROBES)
            deep = np.array([_inside(part.area, point[which] + outward[which] * p) for p in probes])
            which = which[deep.all(axis=0)]
            firm[which] = level
    return piece, firm


def _inside(area: Polygon | MultiPolygon, z: ComplexArray) -> NDArray[np.bool_]:
    shapely.prepare(area)
    return np.asarray(shapely.contains_xy(area, z.real, z.imag))
