"""A little picture of each opening on the cut sheet: its holes, and its legs with their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from cutout.draw.labels import Label, Room
from cutout.draw.lettered import label_items, lettered
from cutout.draw.looks import AWAY, LEG
from cutout.draw.scene import Layer, Run, Scene, region
from cutout.geom.curve import Similarity
from cutout.pattern import Opening
from cutout.saw.model import Leg
from cutout.write import panel
from cutout.write.cutsheet.picture import Picture, picture_svg
from cutout.write.drawing import Drawing, segments
from cutout.write.work import Work

_SPOTS = np.array([0.5, 0.3, 0.7, 0.15, 0.85])
"""Where along a leg its number may stand, as shares of its length; the first with room is taken."""
_LONG = 150.0
"""The opening's longer side on the picture (mm)."""
_BORDER = 11.0
"""Paper round it (mm)."""
_EXACT = 0.05
"""How far a leg may be from its true path on the picture (mm)."""


def opening_svg(work: Work, opening: Opening) -> str:
    """The opening with its legs dashed, their numbers in bold, and its holes with theirs in plain figures.

    Numbers without room are left out here; the template and the table beside have them all.
    """
    x0, y0, x1, y1 = opening.region.bounds
    scale = _LONG / max(x1 - x0, y1 - y0)
    holes = tuple(hole for hole in work.plan.holes if hole.opening == opening.id)
    legs = [leg for leg in work.plan.legs if leg.opening == opening.id and len(leg.path) > 1]
    own = replace(work, plan=replace(work.plan, holes=holes))
    drawing = Drawing(own, Similarity(complex(scale, 0.0), -scale * complex(x0, y0)))
    area = drawing.geometry(opening.region)
    box = (-_BORDER, -_BORDER, (x1 - x0) * scale + _BORDER, (y1 - y0) * scale + _BORDER)
    discs = [shapely.Point(drawing.at(h.at)).buffer(panel.hole_radius(h.diameter, drawing)) for h in holes]
    room = Room(np.array([*segments(shapely.boundary(area)), *discs], dtype=object), box)
    placed, _ = room.place([*_hole_labels(drawing), *_leg_labels(drawing, legs)])
    layers = (
        Layer("panel", (region(AWAY, area),)),
        Layer("legs", (Run(LEG, tuple(_thin(drawing.path(leg.path)) for leg in legs)),)),
        Layer("holes", tuple(panel.holes(drawing))),
        Layer("names", tuple(item for p in placed for item in label_items(p))),
    )
    title = f"Opening {opening.id}: legs numbered in bold, holes in plain figures"
    picture = Picture(Scene(box, layers), scale)
    return picture_svg(picture, f"opening-{opening.id}", title, kind="panel little") + "\n"


def _thin(path: np.ndarray) -> np.ndarray:
    return np.asarray(shapely.get_coordinates(shapely.LineString(path).simplify(_EXACT)))


def _hole_labels(drawing: Drawing) -> Iterator[Label]:
    for hole in drawing.holes:
        reach = panel.hole_radius(hole.diameter, drawing)
        yield lettered(str(hole.id), "plain", (drawing.at(hole.at),), reach=reach)


def _leg_labels(drawing: Drawing, legs: Sequence[Leg]) -> Iterator[Label]:
    for leg in legs:
        line = shapely.LineString(drawing.path(leg.path))
        spots = shapely.get_coordinates(shapely.line_interpolate_point(line, _SPOTS, normalized=True))
        yield lettered(str(leg.order), "bold", tuple(map(tuple, spots.tolist())), reach=1.0)
