"""From a pattern to the passes that cut it."""

from __future__ import annotations

import math

import shapely

from cutout.geom.arcfit import fit_arcs
from cutout.geom.outline import as_multi
from cutout.kit import Bit, Kit
from cutout.pattern import Pattern
from cutout.route.model import Pass, Settings, ToolPath
from cutout.route.offset import Contour, contours, grow, spaces


def tool_path(pattern: Pattern, kit: Kit, settings: Settings | None = None) -> ToolPath:
    """The router's path for a pattern: offset, fitted, ordered."""
    settings = settings or Settings()
    bit = kit.bit
    runs: list[Contour] = []
    left = []
    for space in spaces(pattern, 2 * bit.diameter):
        centre = grow(space.region, -bit.radius)
        left.append(shapely.difference(space.region, grow(centre, bit.radius)))
        runs += contours(space, centre, pattern)
    turns = depths(pattern.panel.thickness, bit, settings)
    passes = tuple(
        Pass(n + 1, run.opening, run.side, fit_arcs(run.xy, settings.tolerance), bit, turns, ())
        for n, run in enumerate(runs)
    )
    unreached = (
        as_multi(shapely.intersection(shapely.union_all(left), pattern.waste))
        if left
        else as_multi(shapely.MultiPolygon())
    )
    length = sum(p.ring.length * len(p.depths) for p in passes)
    return ToolPath(passes, unreached, (), 0.0, 0.0, length, length / settings.feed(bit), settings)


def depths(thickness: float, bit: Bit, settings: Settings) -> tuple[float, ...]:
    """z of each turn (mm, negative): equal steps no deeper than the bit allows, the last one through."""
    whole = thickness + settings.breakthrough
    n = math.ceil(whole / bit.depth_per_pass - 1e-9)
    return tuple(-whole * (k + 1) / n for k in range(n))
