"""A little picture of each opening on the cut sheet: its holes, and its legs with their numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import shapely

from cutout.draw.labels import Label, Room
from cutout.draw.svg import number, polygon_path, polyline_path
from cutout.pattern import Opening
from cutout.saw.model import Hole, Leg
from cutout.write.cutsheet.picture import label_svg
from cutout.write.drawing import segments
from cutout.write.work import Work

_SPOTS = np.array([0.5, 0.3, 0.7, 0.15, 0.85])
"""Where along a leg its number may stand, as shares of its length; the first with room is taken."""


def opening_svg(work: Work, opening: Opening) -> str:
    """The opening with its legs dashed, their numbers in bold, and its holes with theirs in plain figures.

    Numbers without room are left out here; the template and the table beside have them all.
    """
    holes = [h for h in work.plan.holes if h.opening == opening.id]
    legs = [leg for leg in work.plan.legs if leg.opening == opening.id and len(leg.path) > 1]
    x0, y0, x1, y1 = opening.region.bounds
    text = max(x1 - x0, y1 - y0) / 42
    border = 3 * text
    flip = y0 + y1
    placed, _ = _room(opening, holes, border).place([*_hole_labels(holes, text), *_leg_labels(legs, text)])
    view = (x0 - border, y0 - border, x1 - x0 + 2 * border, y1 - y0 + 2 * border)
    name = f"opening-{opening.id}-title"
    runs = "".join(f'<path class="leg" d="{polyline_path(_thin(leg), flip)}"/>' for leg in legs)
    discs = "".join(
        f'<circle class="hole" cx="{number(h.at[0])}" cy="{number(flip - h.at[1])}" r="{number(h.diameter / 2)}"/>'
        for h in holes
    )
    return (
        f'<svg class="panel little" role="img" aria-labelledby="{name}" viewBox="{" ".join(map(number, view))}">'
        f'<title id="{name}">Opening {opening.id}: legs numbered in bold, holes in plain figures</title>'
        f'<path class="waste" fill-rule="evenodd" d="{polygon_path(opening.region, flip)}"/>{runs}{discs}'
        f'<g font-size="{number(text)}">{"".join(label_svg(p, flip) for p in placed)}</g></svg>\n'
    )


def _thin(leg: Leg) -> np.ndarray:
    """The leg's path as exact as a small picture shows."""
    return np.asarray(shapely.get_coordinates(shapely.LineString(leg.path).simplify(0.1)))


def _room(opening: Opening, holes: Sequence[Hole], border: float) -> Room:
    x0, y0, x1, y1 = opening.region.bounds
    discs = [shapely.Point(h.at).buffer(h.diameter / 2) for h in holes]
    taken = [*segments(opening.region.boundary), *discs]
    return Room(np.array(taken, dtype=object), (x0 - border, y0 - border, x1 + border, y1 + border))


def _hole_labels(holes: Sequence[Hole], text: float) -> Iterator[Label]:
    for hole in holes:
        size = (0.62 * text * len(str(hole.id)), 0.8 * text)
        yield Label(str(hole.id), "plain", size, (hole.at,), reach=hole.diameter / 2)


def _leg_labels(legs: Sequence[Leg], text: float) -> Iterator[Label]:
    for leg in legs:
        line = shapely.LineString(leg.path)
        spots = shapely.get_coordinates(shapely.line_interpolate_point(line, _SPOTS, normalized=True))
        size = (0.75 * text * 1.2 * len(str(leg.order)), text)
        yield Label(str(leg.order), "bold", size, tuple(map(tuple, spots.tolist())), reach=0.3 * text)
