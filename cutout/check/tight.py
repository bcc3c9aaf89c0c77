"""A place the blade can't follow, as a finding; shared by tight corners and tight curves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from cutout.finding import Facts, Finding
from cutout.kit import Kit
from cutout.measure.bends import INTO_KEEP, LEFT_STANDING
from cutout.measure.follow import Tight, tight_places
from cutout.measure.room import blade_fits, far_off, holes_fit, loops_fit, sliver
from cutout.pattern import Pattern

NOTHING = 0.3
"""A sliver shallower than this (mm) is gone with a touch of sandpaper."""

_NEEDLE = math.radians(3)
"""A point no wider than this is a needle, however long."""

FILED = 0.5
"""Wood rounded off less than this (mm) is sawn as a point and filed round; common practice, no source."""

_TELLABLE = 0.05
"""Radii closer than this (mm) are the same to a woodworker: common practice, no source."""

_FAR = 3.0
"""A hole whose middle is more than this many diameters from the corner is no help in it."""


@dataclass(frozen=True, slots=True)
class Way(Facts):
    """How a place the blade can't follow is sawn, or that it can't be: one subclass for each."""


@dataclass(frozen=True, slots=True)
class ByHole(Way):
    """A relief hole of `drill` mm, or cuts from both sides. files: either leaves something for a file."""

    drill: float
    files: bool


@dataclass(frozen=True, slots=True)
class FromBothSides(Way):
    """Cuts into it from both sides: no hole fits."""


@dataclass(frozen=True, slots=True)
class EndingAtIt(Way):
    """Cuts that end at a point of wood: no room to overshoot it."""


@dataclass(frozen=True, slots=True)
class PastIt(Way):
    """Several cuts past a curve round wood, and a file."""


@dataclass(frozen=True, slots=True)
class ShowingHole(Way):
    """A hole of `drill` mm on the line, where both pieces survive: it shows on both."""

    drill: float


@dataclass(frozen=True, slots=True)
class NoRoom(Way):
    """None: the blade, `width` mm from front to back, finds no room."""

    width: float


@dataclass(frozen=True, slots=True)
class TooLong(Way):
    """None: one hole does not bridge `length` mm of line."""

    length: float


@dataclass(frozen=True, slots=True)
class NotFollowed(Facts):
    """A place the blade can't follow; size: its radius, None where it is sharp, limit: the radius needed.

    inside: a corner of the opening, or else wood that ends here. angle: between its sides where it is sharp.
    turns: turning radius of the blade (mm).
    """

    inside: bool
    angle: float | None
    turns: float
    way: Way


def findings(pattern: Pattern, kit: Kit, *, sharp: bool) -> Iterator[Finding]:
    """Findings on the sharp corners, or else on the curves, that the blade can't follow."""
    places = [p for p in tight_places(pattern, kit.blade) if p.bend.sharp == sharp and _worth_saying(p)]
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
            yield _finding(place, kit, _drilled(place, drill))
        elif fits:
            yield _finding(place, kit, _without_hole(place))
        else:
            yield _finding(place, kit, NoRoom(kit.blade.width))


def _worth_saying(place: Tight) -> bool:
    """Whether a curve is tighter than the blade follows by more than anyone can measure in wood."""
    return place.bend.sharp or place.needed - place.bend.radius > _TELLABLE


def _is_point(place: Tight) -> bool:
    """Whether wood ends here in a point, or in a curve so small that a file makes it out of a point."""
    bend = place.bend
    if place.inside or bend.turn > math.pi - _NEEDLE:
        return not place.inside and bend.sharp
    return bend.sharp or bend.radius * (1 / math.cos(bend.turn / 2) - 1) <= FILED


def _finding(place: Tight, kit: Kit, way: Way) -> Finding:
    sharp = place.bend.sharp
    return Finding(
        kind="tight corner" if sharp else "tight curve",
        severity="stop" if isinstance(way, NoRoom | TooLong) else "care",
        at=place.at,
        size=None if sharp else place.bend.radius,
        limit=place.needed,
        opening=place.opening,
        facts=NotFollowed(place.inside, place.angle if sharp else None, kit.blade.turning_radius, way),
    )


def _drill(place: Tight, kit: Kit) -> float:
    """The drill for a relief hole: one that fills the curve where the set has it, else the least that turns."""
    least = kit.drills.at_least(kit.blade.hole_to_turn) or kit.blade.hole_to_turn
    filling = kit.drills.up_to(2 * place.bend.radius) or 0.0
    return max(least, filling)


def _drilled(place: Tight, drill: float) -> ByHole:
    left = sliver(place, drill)
    return ByHole(drill, files=left >= NOTHING and not math.isinf(left))


def _without_hole(place: Tight) -> Way:
    if place.inside:
        return FromBothSides()
    return EndingAtIt() if place.bend.sharp else PastIt()


def _on_the_line(place: Tight, kit: Kit) -> Finding:
    """Panel and figure both survive: any hole eats into one of them."""
    hole = kit.drills.at_least(kit.blade.hole_to_turn) or kit.blade.hole_to_turn
    beyond = _beyond_one_hole(place, hole)
    return _finding(place, kit, TooLong(place.bend.length) if beyond else ShowingHole(hole))


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
