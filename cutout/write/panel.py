"""The panel as scenes show it: what lies on it, as items; every drawing of it is put together from these."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np
import shapely

from cutout.check.boards import glue_lines
from cutout.draw.looks import EDGE, MIDDLE, ZONE, Look
from cutout.draw.scene import Area, Item, lines, region
from cutout.draw.signs import drill_sign, pin_sign, tie
from cutout.geom.outline import polygons_of
from cutout.write.drawing import Drawing
from cutout.write.template.annotate import drill_kinds
from cutout.write.template.lines import seam

LEAST_HOLE = 1.5
"""Where the panel is drawn smaller a hole's sign is never smaller than this radius (mm)."""
_OVER = 0.1
"""What lies this near to the panel's edge (mm) is the edge."""


def waste(drawing: Drawing, look: Look) -> Area:
    """What is cut away."""
    return Area(look, drawing.rings)


def cuts(drawing: Drawing, look: Look) -> Item:
    """The lines to saw along."""
    return lines(look, drawing.cuts)


def edge(drawing: Drawing, look: Look = EDGE) -> Area:
    """The panel's edge; with a look that fills, the board."""
    return region(look, drawing.board)


def middles(drawing: Drawing, over: float = 0.0) -> Iterator[Item]:
    """The panel's middle lines, drawn over its edge by so much (mm)."""
    for line in drawing.middles:
        ends = shapely.get_coordinates(line)[[0, -1]]
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0])) * over
        yield lines(MIDDLE, shapely.LineString([ends[0] - along, ends[1] + along]))


def seams(drawing: Drawing) -> Iterable[Item]:
    """Glue lines between boards."""
    return chain.from_iterable(seam(drawing.geometry(s)) for s in glue_lines(drawing.work.pattern.panel))


def zones(drawing: Drawing) -> Iterator[Item]:
    """Borders of what is to be kept clear of; dots over the panel's own edge would only blur it."""
    rim = drawing.board.exterior.buffer(_OVER)
    for zone in drawing.work.pattern.panel.zones:
        for part in polygons_of(drawing.geometry(zone.area)):
            yield lines(ZONE, shapely.line_merge(shapely.difference(shapely.boundary(part), rim)))


def bridges(drawing: Drawing) -> Iterator[Item]:
    """Bridges, as bars that are not sawn across."""
    for bridge in drawing.work.bridges:
        yield from tie(drawing.at(bridge.start), drawing.at(bridge.end))


def holes(drawing: Drawing, least: float = LEAST_HOLE, arm: float = 0.6) -> Iterator[Item]:
    """The sign of every hole, with at least this radius; arm: how far its cross reaches over it (mm)."""
    kinds = drill_kinds(drawing.holes)
    for hole in drawing.holes:
        radius = hole_radius(hole.diameter, drawing, least)
        yield from drill_sign(drawing.at(hole.at), radius, kinds[hole.diameter], arm)


def hole_radius(diameter: float, drawing: Drawing, least: float = LEAST_HOLE) -> float:
    """Radius of a hole's sign (paper mm)."""
    return max(least, diameter / 2 * abs(drawing.frame.a))


def pins(drawing: Drawing) -> Iterator[Item]:
    """Where a stack is pinned."""
    return chain.from_iterable(pin_sign(drawing.at(pin)) for pin in drawing.pins)
