"""Blade, drills and wood that don't suit one another."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cutout.finding import Facts, Finding, Severity
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import MM_PER_INCH

THICKEST = {"softwood": 1.5 * MM_PER_INCH, "hardwood": 0.75 * MM_PER_INCH, "sheet": 1.5 * MM_PER_INCH}
"""Thickest wood (mm) for a jigsaw: 1-1/2 in of softwood (a general home-repair guide: "about 1-1/2 in, beyond
that the blade wanders"), 3/4 in of hardwood (a tool guide); another says up to 5 in, the blade flexes. Sheet
goods as softwood: common practice, no source."""

MOST_LAYERS = 4
"""Panels sawn at once: two to four sheets of 1/8 to 1/4 in are usual (a scroll saw club's and a tool page's hints on
stack cutting; one of them nails five of 1/8 in)."""


@dataclass(frozen=True, slots=True)
class ThinForTeeth(Facts):
    """Wood too thin for the blade's teeth; size: its thickness, limit: the least."""

    teeth_per_inch: float


@dataclass(frozen=True, slots=True)
class TallStack(Facts):
    """More panels sawn at once than come out alike."""

    layers: int
    most: int


@dataclass(frozen=True, slots=True)
class ThickForJigsaw(Facts):
    """Wood too thick for a jigsaw; size: its thickness, limit: the most. wood: its name."""

    wood: str


@dataclass(frozen=True, slots=True)
class TurnsTooWide(Facts):
    """The blade follows no curve of a figure this size; size: half the figure, limit: the turning radius."""


@dataclass(frozen=True, slots=True)
class NoDrillToTurn(Facts):
    """No drill makes a hole in which the blade turns; size: the largest there is, limit: what it takes."""


def kit(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Wood too thin for the teeth, or too thick for a jigsaw; no drill that lets the blade in."""
    blade, thickness = kit.blade, pattern.panel.sawn
    at = pattern.panel.middle

    def found(severity: Severity, size: float, limit: float, facts: Facts) -> Finding:
        return Finding(kind="kit", severity=severity, at=at, size=size, limit=limit, facts=facts)

    if thickness < blade.least_thickness:
        yield found("care", thickness, blade.least_thickness, ThinForTeeth(blade.tpi))
    if pattern.panel.layers > MOST_LAYERS:
        facts = TallStack(pattern.panel.layers, MOST_LAYERS)
        yield Finding(kind="kit", severity="care", at=at, facts=facts)
    thickest = THICKEST[kit.wood.kind]
    if blade.saw == "jigsaw" and thickness > thickest:
        yield found("care", thickness, thickest, ThickForJigsaw(kit.wood.title))
    x0, y0, x1, y1 = pattern.figure.bounds
    half = max(x1 - x0, y1 - y0) / 2
    if blade.turning_radius > half:
        yield found("care", half, blade.turning_radius, TurnsTooWide())
    if kit.drills.at_least(blade.hole_to_turn) is None and pattern.openings:
        yield found("stop", max(kit.drills.sizes), blade.hole_to_turn, NoDrillToTurn())
