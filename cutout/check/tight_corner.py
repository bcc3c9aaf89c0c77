"""Corners the blade can't turn."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cutout.check.finding import Finding, check
from cutout.check.follow import tight_places
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("tight corner")
def tight_corner(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Sharp corners of the line, for a blade that turns no tighter than its turning radius."""
    limit = kit.blade.turning_radius
    radius = format_length(limit, kit.units)
    for place in tight_places(pattern, kit.blade):
        if not place.bend.sharp:
            continue
        angle = math.degrees(place.angle)
        if place.inside:
            text = f"Inside corner of {angle:.0f} degrees: the blade turns no tighter than {radius}."
            remedy = "Drill a relief hole in the corner, or saw into it from both sides."
        else:
            text = f"Point of wood, {angle:.0f} degrees: the blade turns no tighter than {radius}."
            remedy = "Saw past the point into the waste and come back to it along the other side."
        yield Finding("tight corner", "care", place.at, 0.0, limit, place.opening, text, remedy)
