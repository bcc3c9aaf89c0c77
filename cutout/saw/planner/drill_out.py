"""Waste no blade gets at, drilled away: holes side by side, as large as fit, the rest for a file."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from cutout.finding import Facts, Finding
from cutout.geom.curve import ComplexArray, FloatArray, to_array
from cutout.geom.outline import polygons_of
from cutout.kit import Kit
from cutout.saw.planner.left import small_enough_area
from cutout.saw.planner.state import State

MOST = 12
"""More holes than this to clear one piece is no way to work: the piece is reported instead."""
LEAST = 2.0
"""A hole that takes less wood than this (mm^2) out of a piece is left to the file."""
TOUCH = 0.02
"""A hole may reach this far (mm) over the outline where it only just fits: less than a drill's own runout."""
APART = 0.3
"""Wood (mm) left between two holes, so that the drill does not run into the one beside it."""
_GRID = 400
"""Places in a piece at which a hole is tried, about: a twentieth of its width apart."""


@dataclass(frozen=True, slots=True)
class ClearedByDrill(Facts):
    """Holes clear waste the blade can't get at; numbers of the first and the last."""

    first: int
    last: int


def drill_out(state: State, kit: Kit) -> None:
    """Drill away every piece that stays held and is much to file.

    A piece that MOST holes do not bring down to what a file clears stays as it was.
    """
    for part in state.held():
        if part.area > _little(kit):
            _clear(state, kit, part)


def cleared_by_drill(state: State) -> list[Finding]:
    """A word where the drill does what the saw can't."""
    holes = [h for h in state.holes if h.clears]
    if not holes:
        return []
    at = (round(holes[0].at.real, 3), round(holes[0].at.imag, 3))
    first, last = (hole.number for hole in (holes[0], holes[-1]))
    facts = ClearedByDrill(first, last)
    return [Finding(kind="plan", severity="care", at=at, opening=state.area.id, facts=facts)]


def _little(kit: Kit) -> float:
    """Area (mm^2) that is filed away sooner than drilled."""
    return min(2 * kit.blade.kerf * kit.blade.width, small_enough_area(kit))


def _clear(state: State, kit: Kit, part: Polygon) -> None:
    sizes = np.array(kit.drills.apart(kit.blade.hole_to_turn) or kit.drills.sizes)
    found: list[tuple[complex, float]] = []
    left = [part]
    while len(found) < MOST and not _cleared(left, _little(kit), part.area):
        hole = _largest(state, max(left, key=lambda p: p.area), sizes, found)
        if hole is None:
            break
        found.append(hole)
        disc = shapely.Point(hole[0].real, hole[0].imag).buffer(hole[1] / 2, quad_segs=32)
        left = [q for p in left for q in polygons_of(shapely.difference(p, disc))]
    if not _cleared(left, small_enough_area(kit), part.area):
        return
    for at, diameter in found:
        state.drill(at, diameter, clears=True)


def _cleared(left: list[Polygon], piece: float, whole: float) -> bool:
    """Whether no piece larger than `piece` mm^2 is left, nor more than half of the whole."""
    areas = [p.area for p in left]
    return max(areas, default=0.0) <= piece and math.fsum(areas) <= whole / 2


def _largest(
    state: State, part: Polygon, sizes: FloatArray, found: list[tuple[complex, float]]
) -> tuple[complex, float] | None:
    """The hole that takes most out of a piece, clear of the outline and of every other hole."""
    spots = _spots(part)
    room = 2 * (np.asarray(shapely.distance(shapely.points(to_array(spots)), state.area.line)) + TOUCH)
    for at, diameter in (*((h.at, h.diameter) for h in state.holes), *found):
        room = np.minimum(room, 2 * (np.abs(spots - at) - diameter / 2 - APART))
    size = np.concatenate([[0.0], sizes])[np.searchsorted(sizes, room + 1e-9, side="right")]
    spots, size = spots[size > 0], size[size > 0]
    if len(spots) == 0:
        return None
    discs = shapely.buffer(shapely.points(to_array(spots)), size / 2, quad_segs=8)
    gain = np.asarray(shapely.area(shapely.intersection(discs, part)))
    best = int(np.argmax(gain - 1e-6 * np.arange(len(gain))))
    return (complex(spots[best]), float(size[best])) if gain[best] >= LEAST else None


def _spots(part: Polygon) -> ComplexArray:
    """Places all over a piece, and the middle of its widest part."""
    x0, y0, x1, y1 = part.bounds
    side = max(math.sqrt(part.area / _GRID), 0.1)
    x, y = np.meshgrid(np.arange(x0, x1, side), np.arange(y0, y1, side))
    inside = shapely.contains_xy(part, x, y)
    widest = shapely.get_coordinates(shapely.maximum_inscribed_circle(part, 0.01))[0]
    return np.concatenate([[complex(*widest)], np.round(x[inside] + 1j * y[inside], 4)])
