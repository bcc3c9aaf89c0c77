"""Everything written on the drawing: hole, leg and opening numbers, arrows, register marks, grain."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Polygon

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.crowd import crowds, numbers_in_words
from cutout.draw.labels import Label, Placed, Room, Span, Style
from cutout.draw.paint import PT
from cutout.geom.curve import FloatArray
from cutout.geom.outline import polygons_of
from cutout.saw.model import Leg
from cutout.units import format_length
from cutout.write.drawing import Drawing, segments
from cutout.write.template.register import ARM, Mark, register_marks
from cutout.write.template.tiling import Tiling

TEXT = {"plain": 7.0, "bold": 8.0, "ringed": 6.5}
"""Size in points of each style of label."""

CROSS = 0.8
"""How far the centre cross of a hole reaches over its rim (mm)."""

_ROUND = 3
"""Ringed texts up to this long stand in a circle, longer ones in a ring drawn out to their width."""

_SHAFT = 5.0
_HEAD = 2.0
_BESIDE = 2.2
_ARROW_EVERY = 90.0


@dataclass(frozen=True, slots=True)
class Arrow:
    """Which way to saw: a short shaft ending in a head at `tip` (mm), along `angle` (radians).

    beside: it stands next to the line; otherwise its head lies on the dashed run and needs no shaft."""

    tip: tuple[float, float]
    angle: float
    beside: bool = True


@dataclass(frozen=True, eq=False, slots=True)
class Annotations:
    """What is written on a drawing. left_out: labels that found no room. runs: stretches of legs away
    from the line. stops: short bars where a leg ends on the line. grain: ends of the grain arrow."""

    marks: tuple[Mark, ...]
    placed: tuple[Placed, ...]
    left_out: tuple[Label, ...]
    arrows: tuple[Arrow, ...]
    runs: tuple[FloatArray, ...]
    stops: tuple[Span, ...]
    grain: Span | None


def annotate(drawing: Drawing, tiling: Tiling) -> Annotations:
    """Work out where everything goes; the same drawing gives the same places."""
    fonts.register()
    marks = register_marks(tiling, drawing.carried)
    arrows = _all_arrows(drawing)
    runs = tuple(run for leg in drawing.legs for run in _off_line(drawing, leg))
    stops = tuple(bar for leg in drawing.legs for bar in _stops(drawing, leg))
    limits = _limits(drawing, tiling)
    room = Room(_obstacles(drawing, tiling, runs, limits), limits)
    flat = tuple(arrow for of_leg in arrows.values() for arrow in of_leg)
    for box in (*(_square(m.at, ARM) for m in marks), *map(_arrow_box, flat), *map(_bounds, stops)):
        room.occupy(box)
    labels = [
        *_mark_labels(marks),
        *_hole_labels(drawing),
        *_leg_labels(drawing, arrows),
        *_named_areas(drawing),
    ]
    placed, left_out = room.place(labels)
    return Annotations(marks, placed, left_out, flat, runs, stops, _grain(drawing, room, limits))


def _obstacles(drawing: Drawing, tiling: Tiling, runs: tuple[FloatArray, ...], limits: Box) -> np.ndarray:
    """Every line a label must not touch: cuts, holes, legs off the line, edges of panel, zones and sheets; and
    the paper that is not printed."""
    lines = [drawing.cuts, drawing.board.exterior, *drawing.middles]
    lines += [LineString(run) for run in runs]
    lines += [shapely.boundary(drawing.geometry(zone.area)) for zone in drawing.work.pattern.panel.zones]
    for sheet in tiling.sheets if len(tiling.sheets) > 1 else ():
        a, b, c, d = sheet.window
        inner = tiling.overlap
        lines.append(shapely.box(a, b, c, d).exterior)
        lines.append(shapely.box(a + inner, b + inner, c - inner, d - inner).exterior)
    printed = shapely.union_all([shapely.box(*sheet.window) for sheet in tiling.sheets])
    unprinted = polygons_of(shapely.box(*limits).difference(printed))
    discs = [shapely.Point(drawing.at(h.at)).buffer(h.diameter / 2 + CROSS) for h in drawing.holes]
    return np.concatenate([segments(lines), np.array([*discs, *unprinted], dtype=object)])


def _limits(drawing: Drawing, tiling: Tiling) -> Box:
    """What the sheets show, as far as anything of the panel lies there."""
    windows = np.array([s.window for s in tiling.sheets])
    x0, y0, x1, y1 = drawing.whole
    return (
        max(x0, float(windows[:, 0].min())),
        max(y0, float(windows[:, 1].min())),
        min(x1, float(windows[:, 2].max())),
        min(y1, float(windows[:, 3].max())),
    )


def _label(text: str, style: Style, anchors: tuple[tuple[float, float], ...], **more: object) -> Label:
    """A label sized by its text."""
    points = TEXT[style]
    font = fonts.PLAIN if style == "plain" else fonts.BOLD
    width, height = fonts.text_width(fonts.plain(text), font, points) / PT, 0.75 * points / PT
    if style == "ringed":
        height += 1.5
        width = max(width + 1.5, height)
        if len(text) <= _ROUND:
            width = height = max(width, height)
    return Label(text, style, (width, height), anchors, **more)  # type: ignore[arg-type]


def _mark_labels(marks: tuple[Mark, ...]) -> Iterator[Label]:
    for mark in marks:
        yield _label(mark.name, "plain", (mark.at,), reach=ARM + 0.2, within=mark.shared, farthest=8.0)


def _hole_labels(drawing: Drawing) -> Iterator[Label]:
    units = drawing.work.kit.drills.unit
    for hole in drawing.holes:
        text = f"{hole.id}: {format_length(hole.diameter, units)}"
        yield _label(text, "plain", (drawing.at(hole.at),), reach=hole.diameter / 2 + CROSS)


def _leg_labels(drawing: Drawing, arrows: dict[int, tuple[Arrow, ...]]) -> Iterator[Label]:
    """The order of every leg; a crowd of short ones at one spot has one label for them all, at its first."""
    crowded = {leg.order: crowd for crowd in crowds(drawing.legs) for leg in crowd}
    for leg in drawing.legs:
        crowd = crowded.get(leg.order, (leg,))
        if crowd[0] is not leg:
            continue
        anchors = tuple(_shaft_middle(a) for a in arrows[leg.order])
        if not anchors and len(leg.path):
            x, y = drawing.path(leg.path)[len(leg.path) // 2].tolist()
            anchors = ((x, y),)
        if anchors:
            yield _label(numbers_in_words([each.order for each in crowd]), "ringed", anchors, reach=1.2)


def _named_areas(drawing: Drawing) -> Iterator[Label]:
    """Openings, bridges and the panel's keep-out zones, by name."""
    pattern = drawing.work.pattern
    for opening in pattern.openings:
        yield _label(f"opening {opening.id}", "bold", (_middle(drawing, opening.region),), centred=True)
    for bridge in drawing.work.bridges:
        yield _label(f"bridge {bridge.id}", "plain", (_middle(drawing, bridge.area),), centred=True)
    for zone in pattern.panel.zones:
        for part in polygons_of(zone.area):
            yield _label(f"keep clear: {zone.name}", "plain", (_middle(drawing, part),), centred=True)


