"""Openings too narrow for the saw cut, or for the hole that lets the blade in."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from cutout.check.finding import Finding, check
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("narrow opening")
def narrow_opening(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Waste narrower than the kerf, and openings in which no hole for the blade fits."""
    if pattern.keep_mode == "both":
        return
    hole = kit.drills.at_least(kit.blade.hole_to_turn)
    for opening in pattern.openings:
        circle = shapely.maximum_inscribed_circle(opening.region, tolerance=0.01)
        size = 2 * float(circle.length)
        limit = hole if hole is not None and not opening.at_edge else kit.blade.kerf
        if size < limit:
            x, y = circle.coords[0]
            text = (
                f"Opening {opening.id} is {format_length(size, kit.units)} across at its widest: "
                f"it needs {format_length(limit, kit.units)}."
            )
            yield Finding(
                "narrow opening", "stop", (x, y), size, limit, opening.id, text, "Make it wider or larger."
            )
