"""The proof of a tool path: move the bit along it and look at the wood. Shares no code with what made it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import shapely
from shapely import LinearRing, MultiPolygon

from cutout.finding import Facts, Finding
from cutout.geom.curve import FloatArray
from cutout.geom.outline import as_multi, polygons_of
from cutout.pattern import Pattern
from cutout.route.model import Pass, Tile, ToolPath
from cutout.route.track import Track

GOUGE = 0.02
"""Deepest cut (mm) into wood that stays which still counts as none."""
_FINE = 1e-3
"""Between a curve and its chords (mm): a twentieth of what counts as a gouge."""
_FINISH = 3.0
"""In a corner the finishing turn may take this many times the wood left for it."""
_ROUNDS = 96
"""Chords per quarter circle of the bit as it is moved."""


PathWhat: TypeAlias = Literal[
    "in keep",
    "uncut",
    "not through",
    "too deep",
    "wrong way",
    "tiles miss",
    "out of reach",
    "pins off",
    "pins out of reach",
    "pin in keep",
]


@dataclass(frozen=True, slots=True)
class PathFault(Facts):
    """One thing a tool path does wrong.

    in keep: size is how deep; uncut: size is the area (mm^2) left; not through, too deep: size is the depth.
    tiles miss: size is the length left uncut. tile: its number, where it is about one.
    """

    what: PathWhat
    tile: int | None = None


@dataclass(frozen=True, slots=True)
class RouterProof:
    """Deepest cut into wood that stays (mm), and each failure as a finding that stops."""

    gouge: float
    findings: tuple[Finding, ...]


def prove(pattern: Pattern, path: ToolPath) -> RouterProof:
    """Sweep every bit along its passes: nothing of what stays is cut, all waste beside it is (tabs apart).

    Checked too: every pass goes through the panel in steps its bit can take, and turns the right way round.
    With keep `both` the figure is what stays. The outline's own curves are the measure.
    """
    board = pattern.panel.polygon
    figure = shapely.intersection(pattern.outline.region(_FINE), board)
    stays = as_multi(shapely.difference(board, figure) if pattern.keep_mode == "panel" else figure)
    lines = [LinearRing(p.ring.points(_FINE)) for p in path.passes]
    gouge, where = _deepest(path.passes, lines, stays)
    found = [*_left_standing(pattern, path, lines, stays), *_wrong_turns(pattern, path)]
    if gouge > GOUGE:
        found.append(_fault("in keep", where, gouge, GOUGE))
    return RouterProof(gouge, tuple(found))


def prove_tiles(pattern: Pattern, path: ToolPath) -> Iterator[Finding]:
    """That the tiles cut every run to its end, each within its reach, and lie on the pins they are drilled for."""
    for cut in path.passes if path.tiles else ():
        parts = [p.part for tile in path.tiles for p in tile.passes if p.order == cut.order]
        start = cut.ring.segments[0].start
        if missing := _uncovered(cut.ring.length, parts):
            yield _fault("tiles miss", (start.real, start.imag), missing)
    for tile in path.tiles:
        x0, y0, x1, y1 = tile.reach
        for cut in tile.passes:
            begin, end = cut.part or (0.0, cut.ring.length)
            at, _ = Track(cut.ring).samples(np.linspace(begin, end, max(int((end - begin) * 4), 8)))
            over = max(x0 - at.real.min(), at.real.max() - x1, y0 - at.imag.min(), at.imag.max() - y1)
            if over > 0:
                where = (float(at[0].real), float(at[0].imag))
                yield _fault("out of reach", where, float(over), 0.0, tile.number)
    yield from _wrong_pins(pattern, path)


def _uncovered(length: float, parts: list[tuple[float, float] | None]) -> float:
    """Length (mm) of a closed run that none of the stretches covers."""
    if None in parts:
        return 0.0
    spans = sorted((a % length, a % length + (b - a)) for a, b in (p for p in parts if p))
    reached, missing = 0.0, 0.0
    # What passes the ring's end covers its beginning.
    wrapped = max((b - length for _, b in spans), default=0.0)
    reached = max(wrapped, 0.0)
    for a, b in spans:
        missing += max(a - reached, 0.0)
        reached = max(reached, b)
    return missing + max(length - reached, 0.0)


def _wrong_pins(pattern: Pattern, path: ToolPath) -> Iterator[Finding]:
    """Pins that don't stand under the holes, that a tile can't reach, or that lie in wood that stays unasked."""
    board = pattern.panel.polygon
    figure = shapely.intersection(pattern.outline.region(_FINE), board)
    stays = as_multi(shapely.difference(board, figure) if pattern.keep_mode == "panel" else figure)
    radius = path.passes[0].bit.radius if path.passes else 0.0
    drilled = np.empty((0, 2))
    for tile in path.tiles:
        laid = np.array(tile.pins).reshape(-1, 2) + np.array(tile.shift)
        off = np.abs(laid[:, None, :] - drilled[None]).max(axis=2).min(axis=1, initial=np.inf)
        holes = np.array(tile.holes).reshape(-1, 2)
        if len(laid) != (2 if tile.number > 1 else 0) or (off > 1e-6).any():
            yield _fault("pins off", (0.0, 0.0), tile=tile.number)
        if not _reaches(tile, np.vstack([laid, holes])):
            yield _fault("pins out of reach", (0.0, 0.0), tile=tile.number)
        near = float(shapely.distance(shapely.points(holes), stays).min(initial=np.inf))
        if path.settings.index_in == "waste" and near < radius:
            x, y = holes[0].tolist()
            yield _fault("pin in keep", (x, y), near, radius, tile.number)
        drilled = np.vstack([drilled, holes])


def _reaches(tile: Tile, places: FloatArray) -> bool:
    low, high = np.array(tile.reach[:2]), np.array(tile.reach[2:])
    return bool(((places >= low) & (places <= high)).all())


def _deepest(
    passes: tuple[Pass, ...], lines: list[LinearRing], stays: MultiPolygon
) -> tuple[float, tuple[float, float]]:
    """How far the bit reaches into what stays, and where: its radius less the distance of its middle."""
    deepest, where = 0.0, (0.0, 0.0)
    if stays.is_empty or not lines:
        return deepest, where
    tree = shapely.STRtree(_edges(shapely.boundary(stays)))
    shapely.prepare(stays)
    for cut, line in zip(passes, lines, strict=True):
        path = _edges(line)
        nearest, away = tree.query_nearest(path, return_distance=True, all_matches=False)
        start = shapely.get_coordinates(shapely.get_point(path[nearest[0]], 0))
        away = np.where(shapely.contains_xy(stays, start[:, 0], start[:, 1]), -away, away)
        depth = float(cut.bit.radius - away.min())
        if depth > deepest:
            x, y = start[int(np.argmin(away))].tolist()
            deepest, where = depth, (x, y)
    return deepest, where


def _left_standing(
    pattern: Pattern, path: ToolPath, lines: list[LinearRing], stays: MultiPolygon
) -> Iterator[Finding]:
    """Waste still joined to what stays once the tabs are cut, other than what the path says it can't reach."""
    swept = shapely.union_all(
        [
            shapely.buffer(line, p.bit.radius, quad_segs=_ROUNDS)
            for p, line in zip(path.passes, lines, strict=True)
        ]
    )
    wood = shapely.difference(pattern.panel.polygon, swept)
    inner = shapely.buffer(stays, -GOUGE)
    shapely.prepare(inner)
    # What the cuts part lies apart already: nothing has to be united.
    joined = MultiPolygon([part for part in polygons_of(wood) if shapely.intersects(inner, part)])
    allowed: shapely.Geometry = stays
    if not path.unreached.is_empty:
        allowed = shapely.union(stays, shapely.buffer(path.unreached, GOUGE))
    missed = polygons_of(shapely.difference(joined, allowed))
    # What has no room for a disc of that size is nothing once it is drawn in.
    wide = MultiPolygon([part for part in missed if part.area >= math.pi * GOUGE**2])
    for part in polygons_of(shapely.buffer(wide, -GOUGE)):
        spot = shapely.point_on_surface(part)
        yield _fault("uncut", (spot.x, spot.y), float(part.area))