def _middle(drawing: Drawing, area: Polygon) -> tuple[float, float]:
    """Middle of the largest disc in an area, on paper."""
    x, y = shapely.get_coordinates(shapely.maximum_inscribed_circle(area, tolerance=1.0))[0].tolist()
    return drawing.at((x, y))


def _all_arrows(drawing: Drawing) -> dict[int, tuple[Arrow, ...]]:
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
        tries = [
            _arrow_at(drawing, line, line.length * (n + share) / count)
            for share in (0.5, 0.35, 0.65, 0.2, 0.8)
        ]
        arrow = next((a for a in tries if not any(_overlap(_arrow_box(a), b) for b in taken)), tries[0])
        taken.append(_arrow_box(arrow))
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


def _off_line(drawing: Drawing, leg: Leg) -> Iterator[FloatArray]:
    """Stretches of a leg that leave the line: lead-ins from holes and cuts across the waste."""
    path = drawing.path(leg.path)
    if len(path) < 2:
        return
    dense = shapely.get_coordinates(shapely.segmentize(LineString(path), 0.5))
    off = drawing.cuts_tree.distances(dense) > drawing.work.pattern.kerf / 2 + 0.25
    edges = np.flatnonzero(np.diff(np.concatenate([[False], off, [False]]).astype(int)))
    for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        if last - first > 2:
            yield shapely.get_coordinates(shapely.simplify(LineString(dense[first:last]), 0.02))


def _stops(drawing: Drawing, leg: Leg) -> Iterator[Span]:
    """A bar across the end of a leg that ends at an earlier cut, so that it can be seen where."""
    path = drawing.path(leg.path)
    if not leg.ends.startswith("leg") or len(path) < 2:
        return
    ahead = next((b - a for a, b in pairwise(path[::-1]) if np.hypot(*(b - a)) > 1e-6), None)
    if ahead is None:
        return
    x, y = path[-1].tolist()
    across = 1.6 * np.array([-ahead[1], ahead[0]]) / np.hypot(*ahead)
    yield (x - across[0], y - across[1]), (x + across[0], y + across[1])


def _grain(drawing: Drawing, room: Room, limits: Box) -> Span | None:
    """Ends of the grain arrow, in the first free spot of the wood that stays, shorter where it is crowded."""
    grain = drawing.work.pattern.panel.grain
    if grain is None:
        return None
    along = drawing.frame.a * complex(math.cos(grain), math.sin(grain) * (-1 if drawing.frame.mirror else 1))
    for length in (40.0, 25.0, 14.0):
        size = (abs(along.real) * length + 5.0, abs(along.imag) * length + 5.0)
        box = room.free_box(size, limits, drawing.wood)
        if box:
            room.occupy(box)
            middle = complex(box[0] + box[2], box[1] + box[3]) / 2
            start, end = middle - along * length / 2, middle + along * length / 2
            return (start.real, start.imag), (end.real, end.imag)
    return None


def _shaft_middle(arrow: Arrow) -> tuple[float, float]:
    (x0, y0), (x1, y1) = arrow_tail(arrow), arrow.tip
    return (x0 + x1) / 2, (y0 + y1) / 2


def arrow_tail(arrow: Arrow) -> tuple[float, float]:
    """Where the shaft begins."""
    length = _SHAFT if arrow.beside else _HEAD
    return arrow.tip[0] - length * math.cos(arrow.angle), arrow.tip[1] - length * math.sin(arrow.angle)


def _arrow_box(arrow: Arrow) -> Box:
    x0, y0, x1, y1 = _bounds((arrow_tail(arrow), arrow.tip))
    return (x0 - 0.8, y0 - 0.8, x1 + 0.8, y1 + 0.8)


def _bounds(span: Span) -> Box:
    (x0, y0), (x1, y1) = span
    return (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


def _square(at: tuple[float, float], half: float) -> Box:
    return (at[0] - half, at[1] - half, at[0] + half, at[1] + half)
