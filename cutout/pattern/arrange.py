"""Several figures on one panel: by name, in a row or column with equal gaps, repeated, as a mirrored pair."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.choices import Align, Half, InLine, Overlap, Stand
from cutout.errors import LayoutError
from cutout.geom.curve import Similarity
from cutout.geom.outline import Outline, Ring, as_multi, from_region
from cutout.pattern.layout import combine, same_curves
from cutout.units import Units, format_length

_CLOSE = 1e-4  # mm; a hundredth of the working resolution
_MEETS = 1e-3
"""A half within this share of its size of the axis reaches it."""


@dataclass(frozen=True, slots=True)
class Spacing:
    """How figures stand in a row (left to right) or column (top to bottom).

    gap: mm between neighbouring outlines, None = equal gaps that fill the area, ends included.
    align: low = feet or left sides on one line, middle, high = heads or right sides on one line.
    """

    line: InLine
    gap: float | None = None
    align: Align = "middle"


def stand(outline: Outline, area: Polygon, where: Stand, margin: float = 0.0) -> Outline:
    """The outline moved so that its box stands in a named place of `area`, `margin` mm from its sides."""
    x0, y0, x1, y1 = outline.bounds
    a0, b0, a1, b1 = area.bounds
    dx = (a0 + a1 - x0 - x1) / 2
    dy = (b0 + b1 - y0 - y1) / 2
    if "left" in where:
        dx = a0 + margin - x0
    if "right" in where:
        dx = a1 - margin - x1
    if "bottom" in where:
        dy = b0 + margin - y0
    if "top" in where:
        dy = b1 - margin - y1
    return _moved(outline, complex(dx, dy))


def pair(outline: Outline) -> tuple[Outline, Outline]:
    """The figure and its mirror image, left and right."""
    return outline, outline.transform(Similarity(mirror=True, a=-1 + 0j))


def made_whole(outline: Outline, half: Half) -> Outline:
    """The figure whose given half is drawn: mirrored about the box's opposite side and joined along it.

    A half that ends within a thousandth of its size of the axis reaches it: hand-drawn edges need not be exact.
    """
    x0, y0, x1, y1 = outline.bounds
    size = max(x1 - x0, y1 - y0)
    if half in ("left", "right"):
        axis = x1 if half == "left" else x0
        mirror = Similarity(mirror=True, a=-1 + 0j, b=complex(2 * axis))
    else:
        axis = y0 if half == "top" else y1
        mirror = Similarity(mirror=True, a=1 + 0j, b=2j * axis)
    other = outline.transform(mirror)
    both = combine_units([outline, other])
    reach = _MEETS * size
    regions = [shapely.buffer(o.region(), reach, join_style="mitre") for o in (outline, other)]
    whole = shapely.buffer(shapely.union_all(regions), -reach, join_style="mitre")
    return Outline(same_curves(both.rings, from_region(as_multi(whole))), outline.scale, both.notes)


def combine_units(outlines: Sequence[Outline]) -> Outline:
    """Several outlines in the same units as one; the scale is the first one's."""
    rings = tuple(ring for outline in outlines for ring in outline.rings)
    return Outline(rings, outlines[0].scale, outlines[0].notes)


def round_a_circle(outline: Outline, count: int, radius: float, centre: complex) -> tuple[Outline, ...]:
    """`count` of the figure evenly round a circle, each turned on with it, the first one at the top; mm."""
    x0, y0, x1, y1 = outline.bounds
    top = outline.transform(Similarity(b=centre + 1j * radius - complex(x0 + x1, y0 + y1) / 2))
    turns = (np.exp(-2j * np.pi * k / count) for k in range(count))
    return tuple(top.transform(Similarity(a=complex(t), b=centre - complex(t) * centre)) for t in turns)


def line_up(
    outlines: Sequence[Outline], area: Polygon, spacing: Spacing, units: Units = "mm"
) -> tuple[Outline, ...]:
    """Figures in a row or column inside `area` with the same gap between each two outlines, not their boxes.

    Without a gap, the one that fills the area, ends included. Raises LayoutError when they won't fit.
    """
    along = 1.0 if spacing.line == "row" else -1.0j
    figures = [_aligned(o, area, spacing) for o in outlines]
    regions = [o.region(0.05) for o in figures]
    room = _extent(area, spacing.line)
    if spacing.gap is not None:
        offsets = _offsets(regions, along, spacing.gap)
        span = _span(figures, offsets, spacing.line)
        gap = spacing.gap
    else:
        gap, offsets, span = _even(figures, regions, along, spacing.line, room)
    if span > room + _CLOSE:
        raise LayoutError(
            f"{len(figures)} figures with gaps of {format_length(gap, units)} need {format_length(span, units)}, "
            f"there is room for {format_length(room, units)}: make them smaller or fewer."
        )
    placed = [_moved(o, along * d) for o, d in zip(figures, offsets, strict=True)]
    return _centred(placed, area, spacing.line)


