"""The panel on the shop drawing: its lines and signs at a scale, with everything named that there is room for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString

from cutout.check.boards import glue_lines
from cutout.draw.box import Box
from cutout.draw.labels import Label, Placed, Room, Span
from cutout.draw.lettered import draw_label, lettered
from cutout.draw.paint import Paint
from cutout.draw.signs import WORDS, drill_sign, size, tie
from cutout.finding import Finding
from cutout.geom.curve import FloatArray, Similarity
from cutout.geom.outline import polygons_of
from cutout.saw.model import Step
from cutout.write.drawing import Drawing, segments
from cutout.write.template import lines
from cutout.write.template.annotate import drill_kinds
from cutout.write.template.arrows import off_line
from cutout.write.work import Work

LEAST_HOLE = 1.5
"""A hole's sign is never smaller than this radius (mm)."""
ARROW, HEAD = 8.0, 2.8
"""Length of the arrow a step begins with, and of its head (mm)."""
WEAK = 6
"""Weak places that are marked: the worst ones."""
_WEAK_SPOT = 2.6
_REACH = 30.0
"""Farthest from its place (mm) that a name stands; what finds no room so near is shown in a detail."""


@dataclass(frozen=True, slots=True)
class Start:
    """Where a step begins: the stretch its arrow is drawn along (paper mm)."""

    step: Step
    path: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """The panel as drawn. frame of `drawing`: panel mm to paper mm; scale: paper over panel. placed: names that found
    room; missing: those that did not. limits: the paper it may use."""

    drawing: Drawing
    scale: float
    limits: Box
    starts: tuple[Start, ...]
    runs: tuple[FloatArray, ...]
    placed: tuple[Placed, ...]
    missing: tuple[Label, ...]
    grain: Span | None


def scaled(work: Work, scale: float, corner: tuple[float, float]) -> Drawing:
    """The drawing at a scale, the panel's lower left corner at `corner` (paper mm), seen as the template is."""
    straight = Drawing.of(replace(work, sheet_turn=0.0))
    return Drawing(work, straight.frame.then(Similarity(complex(scale, 0.0), complex(*corner))))


def weak_places(work: Work) -> tuple[Finding, ...]:
    """Narrow wood that is still there after mending, the worst first."""
    found = [f for f in work.findings if f.kind in ("thin web", "short grain") and not f.cleared]
    return tuple(sorted(found, key=lambda f: (f.severity != "stop", (f.size or 0) / (f.limit or 1)))[:WEAK])


def lay_view(
    work: Work,
    steps: tuple[Step, ...],
    scale: float,
    corner: tuple[float, float],
    limits: Box,
    room_for: float,
) -> tuple[View, Room]:
    """The panel at a scale with its lower left at `corner`, names placed within `limits`; and the room that is left.

    room_for: length (mm) of the grain arrow that is tried first.
    """
    drawing = scaled(work, scale, corner)
    starts = tuple(beginnings(drawing, steps))
    runs = tuple(run for leg in drawing.legs for run in off_line(drawing, leg))
    room = Room(_obstacles(drawing, starts), limits)
    placed: tuple[Placed, ...] = ()
    missing: tuple[Label, ...] = ()
    for label in (*_start_labels(starts), *_hole_labels(drawing)):
        shown, left = room.place([label])
        placed, missing = placed + shown, missing + left
    grain = _grain(drawing, room, limits, room_for)
    for label in _other_labels(drawing):
        placed += room.place([label])[0]
    return View(drawing, scale, limits, starts, runs, placed, missing, grain), room


def beginnings(drawing: Drawing, steps: tuple[Step, ...]) -> Iterator[Start]:
    """The first bit of every step that saws."""
    legs = {leg.order: leg for leg in drawing.legs}
    for step in steps:
        first = next(
            (legs[order] for order in step.legs if order in legs and len(legs[order].path) > 1), None
        )
        if first is not None:
            yield Start(step, _beginning(drawing.path(first.path), ARROW))


def _beginning(path: FloatArray, length: float) -> FloatArray:
    """The first part of a path, with its corners."""
    line = LineString(path)
    if line.length <= length:
        return path
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    end = line.interpolate(length)
    return np.vstack([path[along < length], [[end.x, end.y]]])


