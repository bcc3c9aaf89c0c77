"""Openings and pieces too small to saw."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely import Polygon

from cutout.check.loose_piece import across, is_speck, loose_pieces
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


def speck(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Openings smaller across than the limit; loose pieces that are, or are slivers half as wide at most."""
    limit = kit.limits.speck
    for opening in pattern.openings:
        size = across(opening.region)
        if size < limit:
            text = f"An opening {format_length(size, kit.units)} across is too small to saw."
            remedy = "Leave it out of the picture, or drill it as a plain hole."
            yield _finding(opening.region, size, limit, opening.id, text, remedy)
    for piece in loose_pieces(pattern):
        if is_speck(piece, limit):
            size = across(piece)
            text = (
                f"A bit of wood {format_length(size, kit.units)} long is too small to hold: it will be lost."
            )
            remedy = "Leave it out of the picture, or draw it larger."
            yield _finding(piece, size, limit, None, text, remedy)


def _finding(
    region: Polygon, size: float, limit: float, opening: int | None, text: str, remedy: str
) -> Finding:
    at = shapely.point_on_surface(region)
    return Finding("speck", "care", (at.x, at.y), size, limit, opening, text, remedy)
