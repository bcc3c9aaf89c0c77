"""The panel on the shop drawing: its lines and signs at a scale, with everything named that there is room for."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np
import shapely
from shapely import LineString

from cutout.check.boards import glue_lines
from cutout.draw import looks
from cutout.draw.box import Box
from cutout.draw.labels import Label, Placed, Room, Span
from cutout.draw.lettered import label_items, lettered
from cutout.draw.scene import Item, Layer, Run, Scene, Words, arrow_head, spans
from cutout.draw.signs import PIN, WORDS
from cutout.finding import Finding
from cutout.geom.curve import FloatArray, Similarity, stations, to_complex
from cutout.geom.outline import polygons_of
from cutout.saw.model import Step
from cutout.write import panel
from cutout.write.drawing import Drawing, segments
from cutout.write.shopdrawing.dimensions import dimensions
from cutout.write.template.arrows import off_line
from cutout.write.template.lines import STITCH_ARM, grain
from cutout.write.work import Work

ARROW, HEAD = 8.0, 2.8
"""Length of the arrow a step begins with, and of its head (mm)."""
WEAK = 6
"""Weak places that are marked: the worst ones."""
_WEAK_SPOT, _WEAK_APART = 2.6, 0.9
"""Radius of the hatched spot of a weak place, and distance of its lines (mm)."""
_OVER = 1.2
"""How far middle lines reach over the panel's edge (mm): not to the numbers of the sizes."""
_REACH = 30.0
"""Farthest from its place (mm) that a name stands; what finds no room so near is shown in a detail."""


_GRAIN_WORD, _GRAIN_LONG = 4.6, 10.0
"""Height and length of the word beside the grain arrow, with the paper round it (mm)."""


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
    runs_along = _grain(drawing, room, limits, room_for)
    for label in _other_labels(drawing):
        placed += room.place([label])[0]
    return View(drawing, scale, limits, starts, runs, placed, missing, runs_along), room


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
    end = line.interpolate(length)
    return np.vstack([path[stations(to_complex(path)) < length], [[end.x, end.y]]])


def _obstacles(drawing: Drawing, starts: tuple[Start, ...]) -> np.ndarray:
    """What no name may cover: cuts, the panel's edge, zones, arrows, holes, weak places."""
    work = drawing.work
    arrows = [LineString(start.path).buffer(0.8) for start in starts]
    discs = [
        shapely.Point(drawing.at(h.at)).buffer(panel.hole_radius(h.diameter, drawing) + 0.5)
        for h in drawing.holes
    ]
    discs += [shapely.Point(drawing.at(pin)).buffer(PIN) for pin in drawing.pins]
    discs += [shapely.buffer(drawing.geometry(seam), STITCH_ARM) for seam in glue_lines(work.pattern.panel)]
    discs += [shapely.Point(drawing.at(f.at)).buffer(_WEAK_SPOT) for f in weak_places(work)]
    discs += [LineString([drawing.at(b.start), drawing.at(b.end)]).buffer(1.8) for b in work.bridges]
    edges: list[shapely.Geometry] = [drawing.cuts, drawing.board.exterior, *drawing.middles]
    edges += [shapely.boundary(drawing.geometry(zone.area)) for zone in work.pattern.panel.zones]
    return np.concatenate([segments(edges), np.array([*arrows, *discs], dtype=object)])


def _start_labels(starts: tuple[Start, ...]) -> Iterator[Label]:
    for start in starts:
        line = LineString(start.path)
        at = [line.interpolate(share, normalized=True) for share in (0.5, 0.2, 0.8)]
        anchors = tuple((p.x, p.y) for p in at)
        yield lettered(start.step.letter, "disc", anchors, reach=0.9, farthest=_REACH)


def _hole_labels(drawing: Drawing) -> Iterator[Label]:
    for hole in drawing.holes:
        reach = panel.hole_radius(hole.diameter, drawing) + 0.5
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
            # A strip round the panel is named from its inner border, so that no leader runs across it.
            rim = part.interiors[0] if len(part.interiors) else part.exterior
            anchors = tuple(map(tuple, shapely.get_coordinates(shapely.segmentize(rim, 15.0)).tolist()))
            yield lettered(f"clear: {zone.name}", "words", anchors, farthest=_REACH)


