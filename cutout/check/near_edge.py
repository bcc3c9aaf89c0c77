"""Cuts too near the panel's edge or inside a keep-out zone."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from cutout.check.finding import Finding, check
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("too near the edge")
def near_edge(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Openings nearer to the panel's edge than the limit, and cuts that enter a keep-out zone."""
    yield from _edges(pattern, kit)
    yield from _zones(pattern, kit)


def _edges(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    if pattern.keep_mode == "figure":
        return
    limit = kit.limits.edge
    for opening in pattern.openings:
        line = shapely.shortest_line(opening.region, pattern.panel.polygon.exterior)
        size = float(line.length)
        if size < limit:
            x, y = line.coords[0]
            text = (
                f"Opening {opening.id} comes within {format_length(size, kit.units)} of the panel's edge; "
                f"{format_length(limit, kit.units)} is the least."
            )
            remedy = "Move the pattern away from the edge, make it smaller, or take a larger panel."
            yield Finding("too near the edge", "care", (x, y), size, limit, opening.id, text, remedy)


def _zones(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    for zone in pattern.panel.zones:
        for opening in pattern.openings:
            inside = shapely.intersection(opening.region, zone.area)
            if inside.area > 0.01:
                at = shapely.point_on_surface(inside)
                text = f"Opening {opening.id} runs into the {zone.name}."
                remedy = "Move the pattern clear of it, or make it smaller."
                yield Finding("too near the edge", "stop", (at.x, at.y), None, None, opening.id, text, remedy)
