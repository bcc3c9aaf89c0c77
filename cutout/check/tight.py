"""What to say about a place the blade can't follow; shared by tight corners and tight curves."""

from __future__ import annotations

import math
from collections.abc import Iterator

from cutout.finding import Finding, Severity
from cutout.kit import Kit
from cutout.measure.bends import INTO_KEEP, LEFT_STANDING
from cutout.measure.follow import Tight, tight_places
from cutout.measure.room import blade_fits, far_off, holes_fit, loops_fit, sliver
from cutout.pattern import Pattern
from cutout.units import format_length

NOTHING = 0.3
"""A sliver shallower than this (mm) is gone with a touch of sandpaper."""

_NEEDLE = 3
"""An angle below this (degrees) is told in words."""

FILED = 0.5
"""Wood rounded off less than this (mm) is sawn as a point and filed round; common practice, no source."""

_FAR = 3.0
"""A hole whose middle is more than this many diameters from the corner is no help in it."""


def findings(pattern: Pattern, kit: Kit, *, sharp: bool) -> Iterator[Finding]:
    """Findings on the sharp corners, or else on the curves, that the blade can't follow."""
    places = [p for p in tight_places(pattern, kit.blade) if p.bend.sharp == sharp and _worth_saying(p, kit)]
    if not places:
        return
    if pattern.keep_mode == "both":
        yield from (_on_the_line(p, kit) for p in places)
        return
    points = [p for p in places if _is_point(p)]
    hard = [p for p, loop in zip(points, loops_fit(pattern, points, kit).tolist(), strict=True) if not loop]
    places = [*(p for p in places if not _is_point(p)), *hard]
    if not places:
        return
    drills = [_drill(p, kit) for p in places]
    useful = [p.inside and not far_off(p, _FAR) for p in places]
    holes = holes_fit(pattern, places, drills) & useful
    blades = blade_fits(pattern, places, kit)
    for place, drill, hole, fits in zip(places, drills, holes.tolist(), blades.tolist(), strict=True):
        if hole:
            yield _finding(place, kit, "care", _what(place, kit), _drilled(place, drill, kit))
        elif fits:
            yield _finding(place, kit, "care", _what(place, kit), _without_hole(place, kit))
        else:
            text = _what(place, kit)[:-1] + (
                f", and a blade {format_length(kit.blade.width, kit.units)} from front to back finds no room."
            )
            remedy = "Take a narrower blade, make the pattern larger, or open this place up."
            yield _finding(place, kit, "stop", text, remedy)


def _worth_saying(place: Tight, kit: Kit) -> bool:
    """Whether a curve is tighter than the blade follows by as much as can be said in the user's units."""
    bend = place.bend
    return bend.sharp or format_length(bend.radius, kit.units) != format_length(place.needed, kit.units)


def _is_point(place: Tight) -> bool:
    """Whether wood ends here in a point, or in a curve so small that a file makes it out of a point."""
    bend = place.bend
    if place.inside or bend.turn > math.pi - math.radians(_NEEDLE):
        return not place.inside and bend.sharp
    return bend.sharp or bend.radius * (1 / math.cos(bend.turn / 2) - 1) <= FILED


def _finding(place: Tight, kit: Kit, severity: Severity, text: str, remedy: str) -> Finding:
    return Finding(
        "tight corner" if place.bend.sharp else "tight curve",
        severity,
        place.at,
        None if place.bend.sharp else place.bend.radius,
        place.needed,
        place.opening,
        text,
        remedy,
    )


def _drill(place: Tight, kit: Kit) -> float:
    """The drill for a relief hole: one that fills the curve where the set has it, else the least that turns."""
    least = kit.drills.at_least(kit.blade.hole_to_turn) or kit.blade.hole_to_turn
    filling = kit.drills.up_to(2 * place.bend.radius) or 0.0
    return max(least, filling)


def _what(place: Tight, kit: Kit) -> str:
    turns = f"the blade turns no tighter than {format_length(kit.blade.turning_radius, kit.units)}"
    if place.bend.sharp:
        angle = round(math.degrees(place.angle))
        what = "Inside corner" if place.inside else "Point of wood"
        if angle < _NEEDLE:
            return f"{what} as fine as a needle: {turns}."
        return f"{what} of {angle} degrees: {turns}."
    radius = format_length(place.bend.radius, kit.units)
    where = "Inside curve" if place.inside else "Curve round wood"
    needed = format_length(place.needed, kit.units)
    if needed == format_length(kit.blade.turning_radius, kit.units):
        return f"{where} of {radius} radius: {turns}."
    return f"{where} of {radius} radius: {turns}, which makes {needed} on the line."


def _drilled(place: Tight, drill: float, kit: Kit) -> str:
    size = format_length(drill, kit.units)
    left = sliver(place, drill)
    needs = f"Needs a relief hole of {size} or cuts into it from both sides"
    if left < NOTHING or math.isinf(left):
        return f"{needs}: the plan says which."
    return f"{needs}: the plan says which, and what stays for a file."


def _without_hole(place: Tight, kit: Kit) -> str:
    if not place.inside and place.bend.sharp:
        return (
            "Needs cuts that end at it from both sides: the waste has no room to overshoot it and come back."
        )
    if not place.inside:
        return "Needs several cuts past it, and a file for what stays between them."
    return "Needs cuts into it from both sides: no hole in which the blade turns fits; a little may stay for a file."


def _on_the_line(place: Tight, kit: Kit) -> Finding:
    """Panel and figure both survive: any hole eats into one of them."""
    hole = kit.drills.at_least(kit.blade.hole_to_turn) or kit.blade.hole_to_turn
    size = format_length(hole, kit.units)
    if _beyond_one_hole(place, hole):
        text = f"{_what(place, kit)[:-1]}, over {format_length(place.bend.length, kit.units)} of line."
        remedy = "Take a narrower blade, or make the pattern larger: one hole does not bridge it."
        return _finding(place, kit, "stop", text, remedy)
    remedy = (
        f"Where the plan has a hole of {size} for the blade to turn in, wider than the saw cut, it will show."
    )
    return _finding(place, kit, "care", _what(place, kit), remedy)


def _beyond_one_hole(place: Tight, hole: float) -> bool:
    """Whether a hole in the middle of a bend leaves a stretch on either side that still can't be followed."""
    bend = place.bend
    if bend.length <= hole:
        return False
    half_turn = bend.turn * (1 - hole / bend.length) / 4
    missed = (
        (place.needed - INTO_KEEP - bend.radius) / math.cos(min(half_turn, 1.5)) + bend.radius - place.needed
    )
    return missed > LEFT_STANDING
