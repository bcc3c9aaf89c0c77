"""Register marks: crosses at the same panel points on both of two neighbouring sheets."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.write.template.tiling import Sheet, Tiling, column_letters

ARM = 3.0
"""Half the length of a cross (mm)."""

_LETTER = 5.0
"""Room kept for the letter of a mark (mm)."""
_ENOUGH = 7.0
"""Clear paper (mm) round a mark that counts as free; more is no better."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A register mark: its letter, its place on the drawing (mm), the two sheets that show it, and the
    strip of drawing they share."""

    name: str
    at: tuple[float, float]
    sheets: tuple[str, str]
    shared: Box


def register_marks(tiling: Tiling, lines: shapely.Geometry) -> tuple[Mark, ...]:
    """Two marks for every pair of neighbouring sheets, on the middle line of what they share.

    Each stands where it is farthest from the drawing's lines within its half of the edge.
    """
    marks: list[Mark] = []
    shapely.prepare(lines)
    for first, second in tiling.joins:
        shared = _shared(first, second)
        for half in (0, 1):
            spot = _clearest(shared, half, lines, tiling.overlap)
            marks.append(Mark(column_letters(len(marks)).lower(), spot, (first.name, second.name), shared))
    return tuple(marks)


def _shared(first: Sheet, second: Sheet) -> Box:
    a, b = first.window, second.window
    return (max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3]))


def _clearest(shared: Box, half: int, lines: shapely.Geometry, overlap: float) -> tuple[float, float]:
    x0, y0, x1, y1 = shared
    upright = x1 - x0 < y1 - y0
    low, high = (y0, y1) if upright else (x0, x1)
    # Marks keep out of the corners, where four sheets meet and the next join has its own, with room for their letter.
    inset = min(overlap + 2 * ARM + _LETTER, (high - low) / 4)
    low, high = low + inset, high - inset
    reach = 0.35 * (high - low)
    along = np.linspace(low, low + reach, 24) if half == 0 else np.linspace(high, high - reach, 24)
    middle = np.full_like(along, (x0 + x1) / 2 if upright else (y0 + y1) / 2)
    points = np.column_stack([middle, along] if upright else [along, middle])
    clear = np.minimum(np.nan_to_num(shapely.distance(shapely.points(points), lines), nan=_ENOUGH), _ENOUGH)
    x, y = points[int(np.argmax(np.round(clear, 2)))].tolist()
    return x, y