def united(outlines: Sequence[Outline], overlap: Overlap) -> Outline:
    """Figures as one outline; those that overlap are merged, or refused with a LayoutError."""
    regions = [o.region() for o in outlines]
    tree = shapely.STRtree(regions)
    first, second = tree.query(regions, predicate="intersects")
    clashes = [(a, b) for a, b in zip(first.tolist(), second.tolist(), strict=True) if a < b]
    if not clashes:
        return combine(outlines)
    if overlap == "refuse":
        a, b = clashes[0]
        raise LayoutError(
            f"figures {a + 1} and {b + 1} overlap: move them apart, or let overlapping figures merge."
        )
    together = combine(outlines)
    whole = as_multi(shapely.union_all(regions))
    return Outline(_with_curves(together, whole), 1.0, together.notes, together.letters)


def _with_curves(outline: Outline, region: MultiPolygon) -> tuple[Ring, ...]:
    return same_curves(outline.rings, from_region(region))


def _moved(outline: Outline, by: complex) -> Outline:
    return outline.transform(Similarity(b=by))


def _aligned(outline: Outline, area: Polygon, spacing: Spacing) -> Outline:
    """The figure at the start of the line, on its common line across it."""
    row = spacing.line == "row"
    where: dict[Align, Stand] = {
        "low": "bottom left" if row else "top left",
        "middle": "left" if row else "top",
        "high": "top left" if row else "top right",
    }
    return stand(outline, area, where[spacing.align])


def _offsets(regions: Sequence[MultiPolygon], along: complex, gap: float) -> list[float]:
    """How far each figure moves along the line so that it stays `gap` from every one before it."""
    offsets = [0.0]
    placed: list[shapely.Geometry] = [regions[0]]
    for region in regions[1:]:
        before = shapely.union_all(placed)
        offset = _beyond(before, region, along, gap)
        offsets.append(offset)
        placed.append(_shifted(region, along * offset))
    return offsets


def _beyond(before: shapely.Geometry, region: MultiPolygon, along: complex, gap: float) -> float:
    """Outermost shift at which the two are `gap` apart: step back by the spare distance, which can't overshoot."""
    x0, y0, x1, y1 = shapely.union_all([before, region]).bounds
    offset = (x1 - x0 + y1 - y0) + gap
    for _ in range(200):
        spare = shapely.distance(before, _shifted(region, along * offset)) - gap
        if spare < _CLOSE:
            break
        offset -= spare
    return offset


def _even(
    figures: Sequence[Outline], regions: Sequence[MultiPolygon], along: complex, line: InLine, room: float
) -> tuple[float, list[float], float]:
    """The gap with which the figures and the two ends fill the room; bisection, the span grows with the gap."""
    low, high = 0.0, room
    for _ in range(40):
        gap = (low + high) / 2
        if _span(figures, _offsets(regions, along, gap), line) + 2 * gap > room:
            high = gap
        else:
            low = gap
        if high - low < 1e-3:
            break
    offsets = _offsets(regions, along, low)
    return low, offsets, _span(figures, offsets, line) + 2 * low


def _span(figures: Sequence[Outline], offsets: Sequence[float], line: InLine) -> float:
    if line == "row":
        ends = [(o.bounds[0] + d, o.bounds[2] + d) for o, d in zip(figures, offsets, strict=True)]
    else:
        ends = [(o.bounds[1] - d, o.bounds[3] - d) for o, d in zip(figures, offsets, strict=True)]
    return max(e for _, e in ends) - min(s for s, _ in ends)


def _extent(area: Polygon, line: InLine) -> float:
    x0, y0, x1, y1 = area.bounds
    return float(x1 - x0 if line == "row" else y1 - y0)


def _centred(placed: Sequence[Outline], area: Polygon, line: InLine) -> tuple[Outline, ...]:
    boxes = [o.bounds for o in placed]
    a0, b0, a1, b1 = area.bounds
    if line == "row":
        shift = complex((a0 + a1 - min(b[0] for b in boxes) - max(b[2] for b in boxes)) / 2)
    else:
        shift = 1j * (b0 + b1 - min(b[1] for b in boxes) - max(b[3] for b in boxes)) / 2
    return tuple(_moved(o, shift) for o in placed)


def _shifted(region: MultiPolygon, by: complex) -> shapely.Geometry:
    return shapely.transform(region, lambda xy: xy + np.array([by.real, by.imag]))
