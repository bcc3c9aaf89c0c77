"""Curves tighter than the blade turns."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.check.finding import Finding, check
from cutout.check.follow import tight_places
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("tight curve")
def tight_curve(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Rounded stretches of the line with a radius below the turning radius."""
    limit = kit.blade.turning_radius
    for place in tight_places(pattern, kit.blade):
        if place.bend.sharp:
            continue
        text = (
            f"Curve of {format_length(place.bend.radius, kit.units)} radius: "
            f"the blade turns no tighter than {format_length(limit, kit.units)}."
        )
        remedy = "Drill a relief hole in the curve, or use a narrower blade."
        yield Finding("tight curve", "care", place.at, place.bend.radius, limit, place.opening, text, remedy)
