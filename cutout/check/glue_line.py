"""Webs that a glue line between two boards runs through."""

from __future__ import annotations

from collections.abc import Iterator

import shapely
from shapely import LineString

from cutout.check.boards import glue_lines
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.measure.webs import Web, webs
from cutout.pattern import Pattern
from cutout.units import format_length


def glue_line(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Each narrow web that a glue line crosses, or runs along inside; only where the boards are known."""
    lines = glue_lines(pattern.panel)
    if not lines:
        return
    seams = shapely.multilinestrings(list(lines))
    for web in webs(pattern, kit):
        if not shapely.intersects(_spread(web), seams):
            continue
        text = (
            f"A glue line between two boards runs through a web {format_length(web.width, kit.units)} wide."
        )
        remedy = "Shift the boards or the pattern so that the web falls inside one board, or widen it."
        at = (web.at.real, web.at.imag)
        yield Finding("glue line", "care", at, web.width, web.limit, None, text, remedy)


def _spread(web: Web) -> shapely.Geometry:
    """The web as a cross: its narrowest line and its length."""
    half = 1j * web.along * web.width / 2, web.along * web.length / 2
    return shapely.multilinestrings(
        [LineString([(z.real, z.imag) for z in (web.at - h, web.at + h)]) for h in half]
    )