def _grain(drawing: Drawing, room: Room, limits: Box, longest: float) -> Span | None:
    """Ends of the grain arrow in wood that stays, shorter where it is crowded."""
    angle = drawing.work.pattern.panel.grain
    if angle is None:
        return None
    turn = complex(np.cos(angle), np.sin(angle) * (-1 if drawing.frame.mirror else 1))
    along = drawing.frame.a / abs(drawing.frame.a) * turn
    # Beside an upright arrow, over a level one, there is room for its word.
    upright = abs(along.real) <= abs(along.imag)
    beside = complex(_GRAIN_WORD, 0.0) if upright else complex(0.0, _GRAIN_WORD)
    for length in (longest, longest / 2, longest / 3):
        wide = max(abs(along.real) * length, 0.0 if upright else _GRAIN_LONG)
        tall = max(abs(along.imag) * length, _GRAIN_LONG if upright else 0.0)
        size = (wide + 4.0 + beside.real, tall + 4.0 + beside.imag)
        box = room.free_box(size, limits, drawing.wood, 3.0)
        if box:
            room.occupy(box)
            middle = complex(box[0] + box[2] + beside.real, box[1] + box[3] - beside.imag) / 2
            ends = middle - along * length / 2, middle + along * length / 2
            return (ends[0].real, ends[0].imag), (ends[1].real, ends[1].imag)
    return None


def view_scene(view: View) -> Scene:
    """The panel with everything on it."""
    drawing = view.drawing
    layers = (
        *ground(drawing, view.runs),
        Layer("zones", (*panel.zones(drawing), *panel.seams(drawing))),
        Layer("edge", (panel.edge(drawing),)),
        Layer("weak", tuple(_weak(*drawing.at(f.at)) for f in weak_places(drawing.work))),
        Layer("bridges", tuple(panel.bridges(drawing))),
        Layer("holes", (*panel.holes(drawing), *panel.pins(drawing))),
        Layer("starts", tuple(chain.from_iterable(step_arrow(start.path) for start in view.starts))),
        Layer("grain", _grain_items(view.grain) if view.grain else ()),
        Layer("names", tuple(chain.from_iterable(map(label_items, view.placed)))),
        Layer("sizes", tuple(dimensions(drawing))),
    )
    return Scene(view.limits, layers)


def ground(drawing: Drawing, runs: tuple[FloatArray, ...]) -> tuple[Layer, Layer]:
    """Waste, ways across it, outline; middle lines a little over the panel's edge."""
    ways = Run(looks.LEG_SMALL, runs)
    outline = panel.cuts(drawing, looks.CUT_SMALL)
    return (
        Layer("waste", (panel.waste(drawing, looks.WASTE_SMALL), ways, outline)),
        Layer("middles", tuple(panel.middles(drawing, _OVER))),
    )


def _grain_items(ends: Span) -> tuple[Item, ...]:
    (x0, y0), (x1, y1) = ends
    upright = abs(x1 - x0) <= abs(y1 - y0)
    at = (min(x0, x1) - 1.2, (y0 + y1) / 2) if upright else ((x0 + x1) / 2, max(y0, y1) + 1.2)
    return (*grain(*ends), Words("grain", at, WORDS, align="centre", upright=upright))


def _weak(x: float, y: float) -> Item:
    """A spot hatched, the other way than the waste."""
    r, turn = _WEAK_SPOT, cmath.rect(1.0, -math.pi / 4)
    halves = ((n, (r * r - n * n) ** 0.5) for n in np.arange(0.6 - r, r, _WEAK_APART).tolist())
    ends = ([complex(x, y) + turn * complex(s * half, n) for s in (-1, 1)] for n, half in halves)
    return spans(looks.WEAK, ([(z.real, z.imag) for z in pair] for pair in ends))


def step_arrow(path: FloatArray) -> tuple[Item, ...]:
    """A heavy line along the first bit of a step, ended by a head."""
    line = LineString(path)
    if line.length < 1e-6:
        return ()
    kept = _beginning(path, max(line.length - HEAD * 0.8, 0.0))
    way = path[-1] - kept[-1]
    head = (arrow_head(path[-1, 0], path[-1, 1], math.atan2(way[1], way[0]), HEAD),) if way.any() else ()
    return ((Run(looks.START, (kept,)),) if len(kept) > 1 else ()) + head
