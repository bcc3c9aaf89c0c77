"""Blade, drills and wood that don't suit one another."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


def kit(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Wood too thin for the teeth; no drill that lets the blade in."""
    blade, thickness = kit.blade, pattern.panel.thickness
    at = (pattern.panel.width / 2, pattern.panel.height / 2)
    if thickness < blade.least_thickness:
        text = (
            f"Wood {format_length(thickness, kit.units)} thick is too thin for {blade.tpi:g} teeth to the inch: "
            f"two teeth must be in the wood, {format_length(blade.least_thickness, kit.units)} at least."
        )
        remedy = "Take a blade with finer teeth, or saw with a scrap board under the panel."
        yield Finding("kit", "care", at, thickness, blade.least_thickness, None, text, remedy)
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
