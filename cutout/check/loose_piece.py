"""Parts of keep that no wood connects to the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from shapely import Polygon

from cutout.finding import Facts, Finding, Severity
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.pattern.panel import TOUCHING


@dataclass(frozen=True, slots=True)
class Loose(Facts):
    """A piece nothing holds, and the sides of its box (mm). drops: out of the panel, or else off the figure."""

    width: float
    height: float
    drops: bool


def loose_pieces(pattern: Pattern) -> tuple[Polygon, ...]:
    """Parts of keep that are not the one that is meant to stay, largest first.

    keep `panel`: all but the largest part that reaches the panel's edge; `figure`: all but the largest part;
    `both`: all but the panel round the figure and the largest part of the figure.
    """
    parts = sorted(pattern.keep.geoms, key=lambda p: (-p.area, p.bounds))
    if not parts:
        return ()
    edge = pattern.panel.polygon.exterior
    stays = [next((p for p in parts if p.distance(edge) < TOUCHING), parts[0])]
    if pattern.keep_mode == "figure":
        stays = parts[:1]
    elif pattern.keep_mode == "both":
        stays += [p for p in parts if p is not stays[0]][:1]
    return tuple(p for p in parts if all(p is not s for s in stays))


def across(region: Polygon) -> float:
    """Longer side (mm) of a region's bounding box."""
    x0, y0, x1, y1 = region.bounds
    return float(max(x1 - x0, y1 - y0))


def is_speck(piece: Polygon, limit: float) -> bool:
    """Whether a loose piece is smaller across than `limit` mm, or nowhere half as wide as that."""
    if across(piece) < limit:
        return True
    return bool(shapely.is_empty(shapely.buffer(piece, -limit / 4)))


def loose_piece(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Pieces that would drop out of the panel, or come away from the figure."""
    severity: Severity = "stop" if pattern.keep_mode == "panel" else "care"
    for piece in loose_pieces(pattern):
        if is_speck(piece, kit.limits.speck):
            continue
        width, height = _sides(piece)
        at = shapely.point_on_surface(piece)
        yield Finding(
            kind="loose piece",
            severity=severity,
            at=(at.x, at.y),
            size=max(width, height),
            facts=Loose(width, height, drops=pattern.keep_mode == "panel"),
        )


def _sides(piece: Polygon) -> tuple[float, float]:
    x0, y0, x1, y1 = piece.bounds
    return x1 - x0, y1 - y0
