"""From an outline in its own units to a pattern on the panel."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.choices import Keep
from cutout.errors import LayoutError
from cutout.geom.curve import FLATTENING, Similarity
from cutout.geom.outline import Note, Outline, Ring, as_multi, from_region, polygons_of
from cutout.pattern.panel import Panel
from cutout.pattern.pattern import Opening, Pattern
from cutout.units import Units, format_size

_SNAP = 1e-3
"""Gaps and slivers thinner than this (mm) are rounding, not geometry."""
_ROW = 2.0
"""Openings whose upper edges lie no farther apart (mm) are one row to the eye."""


MOST_POINTS = 40_000
"""Points an outline may have once its curves are flattened. GEOS thins lines by recursion, one level a point at
worst, which overruns the stack of a usual machine somewhere above 50 000."""


MOST_LINE = 300_000.0
"""Length of line (mm) a pattern may have: a day of sawing, and more than the checks measure in a minute."""


@dataclass(frozen=True, slots=True)
class Placement:
    """Size and place of one figure on the panel; mm, radians.

    width or height: of the silhouette after turning (one of them, or neither when the source has a scale).
    turn: counter-clockwise. mirror: left-right, before turning. at: where the centre of the silhouette's
    bounding box goes; None centres it on the panel.
    """

    width: float | None = None
    height: float | None = None
    turn: float = 0.0
    mirror: bool = False
    at: tuple[float, float] | None = None


def turning(turn: float, mirror: bool) -> Similarity:
    """Mirrored left to right where asked for, then turned counter-clockwise by `turn` radians."""
    a = cmath.exp(1j * turn)
    return Similarity(-a if mirror else a, 0j, mirror)


def place(outline: Outline, panel: Panel, placement: Placement, units: Units = "mm") -> Outline:
    """The outline in panel millimetres. Raises LayoutError if it has no size or won't fit the panel."""
    if not outline.rings:
        raise LayoutError("the source has no outline: there is nothing in it that is wide enough to cut.")
    turned = outline.transform(turning(placement.turn, placement.mirror))
    x0, y0, x1, y1 = turned.bounds
    scale = _scale(turned, placement, x1 - x0, y1 - y0)
    width, height = scale * (x1 - x0), scale * (y1 - y0)
    if width > panel.width + _SNAP or height > panel.height + _SNAP:
        raise LayoutError(
            f"the silhouette would be {format_size(width, height, units)}, the panel is only "
            f"{format_size(panel.width, panel.height, units)}: make one smaller or the other larger."
        )
    centre = complex(*placement.at) if placement.at else complex(panel.width, panel.height) / 2
    middle = scale * complex(x0 + x1, y0 + y1) / 2
    placed = turned.transform(Similarity(scale + 0j, centre - middle))
    return Outline(placed.rings, 1.0, outline.notes, placed.letters)


def combine(outlines: Sequence[Outline]) -> Outline:
    """Several placed outlines as one; they must not overlap (figures that do are merged before this)."""
    rings = tuple(ring for outline in outlines for ring in outline.rings)
    notes: dict[Note, None] = {note: None for outline in outlines for note in outline.notes}
    letters = tuple(letter for outline in outlines for letter in outline.letters)
    return Outline(rings, 1.0, tuple(notes), letters)


def cut_pattern(outline: Outline, panel: Panel, keep: Keep, kerf: float) -> Pattern:
    """The pattern of an outline already in panel millimetres. Raises LayoutError when nothing is to be cut.

    What sticks out over the panel's edge is cut off; `check` reports it as off the panel.
    """
    points = sum(len(ring.segments) for ring in outline.rings)
    figure = outline.region() if points <= MOST_POINTS else MultiPolygon()
    points = max(points, int(shapely.get_num_coordinates(figure)))
    if points > MOST_POINTS:
        raise LayoutError(
            f"the outline has {points} points, far more than a saw could follow (at most {MOST_POINTS}): smooth "
            "the drawing, or save it as a picture and use that."
        )
    if (line := float(shapely.length(figure))) > MOST_LINE:
        raise LayoutError(
            f"the line to saw would be {line / 1000:.0f} m long, at most {MOST_LINE / 1000:.0f} m are taken: "
            "leave the finest detail out, or make the silhouette smaller."
        )
    if shapely.area(shapely.intersection(figure, panel.polygon)) < 1.0:
        raise LayoutError("nothing to cut: the silhouette covers less than 1 square millimetre of the panel.")
    return assembled(outline, figure, panel, keep, kerf)


