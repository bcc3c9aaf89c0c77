"""Webs that a glue line between two boards runs through."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import LineString

from cutout.check.boards import glue_lines, shifts
from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.measure.webs import Web, webs
from cutout.pattern import Panel, Pattern


@dataclass(frozen=True, slots=True)
class CrossesWeb(Facts):
    """A glue line runs through a web; size: its width."""


def glue_line(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Each narrow web that a glue line crosses, or runs along inside; only where the boards are known."""
    if not glue_lines(pattern.panel):
        return
    for web in _crossed(pattern.panel, webs(pattern, kit)):
        yield Finding(
            kind="glue line",
            severity="care",
            at=(web.at.real, web.at.imag),
            size=web.width,
            limit=web.limit,
            facts=CrossesWeb(),
        )


def clear_seams(pattern: Pattern, kit: Kit) -> float:
    """How far (mm) to shift the glue lines to run through the fewest narrow webs; 0 where that helps none."""
    if not glue_lines(pattern.panel):
        return 0.0
    narrow = webs(pattern, kit)
    best, fewest = 0.0, len(_crossed(pattern.panel, narrow))
    for shift in shifts(pattern.panel):
        if fewest == 0:
            break
        crossed = len(_crossed(replace(pattern.panel, seams=shift), narrow))
        if crossed < fewest:
            best, fewest = shift, crossed
    return best


def _crossed(panel: Panel, narrow: Sequence[Web]) -> list[Web]:
    """The webs that glue lines run through."""
    seams = shapely.multilinestrings(list(glue_lines(panel)))
    return [web for web in narrow if shapely.intersects(_spread(web), seams)]


def _spread(web: Web) -> shapely.Geometry:
    """The web as a cross: its narrowest line and its length."""
    half = 1j * web.along * web.width / 2, web.along * web.length / 2
    return shapely.multilinestrings(
        [LineString([(z.real, z.imag) for z in (web.at - h, web.at + h)]) for h in half]
    )
