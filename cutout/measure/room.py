"""Room in the waste for a hole, and for the blade itself."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.geom.curve import ComplexArray, to_array
from cutout.kit import Kit
from cutout.measure.bends import INTO_KEEP
from cutout.measure.follow import Tight
from cutout.pattern import Pattern

HOLE_INTO_KEEP = 0.05
"""How far (mm) a hole may reach into keep and still count as fitting."""

_NUDGES = np.array([complex(x, y) for x in (0.0, 0.1, 0.25, 0.5) for y in (0.0, 0.1, -0.1, 0.25, -0.25)])
"""How far (mm) from where a hole touches both flanks, into the waste and aside, it is tried as well."""

LOOP_ASIDE = 45.0
"""A loop may lie up to this many degrees off the middle between the two flanks drawn on."""

_LOOPS = [(h, f) for f in (0.0, 0.25, 0.5, 1.0) for h in np.linspace(-LOOP_ASIDE, LOOP_ASIDE, 13).tolist()]
"""Directions (degrees off that middle) and distances further out (turning radii) in which a loop is tried."""

_STEPS = np.array([0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
"""How far into the waste from a corner (mm) a place for the teeth is looked for."""

_HEADINGS = np.linspace(-math.radians(110), math.radians(110), 45)
"""Directions in which the body may trail, five degrees apart: to square with the way in and a little beyond."""

_STRAIGHT = len(_HEADINGS) // 2
"""The one straight behind."""


_WITHIN = math.cos(math.pi / 32) - 1e-6
"""Radius of the circle inside the polygon of 32 sides that stands for one of radius 1, and a little less."""


def hole_centres(places: Sequence[Tight], diameters: Sequence[float]) -> ComplexArray:
    """Centres of holes that touch both flanks of inside corners, or lie in inside curves, one for each place."""
    return np.array([_centre(p, d / 2) for p, d in zip(places, diameters, strict=True)], dtype=complex)


def sliver(place: Tight, diameter: float) -> float:
    """Depth (mm) of what a hole leaves in an inside corner: d/2 (1 / sin(a/2) - 1), less what is rounded off."""
    if place.angle <= 0:
        return math.inf
    return max(0.0, (diameter / 2 - place.bend.radius) * (1 / math.sin(place.angle / 2) - 1))


def far_off(place: Tight, times: float) -> bool:
    """Whether a hole that touches both flanks has its middle more than `times` its diameter from the corner."""
    return place.bend.sharp and math.sin(place.angle / 2) * times < 0.5


def holes_fit(pattern: Pattern, places: Sequence[Tight], diameters: Sequence[float]) -> NDArray[np.bool_]:
    """Whether a hole of that diameter, touching both flanks, stays clear of keep at each place."""
    centres = hole_centres(places, diameters)
    tries = centres[:, None] + np.array([p.bend.inward for p in places])[:, None] * _NUDGES
    away = np.asarray(shapely.distance(shapely.points(tries.real, tries.imag), pattern.keep)).max(axis=1)
    return np.asarray(away >= np.asarray(diameters) / 2 - HOLE_INTO_KEEP)


def loops_fit(pattern: Pattern, places: Sequence[Tight], kit: Kit) -> NDArray[np.bool_]:
    """Whether the blade can overshoot each point of wood, turn in the waste and come back along its other side.

    It leaves along one flank drawn on and comes back along the other: a circle of the turning radius R that
    touches both, R / sin(a / 2) from a point of angle a. Past a finer point than 70 degrees it swerves out and
    back, two arcs of R beside the circle, whose centre is then sqrt(3) R away. Loops a little aside of that or
    further out do as well. The loop, half a kerf wide on both sides, has to lie in the waste; beyond the
    panel's edge there is air.
    """
    blade = kit.blade
    radius = blade.turning_radius
    angle = np.array([p.angle for p in places])
    least = radius / np.sin(np.maximum(angle, 2 * math.asin(1 / math.sqrt(3))) / 2)
    out = -np.array([p.bend.inward for p in places], dtype=complex)
    start = np.asarray(np.array([p.bend.apex for p in places]) + out * blade.kerf / 2, dtype=complex)
    shapely.prepare(pattern.keep)
    fits = np.zeros(len(places), dtype=bool)
    clear = max(blade.kerf / 2 - INTO_KEEP, 0.0)
    for aside, further in _LOOPS:
        left = np.flatnonzero(~fits)
        if len(left) == 0:
            break
        heading = complex(math.cos(math.radians(aside)), math.sin(math.radians(aside)))
        centre = np.asarray(start + out * heading * (least + further * radius), dtype=complex)
        # Most have wood in the circle already: those need no loop drawn.
        middles = np.asarray(shapely.points(to_array(centre[left])), dtype=object)
        roomy = ~shapely.dwithin(pattern.keep, middles, _WITHIN * radius + clear)
        left, middles = left[roomy], middles[roomy]
        discs = shapely.buffer(middles, radius, quad_segs=8)
        ways = shapely.linestrings(np.stack([to_array(start[left]), to_array(centre[left])], axis=1))
        loops = shapely.convex_hull(shapely.union(discs, ways))
        fits[left] = ~shapely.dwithin(pattern.keep, loops, clear)
    return fits


def blade_fits(pattern: Pattern, places: Sequence[Tight], kit: Kit) -> NDArray[np.bool_]:
    """Whether the blade can stand in the finished opening with its teeth at each place.

    The teeth go where the kerf first fits on the way from the corner into the waste; the body trails behind
    them in some direction. True as well where the kerf fits nowhere near: that is a narrow opening.
    """
    keep, blade = pattern.keep, kit.blade
    corner = np.array([p.bend.apex if p.inside else p.bend.at for p in places])
    into = np.array([p.bend.inward if p.inside else -p.bend.inward for p in places])
    teeth = corner[:, None] + into[:, None] * (blade.kerf / 2 + _STEPS)
    shapely.prepare(keep)
    kerf, body = (max(size / 2 - INTO_KEEP, 0.0) for size in (blade.kerf, blade.body))
    room = ~np.asarray(shapely.dwithin(keep, shapely.points(teeth.real, teeth.imag), kerf))
    first = teeth[np.arange(len(places)), np.argmax(room, axis=1)]
    fits = np.asarray(~room.any(axis=1))
    # Mostly there is room straight behind: the other ways are asked for where there is none.
    for headings in (_HEADINGS[[_STRAIGHT]], np.delete(_HEADINGS, _STRAIGHT)):
        left = np.flatnonzero(~fits)
        back = first[left, None] + into[left, None] * np.exp(1j * headings) * blade.width
        ends = np.stack(np.broadcast_arrays(first[left, None], back), axis=-1)
        bodies = shapely.linestrings(np.stack([ends.real, ends.imag], axis=-1))
        fits[left] = ~np.asarray(shapely.dwithin(keep, bodies, body)).all(axis=1)
    return fits


def _centre(place: Tight, radius: float) -> complex:
    bend = place.bend
    # In a narrower wedge the hole would lie more than twenty radii from the apex: no help there.
    if (place.angle > math.radians(5) and bend.radius < radius and bend.apex != bend.at) or bend.sharp:
        reach = radius / max(math.sin(place.angle / 2), 0.02)
        return bend.apex + bend.inward * reach
    return bend.at + bend.inward * radius
