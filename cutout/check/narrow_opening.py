"""Openings too narrow for the saw cut, or for the hole that lets the blade in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from cutout.finding import Finding, Severity
from cutout.kit import Kit
from cutout.measure.widths import Middle, middle_of_waste
from cutout.pattern import Opening, Pattern
from cutout.units import format_length

_TOUCHING = 1e-3

_TIP = 3.0
"""Dead ends narrower than the kerf are reported from this many kerfs in length: shorter ones are a corner's."""

_SLIT = 8.0
"""From this many kerfs on they are slits that can't be sawn, not the tip of a taper."""

_APART = 3.0
"""Necks nearer than this many kerfs to a narrower one are told with it."""


def narrow_opening(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Waste narrower than the kerf, and openings in which no hole that lets the blade in fits.

    Where panel and figure both survive the waste is the kerf itself: nothing to find.
    """
    if pattern.keep_mode == "both" or not pattern.openings:
        return
    middle = middle_of_waste(pattern)
    closed = set()
    for opening, (size, at) in zip(pattern.openings, _widest(pattern, middle), strict=True):
        finding = _no_way_in(opening, size, at, kit)
        if finding is not None:
            closed.add(opening.id)
            yield finding
    for finding in (*_necks(pattern, middle, kit), *_tips(pattern, middle, kit)):
        if finding.opening not in closed:
            yield finding


def _widest(pattern: Pattern, middle: Middle) -> list[tuple[float, complex]]:
    """Width and place of each opening's widest spot."""
    circles = [shapely.maximum_inscribed_circle(o.region, tolerance=0.02) for o in pattern.openings]
    return [(2 * float(c.length), complex(*c.coords[0])) for c in circles]


def _no_way_in(opening: Opening, size: float, at: complex, kit: Kit) -> Finding | None:
    width, place = format_length(size, kit.units), (at.real, at.imag)
    kerf = kit.blade.kerf
    if size < kerf:
        text = (
            f"Opening {opening.id} is {width} across at its widest, "
            f"narrower than the saw cut of {format_length(kerf, kit.units)}."
        )
        remedy = "Leave it out, make it wider, or take a finer blade."
        return Finding("narrow opening", "stop", place, size, kerf, opening.id, text, remedy)
    hole = kit.drills.at_least(kit.blade.hole_to_turn)
    if opening.at_edge or hole is None or size >= hole - 0.1:
        return None
    text = (
        f"Opening {opening.id} is {width} across at its widest: the hole that lets the blade in and turns it, "
        f"{format_length(hole, kit.units)}, does not fit."
    )
    remedy = "Make it wider, take a narrower blade, or drill it out instead of sawing it."
    return Finding("narrow opening", "stop", place, size, hole, opening.id, text, remedy)


def _necks(pattern: Pattern, middle: Middle, kit: Kit) -> Iterator[Finding]:
    kerf = kit.blade.kerf
    edge = shapely.boundary(pattern.panel.polygon)
    told: list[complex] = []
    for neck in middle.necks(kerf):
        if told and np.abs(np.array(told) - neck.at).min() < _APART * kerf:
            continue
        feet = shapely.points([(z.real, z.imag) for z in neck.feet])
        if neck.part < kerf or (np.asarray(shapely.distance(feet, edge)) < _TOUCHING).any():
            continue
        told.append(neck.at)
        text = (
            f"The opening narrows to {format_length(neck.width, kit.units)} here: "
            f"the saw cut is {format_length(kerf, kit.units)} wide."
        )
        remedy = "Open it to the width of the cut, close it, or take a finer blade."
        yield _finding(pattern, "stop", neck.at, neck.width, kerf, text, remedy)


def _tips(pattern: Pattern, middle: Middle, kit: Kit) -> Iterator[Finding]:
    kerf = kit.blade.kerf
    for arm in middle.arms(kerf, _TIP * kerf):
        slit = arm.length > _SLIT * kerf and arm.width > kerf / 2
        length = format_length(arm.length, kit.units)
        what = "a slit" if slit else "the tip of the opening"
        text = (
            f"Over {length} {what} is narrower than the saw cut of {format_length(kerf, kit.units)}, "
            f"{format_length(arm.width, kit.units)} half way."
        )
        remedy = "Open it to the width of the cut, leave it out, or take a finer blade."
        if not slit:
            remedy = "Let the cut end where the opening gets as narrow as the blade's cut, or widen the tip."
        yield _finding(pattern, "stop" if slit else "care", arm.at, arm.width, kerf, text, remedy)


def _finding(
    pattern: Pattern, severity: Severity, at: complex, size: float, limit: float, text: str, remedy: str
) -> Finding:
    here = shapely.Point(at.real, at.imag)
    away = shapely.distance([o.region for o in pattern.openings], here)
    number = pattern.openings[int(np.argmin(away))].id if len(away) else None
    return Finding("narrow opening", severity, (at.real, at.imag), size, limit, number, text, remedy)
