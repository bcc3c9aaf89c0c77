"""Where a blade can't follow the line: corners and curves tighter than it turns."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from cutout.geom.outline import polygons_of
from cutout.kit import Blade
from cutout.pattern import Pattern

SLACK = 0.1
"""How far (mm) the cut may leave the line; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Tight:
    """One place the blade can't follow. angle: of the waste there (radians), radius: of the line (mm, 0 = sharp)."""

    sharp: bool
    inside: bool
    at: tuple[float, float]
    angle: float
    radius: float
    depth: float
    opening: int


@lru_cache(maxsize=8)
def tight_places(pattern: Pattern, blade: Blade) -> tuple[Tight, ...]:
    """Every place of the pattern's line that the blade can't follow within SLACK."""
    found = []
    for opening in pattern.openings:
        region = polygons_of(opening.region.simplify(0.05))[0]
        for line in (region.exterior, *region.interiors):
            xy = shapely.get_coordinates(line)[:-1]
            if line.is_ccw != (line is region.exterior):
                xy = xy[::-1]
            found += _at_vertices(xy, blade, opening.id, pattern)
    return tuple(found)


def _at_vertices(xy: np.ndarray, blade: Blade, opening: int, pattern: Pattern) -> list[Tight]:
    z = xy[:, 0] + 1j * xy[:, 1]
    ahead = np.roll(z, -1) - z
    behind = z - np.roll(z, 1)
    turn = np.angle(ahead / behind)
    at_edge = shapely.distance(shapely.points(xy), pattern.panel.polygon.exterior) < 1e-3
    found = []
    for i in np.flatnonzero((np.abs(turn) > math.radians(25)) & ~at_edge).tolist():
        rho = blade.turning_radius + (0.5 if turn[i] > 0 else -0.5) * blade.kerf
        depth = rho * (1 / math.cos(min(abs(turn[i]), 3.1) / 2) - 1)
        if depth > SLACK:
            at = (float(xy[i, 0]), float(xy[i, 1]))
            found.append(Tight(True, bool(turn[i] > 0), at, math.pi - float(turn[i]), 0.0, depth, opening))
    return found
