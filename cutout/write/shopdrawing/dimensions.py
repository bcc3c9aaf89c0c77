"""Sizes round the panel: a chain of gaps and figures, and the overall size, below it and left of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.draw.looks import FINE
from cutout.draw.scene import Item, Words, spans
from cutout.draw.signs import NUMBER, dimension, lettering_width
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


def dimensions(drawing: Drawing) -> Iterator[Item]:
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
        yield _extensions(axis, places, level)
        if len(places) > 2:
            links = zip(pairwise(places), (_words(b - a, units) for a, b in pairwise(rounded)), strict=True)
            for n, ((a, b), words) in enumerate(links):
                if words:
                    side = -1 if n == 0 else int(n == len(places) - 2)
                    yield from _link(axis, a, b, level - CHAIN, words, side)
        whole = (work.pattern.panel.width, work.pattern.panel.height)[axis]
        yield from _link(axis, start, end, level - OVERALL, _bare(format_length(whole, units)))


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


def _extensions(axis: int, places: Sequence[float], level: float) -> Item:
    """Lines from the panel to the sizes, the outer two to the overall one."""
    reach = [OVERALL if n in (0, len(places) - 1) else CHAIN for n in range(len(places))]
    ends = (((p, level - 1.2), (p, level - far - 1.5)) for p, far in zip(places, reach, strict=True))
    return spans(FINE, ends if axis == 0 else ((a[::-1], b[::-1]) for a, b in ends))


def _link(axis: int, a: float, b: float, level: float, words: str, end: int = 0) -> Iterator[Item]:
    """One dimension; where its number is wider than it is long, the number stands beyond the chain's end.

    end: -1 for the first of a chain, 1 for the last.
    """
    wide = lettering_width(words, NUMBER) + 1.6
    ends = ((a, level), (b, level)) if axis == 0 else ((level, a), (level, b))
    if b - a >= wide:
        yield from dimension(*ends, words)
        return
    yield from dimension(*ends, "")
    at = (a - wide / 2, (a + b) / 2, b + wide / 2)[end + 1]
    place = (at, level + 1.0) if axis == 0 else (level - 1.0, at)
    yield Words(words, place, NUMBER, align="centre", upright=axis == 1)