def _obstacles(drawing: Drawing, starts: tuple[Start, ...]) -> np.ndarray:
    """What no name may cover: cuts, the panel's edge, zones, arrows, holes, weak places."""
    work = drawing.work
    arrows = [LineString(start.path).buffer(0.8) for start in starts]
    discs = [
        shapely.Point(drawing.at(h.at)).buffer(hole_radius(h.diameter, drawing) + 0.5) for h in drawing.holes
    ]
    discs += [shapely.Point(drawing.at(f.at)).buffer(_WEAK_SPOT) for f in weak_places(work)]
    discs += [LineString([drawing.at(b.start), drawing.at(b.end)]).buffer(1.8) for b in work.bridges]
    edges: list[shapely.Geometry] = [drawing.cuts, drawing.board.exterior, *drawing.middles]
    edges += [drawing.geometry(seam) for seam in glue_lines(work.pattern.panel)]
    edges += [shapely.boundary(drawing.geometry(zone.area)) for zone in work.pattern.panel.zones]
    return np.concatenate([segments(edges), np.array([*arrows, *discs], dtype=object)])


def hole_radius(diameter: float, drawing: Drawing) -> float:
    """Radius of a hole's sign (paper mm)."""
    return max(LEAST_HOLE, diameter / 2 * abs(drawing.frame.a))


def _start_labels(starts: tuple[Start, ...]) -> Iterator[Label]:
    for start in starts:
        line = LineString(start.path)
        at = [line.interpolate(share, normalized=True) for share in (0.5, 0.2, 0.8)]
        anchors = tuple((p.x, p.y) for p in at)
        yield lettered(start.step.letter, "disc", anchors, reach=0.9, farthest=_REACH)


def _hole_labels(drawing: Drawing) -> Iterator[Label]:
    for hole in drawing.holes:
        reach = hole_radius(hole.diameter, drawing) + 0.5
        yield lettered(str(hole.id), "plain", (drawing.at(hole.at),), reach=reach, farthest=_REACH)


def _other_labels(drawing: Drawing) -> Iterator[Label]:
    """Weak places, bridges to leave, zones: a help where there is room."""
    work = drawing.work
    if len(work.pattern.openings) > 1:
        for opening in work.pattern.openings:
            largest = shapely.maximum_inscribed_circle(opening.region, tolerance=1.0)
            spot = drawing.at(shapely.get_coordinates(largest)[0].tolist())
            yield lettered(f"opening {opening.id}", "words", (spot,), centred=True, farthest=_REACH)
    for n, finding in enumerate(weak_places(work), start=1):
        yield lettered(f"W{n}", "ringed", (drawing.at(finding.at),), reach=_WEAK_SPOT, farthest=_REACH)
    for bridge in work.bridges:
        middle = drawing.at(shapely.get_coordinates(bridge.area.centroid)[0].tolist())
        yield lettered("leave", "words", (middle,), reach=2.0, farthest=_REACH)
    named: set[str] = set()
    for zone in work.pattern.panel.zones:
        if zone.name not in named and not zone.area.is_empty:
            named.add(zone.name)
            part = max(polygons_of(drawing.geometry(zone.area)), key=lambda p: p.area)
            spots = [shapely.get_coordinates(part.representative_point())[0]]
            spots += list(shapely.get_coordinates(shapely.segmentize(part.exterior, 15.0)))
            anchors = tuple((float(x), float(y)) for x, y in spots)
            yield lettered(f"clear: {zone.name}", "words", anchors, farthest=_REACH)


def _grain(drawing: Drawing, room: Room, limits: Box, longest: float) -> Span | None:
    """Ends of the grain arrow in wood that stays, shorter where it is crowded."""
    grain = drawing.work.pattern.panel.grain
    if grain is None:
        return None
    turn = complex(np.cos(grain), np.sin(grain) * (-1 if drawing.frame.mirror else 1))
    along = drawing.frame.a / abs(drawing.frame.a) * turn
    for length in (longest, longest / 2, longest / 3):
        box = room.free_box(
            (abs(along.real) * length + 4.0, abs(along.imag) * length + 4.0), limits, drawing.wood, 3.0
        )
        if box:
            room.occupy(box)
            middle = complex(box[0] + box[2], box[1] + box[3]) / 2
            ends = middle - along * length / 2, middle + along * length / 2
            return (ends[0].real, ends[0].imag), (ends[1].real, ends[1].imag)
    return None


