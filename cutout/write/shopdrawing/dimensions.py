"""Sizes round the panel: a chain of gaps and figures, and the overall size, below it and left of it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.draw.paint import Paint
from cutout.draw.signs import NUMBER, dimension, size
from cutout.units import MM_PER_INCH, Units, format_length
from cutout.write.drawing import Drawing

CHAIN, OVERALL = 6.2, 12.4
"""How far from the panel the chain and the overall size stand (mm)."""
_MOST = 9
"""A chain has this many links at most; a figure in more pieces is measured as one."""
_LEAST = 9.0
"""A link inside a chain is this long at least (mm), so that its number has room."""
_COARSE = {"mm": 1.0, "in": MM_PER_INCH / 16}
"""What places are rounded to (mm): nobody sets a board out finer than this with a rule."""


def draw_dimensions(paint: Paint, drawing: Drawing) -> None:
    """Both chains and both overall sizes."""
    work = drawing.work
    units = work.units
    scale = abs(drawing.frame.a)
    x0, y0, x1, y1 = drawing.panel
    shapes = drawing.geometry(
        work.pattern.figure if work.pattern.keep_mode == "figure" else work.pattern.waste
    )
    for axis, (start, end) in enumerate(((x0, x1), (y0, y1))):
        places = [start, *_places(shapes, axis, start, end), end]
        if any(b - a < _LEAST for a, b in pairwise(places[1:-1])):
            places = [start, places[1], places[-2], end]
        rounded = [_rounded((p - start) / scale, units) for p in places]
        level = (y0, x0)[axis]
        _extensions(paint, axis, places, level)
        if len(places) > 2:
            links = zip(pairwise(places), (_words(b - a, units) for a, b in pairwise(rounded)), strict=True)
            for n, ((a, b), words) in enumerate(links):
                if words:
                    _link(paint, axis, a, b, level - CHAIN, words, last=n == len(places) - 2, first=n == 0)
        side = (work.pattern.panel.width, work.pattern.panel.height)[axis]
        _link(paint, axis, start, end, level - OVERALL, _bare(format_length(side, units)))


def _places(shapes: shapely.Geometry, axis: int, start: float, end: float) -> list[float]:
    """Where figures begin and end along an axis, those that overlap joined; within the panel (paper mm)."""
    bounds = shapely.bounds(shapely.get_parts(shapes)).reshape(-1, 4)[:, [axis, axis + 2]]
    if not len(bounds):
        return []
    joined = shapely.union_all([shapely.box(a, 0, b, 1) for a, b in bounds.tolist() if b > a])
    runs = sorted((p.bounds[0], p.bounds[2]) for p in shapely.get_parts(MultiPolygon([]) | joined))
    if 2 * len(runs) + 1 > _MOST:
        runs = [(runs[0][0], runs[-1][1])]
    ends = np.clip([place for run in runs for place in run], start, end).tolist()
    return [place for place in ends if start + 0.3 < place < end - 0.3]


def _rounded(mm: float, units: Units) -> float:
    return round(mm / _COARSE[units]) * _COARSE[units]


def _words(mm: float, units: Units) -> str:
    return _bare(format_length(mm, units)) if mm > 1e-6 else ""


def _bare(text: str) -> str:
    """The number without its unit, which the title block gives."""
    return text.rsplit(" ", 1)[0]


def _extensions(paint: Paint, axis: int, places: Sequence[float], level: float) -> None:
    paint.pen(0.13)
    for n, place in enumerate(places):
        far = OVERALL if n in (0, len(places) - 1) else CHAIN
        a, b = level - 1.2, level - far - 1.5
        if axis == 0:
            paint.line(place, a, place, b)
        else:
            paint.line(a, place, b, place)


def _link(
    paint: Paint,
    axis: int,
    a: float,
    b: float,
    level: float,
    words: str,
    *,
    first: bool = False,
    last: bool = False,
) -> None:
    """One dimension; where its number is wider than it is long, the number stands beyond the chain's end."""
    wide = paint.width(words, size(NUMBER)) + 1.6
    ends = ((a, level), (b, level)) if axis == 0 else ((level, a), (level, b))
    if b - a >= wide:
        dimension(paint, *ends, words)
        return
    dimension(paint, *ends, "")
    middle = (a + b) / 2
    at = a - wide / 2 if first else b + wide / 2 if last else middle
    if axis == 0:
        paint.text(at, level + 1.0, words, size(NUMBER), align="centre")
    else:
        paint.upright(level - 1.0, at, words, size(NUMBER), align="centre")
