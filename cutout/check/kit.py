"""Blade, drills and wood that don't suit one another."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import MM_PER_INCH, count, format_length

THICKEST = {"softwood": 1.5 * MM_PER_INCH, "hardwood": 0.75 * MM_PER_INCH, "sheet": 1.5 * MM_PER_INCH}
"""Thickest wood (mm) for a jigsaw: 1-1/2 in of softwood (a general home-repair guide: "about 1-1/2 in, beyond
that the blade wanders"), 3/4 in of hardwood (a tool guide); another says up to 5 in, the blade flexes. Sheet
goods as softwood: common practice, no source."""

MOST_LAYERS = 4
"""Panels sawn at once: two to four sheets of 1/8 to 1/4 in are usual (a scroll saw club's and a tool page's hints on
stack cutting; one of them nails five of 1/8 in)."""


def kit(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Wood too thin for the teeth, or too thick for a jigsaw; no drill that lets the blade in."""
    blade, thickness = kit.blade, pattern.panel.sawn
    at = (pattern.panel.width / 2, pattern.panel.height / 2)
    if thickness < blade.least_thickness:
        text = (
            f"Wood {format_length(thickness, kit.units)} thick is too thin for {blade.tpi:g} teeth to the inch: "
            f"two teeth must be in the wood, {format_length(blade.least_thickness, kit.units)} at least."
        )
        remedy = "Take a blade with finer teeth, or saw with a scrap board under the panel."
        yield Finding("kit", "care", at, thickness, blade.least_thickness, None, text, remedy)
    if pattern.panel.layers > MOST_LAYERS:
        layers = count(pattern.panel.layers, "layer")
        text = f"A stack of {layers}: {MOST_LAYERS} are usual at most, then the lowest come out unlike the topmost."
        remedy = f"Saw {MOST_LAYERS} at a time, with a sharp blade that stands square to the table."
        yield Finding("kit", "care", at, None, None, None, text, remedy)
    thickest = THICKEST[kit.wood.kind]
    if blade.saw == "jigsaw" and thickness > thickest:
        limit = format_length(thickest, kit.units)
        text = (
            f"In {kit.wood.title} thicker than {limit} a jigsaw blade bends and wanders: "
            f"this is {format_length(thickness, kit.units)}."
        )
        remedy = "Saw slowly and check that the blade stays upright, or take a band saw, or thinner wood."
        yield Finding("kit", "care", at, thickness, thickest, None, text, remedy)
    x0, y0, x1, y1 = pattern.figure.bounds
    if 2 * blade.turning_radius > max(x1 - x0, y1 - y0):
        turns = format_length(blade.turning_radius, kit.units)
        text = f"This blade turns no tighter than {turns}, too wide for any curve of a figure this size."
        size = max(x1 - x0, y1 - y0) / 2
        remedy = "Take a narrower blade."
        yield Finding("kit", "care", at, size, blade.turning_radius, None, text, remedy)
    if kit.drills.at_least(blade.hole_to_turn) is None and pattern.openings:
        need = format_length(blade.hole_to_turn, kit.units)
        text = f"None of your drills makes a hole in which the blade turns: it takes {need}."
        remedy = f"Get a drill of {need} or a little more, or take a narrower blade."
        largest = max(kit.drills.sizes)
        yield Finding("kit", "stop", at, largest, blade.hole_to_turn, None, text, remedy)