def draw_view(paint: Paint, view: View) -> None:
    """The panel with everything on it but its dimensions."""
    drawing = view.drawing
    work = drawing.work
    _ground(paint, drawing, view.runs)
    for zone in work.pattern.panel.zones:
        for part in polygons_of(drawing.geometry(zone.area)):
            lines.zone(paint, shapely.boundary(part))
    for seam in glue_lines(work.pattern.panel):
        lines.seam(paint, drawing.geometry(seam))
    paint.pen(0.7)
    paint.polygon(drawing.board.exterior.coords[:-1], stroke=True, fill=False)
    for finding in weak_places(work):
        _weak(paint, *drawing.at(finding.at))
    _ties(paint, drawing)
    kinds = drill_kinds(drawing.holes)
    for hole in drawing.holes:
        drill_sign(
            paint, *drawing.at(hole.at), hole_radius(hole.diameter, drawing), kinds[hole.diameter], 0.6
        )
    for start in view.starts:
        step_arrow(paint, start.path)
    if view.grain:
        lines.grain(paint, *view.grain)
        (x0, y0), (x1, y1) = view.grain
        if abs(x1 - x0) > abs(y1 - y0):
            paint.text((x0 + x1) / 2, y0 + 1.2, "grain", size(WORDS), align="centre")
        else:
            paint.upright(x0 - 1.2, (y0 + y1) / 2, "grain", size(WORDS), align="centre")
    for placed in view.placed:
        draw_label(paint, placed)


def _ground(paint: Paint, drawing: Drawing, runs: tuple[FloatArray, ...]) -> None:
    """Waste tinted, outline, ways across the waste, middle lines a little over the panel's edge."""
    paint.fill(0.87)
    paint.rings(drawing.rings, stroke=False, fill=True)
    paint.pen(0.18, 0.25, (0.9, 0.7))
    for run in runs:
        paint.polyline(run.tolist())
    paint.pen(0.5)
    paint.lines(drawing.cuts)
    for middle in drawing.middles:
        ends = shapely.get_coordinates(middle)
        over = (ends[-1] - ends[0]) / np.hypot(*(ends[-1] - ends[0])) * 3.0
        lines.middle(paint, LineString([ends[0] - over, ends[-1] + over]))


def draw_ground(paint: Paint, drawing: Drawing, runs: tuple[FloatArray, ...]) -> None:
    """What a detail shows of the panel: the same lines without names."""
    _ground(paint, drawing, runs)
    _ties(paint, drawing)


def _ties(paint: Paint, drawing: Drawing) -> None:
    for bridge in drawing.work.bridges:
        tie(paint, drawing.at(bridge.start), drawing.at(bridge.end))


def _weak(paint: Paint, x: float, y: float) -> None:
    """A hatched spot."""
    paint.pen(0.18)
    r = _WEAK_SPOT
    for n in np.arange(-r + 0.6, r, 0.9).tolist():
        half = (r * r - n * n) ** 0.5
        # Lines at 45 degrees: n along one diagonal, half along the other.
        a, b = np.array([n - half, n + half]) / 2**0.5, np.array([n + half, n - half]) / 2**0.5
        paint.line(x + a[0], y + a[1], x + b[0], y + b[1])


def step_arrow(paint: Paint, path: FloatArray) -> None:
    """A heavy line along the first bit of a step, ended by a head."""
    line = LineString(path)
    if line.length < 1e-6:
        return
    neck = line.interpolate(max(line.length - HEAD * 0.8, 0.0))
    tip = line.coords[-1]
    way = complex(tip[0] - neck.x, tip[1] - neck.y)
    paint.pen(0.8)
    kept = _beginning(path, max(line.length - HEAD * 0.8, 0.0))
    if len(kept) > 1:
        paint.polyline(kept.tolist())
    paint.fill(0)
    if abs(way) > 1e-9:
        paint.arrow_head(tip[0], tip[1], float(np.angle(way)), HEAD)
