"""Openings and pieces too small to saw."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from cutout.check.finding import Finding, check
from cutout.check.loose_piece import loose_pieces
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("speck")
def speck(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Openings, and loose pieces, smaller across than the limit."""
    limit = kit.limits.speck
    holes = [(o.region, o.id) for o in pattern.openings]
    bits = [(piece, None) for piece in loose_pieces(pattern)]
    for region, opening in (*holes, *bits):
        x0, y0, x1, y1 = region.bounds
        size = max(x1 - x0, y1 - y0)
        if size >= limit:
            continue
        at = shapely.point_on_surface(region)
        what = "An opening" if opening is not None else "A bit of wood"
        text = f"{what} {format_length(size, kit.units)} across is too small to saw."
        remedy = "Leave it out of the picture, or drill it as a plain hole."
        yield Finding("speck", "care", (at.x, at.y), size, limit, opening, text, remedy)
