"""A drawing as data: areas, lines, discs and words in layers. What draws it, `paint` as PDF or `svg`, is a backend.

Lengths in mm, y up, in the frame of the paper (or of the panel, where it is drawn at its own size).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.draw.looks import INK, SOLID, Hatch, Look
from cutout.geom.curve import Arc, FloatArray, Line
from cutout.geom.outline import Ring

Align: TypeAlias = Literal["left", "centre", "right"]


@dataclass(frozen=True, eq=False, slots=True)
class Area:
    """Closed rings as one path, even-odd; id: a name of its own, if it has one."""

    look: Look
    rings: tuple[Ring, ...]
    id: str = ""


@dataclass(frozen=True, eq=False, slots=True)
class Run:
    """Open runs through points (n, 2) each."""

    look: Look
    paths: tuple[FloatArray, ...]
    id: str = ""


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle."""

    look: Look
    at: tuple[float, float]
    radius: float


@dataclass(frozen=True, slots=True)
class Words:
    """A line of text, its base line through `at`; tall: height of its capitals (mm); upright: it reads from below."""

    text: str
    at: tuple[float, float]
    tall: float
    bold: bool = False
    align: Align = "left"
    upright: bool = False
    look: Look = INK


Item: TypeAlias = Area | Run | Disc | Words


@dataclass(frozen=True, slots=True)
class Layer:
    """Items that belong together, in the order they are drawn."""

    name: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Scene:
    """A drawing: the box it fills, and its layers from the bottom up."""

    box: Box
    layers: tuple[Layer, ...]

    @property
    def items(self) -> Iterator[Item]:
        """All items in the order they are drawn."""
        return (item for layer in self.layers for item in layer.items)


def span(look: Look, *places: Sequence[float]) -> Run:
    """A run through a few places."""
    return Run(look, (np.array(places, dtype=float),))


def spans(look: Look, ends: Iterable[Sequence[Sequence[float]]]) -> Run:
    """Several runs through a few places each."""
    return Run(look, tuple(np.array(places, dtype=float) for places in ends))


def plus(look: Look, at: tuple[float, float], arm: float) -> Run:
    """An upright cross."""
    x, y = at
    return spans(look, (((x - arm, y), (x + arm, y)), ((x, y - arm), (x, y + arm))))


def lines(look: Look, geometry: shapely.Geometry) -> Run:
    """Every line in a geometry."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return Run(look, tuple(shapely.get_coordinates(part) for part in parts))


def region(look: Look, geometry: shapely.Geometry) -> Area:
    """Every polygon in a geometry."""
    rings = shapely.get_parts(shapely.get_parts(shapely.boundary(shapely.get_parts(geometry))))
    return Area(look, tuple(Ring.of_points(shapely.get_coordinates(ring)) for ring in rings))


def polygon(look: Look, corners: Iterable[Sequence[float]]) -> Area:
    """A closed run through corners."""
    return Area(look, (Ring.of_points(np.array(list(corners), dtype=float)),))


def rectangle(look: Look, box: Box) -> Area:
    """An upright rectangle."""
    x0, y0, x1, y1 = box
    return polygon(look, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)))


def rounded(look: Look, box: Box, radius: float) -> Area:
    """A rectangle with round corners; half as wide as the box is high, a ring with straight sides."""
    x0, y0, x1, y1 = box
    r = min(radius, (x1 - x0) / 2, (y1 - y0) / 2)
    inner = (
        complex(x1 - r, y0 + r),
        complex(x1 - r, y1 - r),
        complex(x0 + r, y1 - r),
        complex(x0 + r, y0 + r),
    )
    bulge = math.tan(math.pi / 8)
    arcs = [Arc(c - 1j * r * 1j**n, c + r * 1j**n, bulge) for n, c in enumerate(inner)]
    sides = [Line(a.end, b.start) for a, b in zip(arcs, (*arcs[1:], arcs[0]), strict=True)]
    runs = [run for arc, side in zip(arcs, sides, strict=True) for run in (arc, side)]
    return Area(look, (Ring(tuple(run for run in runs if abs(run.end - run.start) > 1e-9)),))


def ring(look: Look, box: Box) -> Area:
    """A circle in a square box; in a wider one a ring with straight sides."""
    return rounded(look, box, math.inf)


def sector(look: Look, at: tuple[float, float], radius: float, start: float, extent: float) -> Area:
    """A slice of a disc, from `start` over `extent` (degrees, counter-clockwise)."""
    centre = complex(*at)
    first, last = (centre + cmath.rect(radius, math.radians(a)) for a in (start, start + extent))
    arc = Arc(first, last, math.tan(math.radians(extent) / 4))
    return Area(look, (Ring((Line(centre, first), arc, Line(last, centre))),))


def arrow_head(x: float, y: float, angle: float, length: float = 2.0) -> Area:
    """A filled head, its tip at x, y, pointing along `angle` (radians)."""
    tip = complex(x, y)
    back = tip - cmath.rect(length, angle)
    side = 0.35 * 1j * cmath.rect(length, angle)
    return polygon(SOLID, [(z.real, z.imag) for z in (tip, back + side, back - side)])


def hatching(look: Look, hatch: Hatch, rings: Iterable[Ring]) -> Run:
    """Lines at 45 degrees over the box round some rings; what draws them clips them by the rings.

    Each is x - y = n * step, counted from the origin, so that hatches of any two areas join up.
    """
    points = np.vstack([ring.points(1.0) for ring in rings if ring.segments])
    (x0, y0), (x1, y1) = points.min(axis=0) - 1.0, points.max(axis=0) + 1.0
    step = hatch.apart * math.sqrt(2)
    at = step * np.arange(math.floor((x0 - y1) / step), math.ceil((x1 - y0) / step) + 1)
    ends = np.array([[y0 + at, np.full_like(at, y0)], [y1 + at, np.full_like(at, y1)]])
    return Run(Look(name=look.name, width=hatch.width, ink=hatch.grey), tuple(ends.transpose(2, 0, 1)))