def with_figure(pattern: Pattern, figure: MultiPolygon) -> Pattern:
    """The pattern with its figure replaced (eased, bridged, moved); the outline becomes straight runs.

    Rings the change did not touch keep their curves.
    """
    rings = same_curves(pattern.outline.rings, from_region(figure))
    outline = Outline(rings, 1.0, pattern.outline.notes, pattern.outline.letters)
    return assembled(outline, as_multi(figure), pattern.panel, pattern.keep_mode, pattern.kerf)


def with_waste(pattern: Pattern, waste: MultiPolygon) -> Pattern:
    """The pattern with its waste replaced; only for keep `panel` and `figure`, where waste fixes the figure."""
    if pattern.keep_mode == "both":
        raise ValueError("with keep 'both' the waste is the slot: change the figure instead")
    figure = waste if pattern.keep_mode == "panel" else pattern.panel.polygon.difference(waste)
    return with_figure(pattern, as_multi(figure))


def _scale(outline: Outline, placement: Placement, width: float, height: float) -> float:
    if placement.width is not None and placement.height is not None:
        raise LayoutError("give the width or the height of the silhouette, not both: the other one follows.")
    if placement.width is not None:
        return placement.width / width
    if placement.height is not None:
        return placement.height / height
    if outline.scale is not None:
        return outline.scale
    raise LayoutError("the source does not say its true size: give --width or --height.")


def assembled(outline: Outline, figure: MultiPolygon, panel: Panel, keep: Keep, kerf: float) -> Pattern:
    """The pattern of a figure that is known, and the curves round it; nothing is asked of either."""
    board = panel.polygon
    inside = as_multi(shapely.intersection(figure, board))
    if keep == "panel":
        waste = inside
    elif keep == "figure":
        waste = as_multi(shapely.difference(board, inside))
    else:
        waste = as_multi(shapely.intersection(_slot(figure, kerf), board))
    waste = _without_slivers(waste)
    kept = _without_slivers(as_multi(shapely.difference(board, waste)))
    return Pattern(panel, outline, keep, kerf, inside, waste, kept, _openings(waste, board))


def _slot(figure: MultiPolygon, kerf: float) -> shapely.Geometry:
    edges = shapely.boundary(figure)
    return shapely.buffer(edges, kerf / 2, quad_segs=max(8, math.ceil(math.sqrt(kerf / 2 / FLATTENING) * 2)))


def _openings(waste: MultiPolygon, board: Polygon) -> tuple[Opening, ...]:
    """Openings numbered from the top left, row by row, so that numbers are easy to find on the template; what mending
    moves a little, as both of a pair, stays in its row and keeps its number."""
    parts = np.array(polygons_of(waste), dtype=object)
    if len(parts) == 0:
        return ()
    at_edge = shapely.distance(parts, board.exterior) < _SNAP
    corners = shapely.bounds(parts)
    down = np.argsort(-corners[:, 3], kind="stable")
    row = np.empty(len(parts), dtype=int)
    row[down] = np.cumsum(np.diff(corners[down, 3], prepend=corners[down[0], 3]) < -_ROW)
    order = np.lexsort((corners[:, 0], row))
    return tuple(Opening(n + 1, parts[i], bool(at_edge[i])) for n, i in enumerate(order))


def _without_slivers(region: MultiPolygon) -> MultiPolygon:
    return MultiPolygon([p for p in region.geoms if p.area > _SNAP * p.length / 2])


def same_curves(old: Sequence[Ring], fresh: Sequence[Ring]) -> tuple[Ring, ...]:
    """The fresh rings, each replaced by the old ring with its curves where it is still the same."""
    filled = [ring.polygon() for ring in old]
    tree = shapely.STRtree(filled)
    rings = []
    for ring in fresh:
        polygon = ring.polygon()
        same = (
            old[i]
            for i in sorted(tree.query(polygon).tolist())
            if (old[i].area > 0) == (ring.area > 0)
            and shapely.equals_exact(filled[i].normalize(), polygon.normalize(), _SNAP)
        )
        rings.append(next(same, ring))
    return tuple(rings)