def _wrong_turns(pattern: Pattern, path: ToolPath) -> Iterator[Finding]:
    roughed = [LinearRing(p.ring.points(_FINE)) for p in path.passes if p.purpose == "roughing"]
    for cut in path.passes:
        start = cut.ring.segments[0].start
        steps = -np.diff(np.array([0.0, *cut.depths]))
        at = (start.real, start.imag)
        if -cut.depths[-1] < pattern.panel.thickness:
            yield _fault("not through", at, -cut.depths[-1], pattern.panel.thickness)
        thin = cut.purpose == "finish" and _beside(cut, roughed) <= _FINISH * path.settings.finish + GOUGE
        if steps.min() <= 0 or (steps.max() > cut.bit.depth_per_pass + 1e-9 and not thin):
            yield _fault("too deep", at, float(steps.max()), cut.bit.depth_per_pass)
        if (cut.ring.area > 0) != ((cut.side == "outside") == (path.settings.direction == "conventional")):
            yield _fault("wrong way", at)


def _beside(cut: Pass, roughed: list[LinearRing]) -> float:
    """How far (mm) the pass strays from the middle of what the bit has roughed out already."""
    if not roughed:
        return float("inf")
    return float(shapely.distance(shapely.points(cut.ring.points(_FINE)), shapely.union_all(roughed)).max())


def _fault(
    what: PathWhat,
    at: tuple[float, float],
    size: float | None = None,
    limit: float | None = None,
    tile: int | None = None,
) -> Finding:
    return Finding(kind="router", severity="stop", at=at, size=size, limit=limit, facts=PathFault(what, tile))


def _edges(lines: shapely.Geometry) -> np.ndarray:
    xy, which = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    same = which[1:] == which[:-1]
    ends: FloatArray = np.stack([xy[:-1][same], xy[1:][same]], axis=1)
    return np.asarray(shapely.linestrings(ends))
