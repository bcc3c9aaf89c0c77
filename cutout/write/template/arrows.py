"""Which way to saw: arrows beside the line, runs across the waste, bars where a run ends in an earlier cut."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from cutout.draw.box import Box
from cutout.draw.crowd import crowds
from cutout.draw.labels import Span
from cutout.geom.curve import FloatArray
from cutout.saw.model import Leg
from cutout.write.drawing import Drawing

_SHAFT = 5.0
"""Length of an arrow beside the line (mm)."""
_HEAD = 2.0
"""Length of its head (mm)."""
_BESIDE = 2.2
"""How far beside the line it stands (mm): clear of a heavy line, still plainly its own."""
_ARROW_EVERY = 90.0
"""A long leg has one arrow for so much of its length (mm): one on most of its sheets."""


@dataclass(frozen=True, slots=True)
class Arrow:
    """Which way to saw: a short shaft ending in a head at `tip` (mm), along `angle` (radians).

    beside: it stands next to the line; otherwise its head lies on the dashed run and needs no shaft."""

    tip: tuple[float, float]
    angle: float
    beside: bool = True


def all_arrows(drawing: Drawing) -> dict[int, tuple[Arrow, ...]]:
    """Arrows of every leg by its order; of a crowd of short ones only the first has any."""
    taken: list[Box] = []
    later = {leg.order for crowd in crowds(drawing.legs) for leg in crowd[1:]}
    return {
        leg.order: () if leg.order in later else tuple(_arrows(drawing, leg, taken)) for leg in drawing.legs
    }


def _arrows(drawing: Drawing, leg: Leg, taken: list[Box]) -> Iterator[Arrow]:
    """Arrows along a leg, beside the line on the waste's side where there is room.

    Each keeps off the boxes `taken` by earlier ones if it can, and adds its own: order matters.
    """
    path = drawing.path(leg.path)
    if len(path) < 2:
        return
    line = LineString(path)
    count = max(1, round(line.length / _ARROW_EVERY))
    for n in range(count):
        first: Arrow | None = None
        for share in (0.5, 0.35, 0.65, 0.2, 0.8):
            arrow = _arrow_at(drawing, line, line.length * (n + share) / count)
            first = first or arrow
            if not any(_overlap(arrow_box(arrow), b) for b in taken):
                break
        else:
            assert first is not None
            arrow = first
        taken.append(arrow_box(arrow))
        yield arrow


def _arrow_at(drawing: Drawing, line: LineString, at: float) -> Arrow:
    before, after = (line.interpolate(max(0.0, min(at + d, line.length))) for d in (-1.0, 1.0))
    heading = math.atan2(after.y - before.y, after.x - before.x)
    spot = line.interpolate(at)
    middle = _beside(drawing, spot, heading)
    half = min(_SHAFT, line.length / 2) / 2
    tip = (middle.real + half * math.cos(heading), middle.imag + half * math.sin(heading))
    aside = abs(middle - complex(spot.x, spot.y)) > 0.1
    return Arrow(tip, heading, aside) if aside else Arrow((after.x, after.y), heading, aside)


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _beside(drawing: Drawing, on_path: shapely.Point, heading: float) -> complex:
    """A point a little off the line, away from the wood that stays; the path itself where it runs free."""
    here = complex(on_path.x, on_path.y)
    if drawing.cuts_tree.distance(here) > _BESIDE:
        return here
    foot = drawing.cuts_tree.nearest(here)
    away = here - foot
    if abs(away) < 0.02:  # the path is the line: either side will do, take the left
        away = 1j * complex(math.cos(heading), math.sin(heading))
    spot = foot + away / abs(away) * _BESIDE
    return spot if drawing.cuts_tree.distance(spot) > _BESIDE * 0.6 else here


def off_line(drawing: Drawing, leg: Leg) -> Iterator[FloatArray]:
    """Stretches of a leg that leave the line: lead-ins from holes and cuts across the waste."""
    path = drawing.path(leg.path)
    if len(path) < 2:
        return
    dense = shapely.get_coordinates(shapely.segmentize(LineString(path), 0.5))
    off = ~drawing.cuts_tree.within(dense, drawing.work.pattern.kerf / 2 + 0.25)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], off, [False]]).astype(int)))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if last - first > 2:
            yield shapely.get_coordinates(shapely.simplify(LineString(dense[first:last]), 0.02))


def stops_of(drawing: Drawing, leg: Leg) -> Iterator[Span]:
    """A bar across the end of a leg that ends at an earlier cut, so that it can be seen where."""
    path = drawing.path(leg.path)
    if leg.ends.kind != "leg" or len(path) < 2:
        return
    ahead = next((b - a for a, b in pairwise(path[::-1]) if np.hypot(*(b - a)) > 1e-6), None)
    if ahead is None:
        return
    x, y = path[-1].tolist()
    across = 1.6 * np.array([-ahead[1], ahead[0]]) / np.hypot(*ahead)
    yield (x - across[0], y - across[1]), (x + across[0], y + across[1])


def shaft_middle(arrow: Arrow) -> tuple[float, float]:
    """The middle of an arrow, where its number may stand."""
    (x0, y0), (x1, y1) = arrow_tail(arrow), arrow.tip
    return (x0 + x1) / 2, (y0 + y1) / 2


def arrow_tail(arrow: Arrow) -> tuple[float, float]:
    """Where the shaft begins."""
    length = _SHAFT if arrow.beside else _HEAD
    return arrow.tip[0] - length * math.cos(arrow.angle), arrow.tip[1] - length * math.sin(arrow.angle)


def arrow_box(arrow: Arrow) -> Box:
    """What an arrow covers."""
    x0, y0, x1, y1 = bounds_of((arrow_tail(arrow), arrow.tip))
    return (x0 - 0.8, y0 - 0.8, x1 + 0.8, y1 + 0.8)


def bounds_of(span: Span) -> Box:
    """The box round a span."""
    (x0, y0), (x1, y1) = span
    return (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
