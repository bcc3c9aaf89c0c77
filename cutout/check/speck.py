"""Openings and pieces too small to saw."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import shapely
from shapely import Polygon

from cutout.check.loose_piece import across, is_speck, loose_pieces
from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.pattern import Pattern


@dataclass(frozen=True, slots=True)
class SmallOpening(Facts):
    """An opening too small to saw; size: how large it is across."""


@dataclass(frozen=True, slots=True)
class SmallPiece(Facts):
    """A loose piece too small to hold; size: how long it is."""


def speck(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Openings smaller across than the limit; loose pieces that are, or are slivers half as wide at most."""
    limit = kit.limits.speck
    for opening in pattern.openings:
        size = across(opening.region)
        if size < limit:
            yield _finding(opening.region, size, limit, opening.id, SmallOpening())
    for piece in loose_pieces(pattern):
        if is_speck(piece, limit):
            yield _finding(piece, across(piece), limit, None, SmallPiece())


def _finding(region: Polygon, size: float, limit: float, opening: int | None, facts: Facts) -> Finding:
    at = shapely.point_on_surface(region)
    return Finding(
        kind="speck", severity="care", at=(at.x, at.y), size=size, limit=limit, opening=opening, facts=facts
    )
