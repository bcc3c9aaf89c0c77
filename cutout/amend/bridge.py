"""Bridges: strips of wood left standing so that a loose piece stays attached."""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from cutout.amend.model import Bridge, Mending
from cutout.geom.outline import as_multi, polygons_of
from cutout.kit import Kit, hankinson
from cutout.pattern import Pattern, with_figure


def bridge(pattern: Pattern, kit: Kit, mending: Mending) -> tuple[Pattern, tuple[Bridge, ...]]:
    """The pattern with a straight strip from each loose piece to the nearest wood that is held."""
    if pattern.keep_mode != "panel":
        return pattern, ()
    pieces = sorted(polygons_of(pattern.keep), key=lambda p: (-p.area, p.bounds))
    held, loose = pieces[:1], pieces[1:]
    bridges: list[Bridge] = []
    while loose:
        body = shapely.union_all(held)
        gaps = shapely.distance(np.array(loose, dtype=object), body)
        piece = loose.pop(int(np.argmin(gaps)))
        line = LineString(shapely.get_coordinates(shapely.shortest_line(piece, body)))
        width = width_of(line, pattern, kit, mending)
        bridges.append(_strip(len(bridges) + 1, line, width))
        held.append(piece)
    if not bridges:
        return pattern, ()
    figure = as_multi(shapely.difference(pattern.figure, MultiPolygon([b.area for b in bridges])))
    return with_figure(pattern, figure), tuple(bridges)


def width_of(line: LineString, pattern: Pattern, kit: Kit, mending: Mending) -> float:
    """Width (mm) a bridge along `line` needs: the web limit between along and across by Hankinson."""
    if mending.bridge_width is not None:
        return mending.bridge_width
    limits, grain = kit.limits, pattern.panel.grain
    if grain is None or not kit.wood.has_grain:
        factor = limits.web_sheet
    else:
        (x0, y0), (x1, y1) = shapely.get_coordinates(line)[[0, -1]].tolist()
        strength = hankinson(math.atan2(y1 - y0, x1 - x0) - grain, kit.wood.across_ratio)
        factor = min(limits.web_along / strength, limits.web_across)
    return limits.bridge * factor * pattern.panel.thickness


def _strip(number: int, line: LineString, width: float) -> Bridge:
    (x0, y0), (x1, y1) = shapely.get_coordinates(line)[[0, -1]].tolist()
    angle = math.atan2(y1 - y0, x1 - x0)
    more = width / 2
    ends = LineString(
        [(x0 - more * math.cos(angle), y0 - more * math.sin(angle)),
         (x1 + more * math.cos(angle), y1 + more * math.sin(angle))]
    )  # fmt: skip
    area = shapely.buffer(ends, width / 2, cap_style="flat")
    assert isinstance(area, Polygon)
    return Bridge(number, (x0, y0), (x1, y1), width, area)
