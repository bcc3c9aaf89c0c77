"""The proof of a tool path: move the bit along it and look at the wood. Shares no code with what made it."""

from __future__ import annotations

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
from cutout.route.model import Pass, ToolPath

GOUGE = 0.02
"""Deepest cut (mm) into wood that stays which still counts as none."""
_FINE = 1e-3
_FINISH = 3.0
"""In a corner the finishing turn may take this many times the wood left for it."""
_ROUNDS = 96
"""Chords per quarter circle of the bit as it is moved."""


PathWhat: TypeAlias = Literal["in keep", "uncut", "not through", "too deep", "wrong way"]


@dataclass(frozen=True, slots=True)
class PathFault(Facts):
    """One thing a tool path does wrong.

    in keep: size is how deep; uncut: size is the area (mm^2) left; not through, too deep: size is the depth.
    """

    what: PathWhat


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
    joined = [part for part in polygons_of(wood) if shapely.intersects(inner, part)]
    allowed = shapely.union_all([stays, shapely.buffer(path.unreached, GOUGE)])
    missed = shapely.difference(shapely.union_all(joined), allowed)
    for part in polygons_of(shapely.buffer(missed, -GOUGE)):
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
    what: PathWhat, at: tuple[float, float], size: float | None = None, limit: float | None = None
) -> Finding:
    return Finding(kind="router", severity="stop", at=at, size=size, limit=limit, facts=PathFault(what))


def _edges(lines: shapely.Geometry) -> np.ndarray:
    xy, which = shapely.get_coordinates(shapely.get_parts(lines), return_index=True)
    same = which[1:] == which[:-1]
    ends: FloatArray = np.stack([xy[:-1][same], xy[1:][same]], axis=1)
    return np.asarray(shapely.linestrings(ends))
