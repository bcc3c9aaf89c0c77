"""Openings too narrow for the saw cut, or for the hole that lets the blade in."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.finding import Facts, Finding, Severity
from cutout.kit import Kit
from cutout.kit.blade import SQUEEZE
from cutout.measure.widths import Middle, middle_of_waste
from cutout.pattern import Opening, Pattern
from cutout.pattern.panel import TOUCHING

_TIP = 3.0
"""Dead ends narrower than the kerf are reported from this many kerfs in length: shorter ones are a corner's."""

_SLIT = 8.0
"""From this many kerfs on they are slits that can't be sawn, not the tip of a taper."""

_APART = 3.0
"""Necks nearer than this many kerfs to a narrower one are told with it."""


@dataclass(frozen=True, slots=True)
class NarrowerThanCut(Facts):
    """An opening is nowhere as wide as the saw cut; size: its widest, limit: the cut."""


@dataclass(frozen=True, slots=True)
class NoHoleFits(Facts):
    """The hole that lets the blade in does not fit an opening; size: its widest, limit: the hole."""


@dataclass(frozen=True, slots=True)
class Neck(Facts):
    """An opening narrows to less than the saw cut and widens again; size: its width, limit: the cut."""


@dataclass(frozen=True, slots=True)
class DeadEnd(Facts):
    """An opening ends narrower than the saw cut; size: its width half way, limit: the cut. length: of that (mm).

    slit: so long and so nearly as wide as the cut that it is meant to be one.
    """

    length: float
    slit: bool


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
    kerf = kit.blade.kerf
    hole = kit.drills.at_least(kit.blade.hole_to_turn)
    if size < kerf:
        return _finding(opening.id, "stop", at, size, kerf, NarrowerThanCut())
    # A tenth over is a drill's own runout: it goes in.
    if opening.at_edge or hole is None or size >= hole - 0.1:
        return None
    return _finding(opening.id, "stop", at, size, hole, NoHoleFits())


def _necks(pattern: Pattern, middle: Middle, kit: Kit) -> Iterator[Finding]:
    kerf = kit.blade.kerf
    edge = shapely.boundary(pattern.panel.polygon)
    told: list[complex] = []
    for neck in middle.necks(kerf - SQUEEZE, jams=True):
        if told and np.abs(np.array(told) - neck.at).min() < _APART * kerf:
            continue
        feet = shapely.points([(z.real, z.imag) for z in neck.feet])
        if (np.asarray(shapely.distance(feet, edge)) < TOUCHING).any():
            continue
        told.append(neck.at)
        yield _finding(_nearest(pattern, neck.at), "stop", neck.at, neck.width, kerf, Neck())


def _tips(pattern: Pattern, middle: Middle, kit: Kit) -> Iterator[Finding]:
    kerf = kit.blade.kerf
    for arm in middle.arms(kerf, _TIP * kerf):
        slit = arm.length > _SLIT * kerf and arm.width > kerf / 2
        facts = DeadEnd(arm.length, slit)
        yield _finding(_nearest(pattern, arm.at), "stop" if slit else "care", arm.at, arm.width, kerf, facts)


def _nearest(pattern: Pattern, at: complex) -> int | None:
    """Number of the opening nearest to a place."""
    here = shapely.Point(at.real, at.imag)
    away = shapely.distance([o.region for o in pattern.openings], here)
    return pattern.openings[int(np.argmin(away))].id if len(away) else None


def _finding(
    opening: int | None, severity: Severity, at: complex, size: float, limit: float, facts: Facts
) -> Finding:
    return Finding(
        kind="narrow opening",
        severity=severity,
        at=(at.real, at.imag),
        size=size,
        limit=limit,
        opening=opening,
        facts=facts,
    )
