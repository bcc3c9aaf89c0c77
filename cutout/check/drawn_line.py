"""Openings that cut through what is drawn on a face."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from shapely import MultiPolygon

from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.pattern.faces import crossed


@dataclass(frozen=True, slots=True)
class CutsDrawing(Facts):
    """An opening cuts through something drawn; size: side of a square as large as what is lost. drawn: its name."""

    drawn: str


def drawn_line(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """One `care` finding per drawn thing and opening that crosses it; size = square root of the area lost (mm)."""
    for zone in pattern.panel.drawn:
        for opening in pattern.openings:
            lost = crossed(zone, MultiPolygon([opening.region]))
            if lost.is_empty:
                continue
            at = max(lost.geoms, key=lambda p: p.area).representative_point()
            size = math.sqrt(lost.area)
            yield Finding(
                kind="drawn line",
                severity="care",
                at=(at.x, at.y),
                size=size,
                limit=0.0,
                opening=opening.id,
                facts=CutsDrawing(zone.name),
            )
