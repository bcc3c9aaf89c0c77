"""What is fastened on the panel's back: how much of the wood it takes, and the screws of a backing sheet."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import LineString, MultiPolygon, Point

from cutout.geom.outline import as_multi
from cutout.kit.hardware import USUAL, Hardware
from cutout.pattern import Pattern

BUTTON = 50.0
"""Length of a turn-button (mm): common practice, no source."""
_SLOT_FROM = 0.3
"""A screw whose sheet moves less than this (mm) has a round hole."""


@dataclass(frozen=True, slots=True)
class Screw:
    """A screw of the backing. at: mm on the panel; hole: what is bored or filed in the sheet for it; travel: how far
    the wood carries the screw either way (mm), nothing for the one that holds the sheet in its place."""

    at: tuple[float, float]
    hole: MultiPolygon
    travel: float


def hardware_area(
    what: Hardware, at: tuple[float, float], diameter: float | None, length: float | None, turn: float
) -> MultiPolygon:
    """The part of the panel (mm) that a piece of hardware takes; turn (radians) is that of a turn-button's length."""
    radius = (diameter or USUAL[what]) / 2
    if what != "turn-button":
        return as_multi(Point(at).buffer(radius, quad_segs=32))
    reach = max((length or BUTTON) / 2 - radius, 0.0)
    way = np.array([math.cos(turn), math.sin(turn)]) * reach
    return as_multi(LineString([np.subtract(at, way), np.add(at, way)]).buffer(radius, quad_segs=32))


def backing_bounds(pattern: Pattern, overlap: float) -> tuple[float, float, float, float]:
    """Least x and y, greatest x and y (mm) of a backing that covers every opening and
    `overlap` more, within the panel."""
    x0, y0, x1, y1 = pattern.waste.bounds
    panel = pattern.panel
    return (
        max(x0 - overlap, 0.0),
        max(y0 - overlap, 0.0),
        min(x1 + overlap, panel.width),
        min(y1 + overlap, panel.height),
    )


def backing_screws(
    sheet: Sequence[float], inset: float, diameter: float, spacing: float, grain: float | None, strain: float
) -> tuple[Screw, ...]:
    """Screws round a backing sheet (least x and y, greatest x and y), `inset` inside its edges, one in each corner
    and between them no farther apart than `spacing`.

    The sheet does not move with the season and solid wood across its grain does, by `strain` of its width: the screw
    nearest the middle of the lower edge holds the sheet in its place, the others get slots along that movement, so
    long that the wood may carry them either way (fixed point and slots: common practice, no source).
    grain: radians; None where nothing moves.
    """
    x0, y0, x1, y1 = sheet[0] + inset, sheet[1] + inset, sheet[2] - inset, sheet[3] - inset
    columns, rows = (max(1, math.ceil((b - a) / spacing)) for a, b in ((x0, x1), (y0, y1)))
    # An even number of gaps along the lower edge, so that one screw stands in its middle.
    columns += columns % 2
    across, up = np.linspace(x0, x1, columns + 1), np.linspace(y0, y1, rows + 1)
    places = [(x, y) for y in (y0, y1) for x in across] + [(x, y) for x in (x0, x1) for y in up[1:-1]]
    fixed = complex(float(across[columns // 2]), y0)
    moves = 1j * complex(math.cos(grain), math.sin(grain)) if grain is not None else 0j
    return tuple(_screw(complex(x, y), fixed, moves, diameter, strain) for x, y in places)


def _screw(at: complex, fixed: complex, moves: complex, diameter: float, strain: float) -> Screw:
    off = (at - fixed) * moves.conjugate()
    travel = abs(off.real) * strain
    place = (at.real, at.imag)
    if travel < _SLOT_FROM:
        return Screw(place, as_multi(Point(place).buffer(diameter / 2, quad_segs=16)), 0.0)
    way = travel * moves
    ends = [(at.real - way.real, at.imag - way.imag), (at.real + way.real, at.imag + way.imag)]
    return Screw(place, as_multi(LineString(ends).buffer(diameter / 2, quad_segs=16)), travel)
