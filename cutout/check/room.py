"""Room in the waste for a hole, and for the blade itself."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from cutout.check.bends import INTO_KEEP
from cutout.check.follow import Tight
from cutout.geom.curve import ComplexArray, to_array
from cutout.kit import Kit
from cutout.pattern import Pattern

_DRILLED_INTO_KEEP = 0.05
"""How far (mm) a hole may reach into keep and still count as fitting."""

_STEPS = np.array([0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0])
"""How far into the waste from a corner (mm) a place for the teeth is looked for."""

_HEADINGS = np.linspace(-math.radians(110), math.radians(110), 45)


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
    away = np.asarray(shapely.distance(shapely.points(to_array(centres)), pattern.keep))
    return np.asarray(away >= np.asarray(diameters) / 2 - _DRILLED_INTO_KEEP)


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
    back = first[:, None] + into[:, None] * np.exp(1j * _HEADINGS) * blade.width
    ends = np.stack(np.broadcast_arrays(first[:, None], back), axis=-1)
    bodies = shapely.linestrings(np.stack([ends.real, ends.imag], axis=-1))
    clear = ~np.asarray(shapely.dwithin(keep, bodies, body))
    return np.asarray(clear.any(axis=1) | ~room.any(axis=1))


def _centre(place: Tight, radius: float) -> complex:
    bend = place.bend
    if (place.angle > math.radians(5) and bend.radius < radius and bend.apex != bend.at) or bend.sharp:
        reach = radius / max(math.sin(place.angle / 2), 0.02)
        return bend.apex + bend.inward * reach
    return bend.at + bend.inward * radius
