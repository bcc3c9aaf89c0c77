"""Everything written on the drawing: numbers of holes, letters of steps, words along lines, register marks, grain."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import shapely
from shapely import LineString, Polygon

from cutout.check.boards import glue_lines
from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.crowd import crowds, numbers_in_words
from cutout.draw.labels import Label, Placed, Room, Span, Style
from cutout.draw.lettered import lettered
from cutout.draw.signs import DRILLS, PIN
from cutout.geom.curve import FloatArray
from cutout.geom.outline import polygons_of
from cutout.saw.model import Hole, Leg, Step
from cutout.units import format_length
from cutout.write.drawing import Drawing, segments
from cutout.write.steps import by_leg
from cutout.write.template.arrows import (
    Arrow,
    all_arrows,
    arrow_box,
    bounds_of,
    off_line,
    shaft_middle,
    stops_of,
)
from cutout.write.template.lines import CENTRE_ARM, STITCH_ARM
from cutout.write.template.register import ARM, Mark, register_marks
from cutout.write.template.tiling import Sheet, Tiling

HOLE_ARM = 0.8
"""How far the centre cross of a hole reaches over its rim (mm)."""

_SHOWN = 12.0
"""A leg is named on every sheet that shows at least this much of it (mm)."""

_ROUNDS = 3
"""How often the labels are placed anew while one finds no room."""

_WORDS_EVERY = 20.0
"""How far apart (mm) the places are where a line's words may begin."""


@dataclass(frozen=True, eq=False, slots=True)
class Annotations:
    """What is written on a drawing. left_out: labels that found no room. runs: stretches of legs away
    from the line. stops: short bars where a leg ends on the line. grain: ends of the grain arrow.
    drills: the sign of each size of drill, by diameter."""

    marks: tuple[Mark, ...]
    placed: tuple[Placed, ...]
    left_out: tuple[Label, ...]
    arrows: tuple[Arrow, ...]
    runs: tuple[FloatArray, ...]
    stops: tuple[Span, ...]
    grain: Span | None
    drills: dict[float, int]

    def on(self, sheet: Sheet) -> tuple[Placed, ...]:
        """The labels a sheet shows whole."""
        return tuple(placed for placed in self.placed if _within(placed.box, sheet.window))


def annotate(drawing: Drawing, tiling: Tiling) -> Annotations:
    """Work out where everything goes; the same drawing gives the same places."""
    fonts.register()
    arrows = all_arrows(drawing)
    runs = tuple(run for leg in drawing.legs for run in off_line(drawing, leg))
    marks = register_marks(tiling, drawing.carried)
    stops = tuple(bar for leg in drawing.legs for bar in stops_of(drawing, leg))
    limits = _limits(tiling)
    room = Room(_obstacles(drawing, tiling, runs, limits), limits)
    flat = tuple(arrow for of_leg in arrows.values() for arrow in of_leg)
    for box in (*(_square(m.at, ARM) for m in marks), *map(arrow_box, flat), *map(bounds_of, stops)):
        room.occupy(box)
    drills = drill_kinds(drawing.holes)
    placed, left_out = room.place(list(_mark_labels(marks)))
    wanted = [
        *_hole_labels(drawing, drills),
        *_named_areas(drawing),
        *_leg_labels(drawing, arrows, drawing.work.plan.steps),
    ]
    room, names, nowhere = named(room, wanted, tiling)
    placed, left_out = placed + names, left_out + nowhere
    grain = _grain(drawing, room, limits)
    for label in _line_words(drawing):
        # Words along a line are a help: where there is no room the line stands for itself.
        placed += _on_sheets(room, label, tiling)[0]
    return Annotations(marks, placed, left_out, flat, runs, stops, grain, drills)


def named(
    room: Room, wanted: Sequence[Label], tiling: Tiling
) -> tuple[Room, tuple[Placed, ...], tuple[Label, ...]]:
    """All labels placed one after the other; those that find no room are given the first choice in a further round,
    as others find room farther off. The round that leaves out the fewest; the room as it is then."""
    order = list(range(len(wanted)))
    best: tuple[Room, tuple[Placed, ...], tuple[Label, ...]] | None = None
    for _ in range(_ROUNDS):
        trial = room.copy()
        found = [_on_sheets(trial, wanted[n], tiling) for n in order]
        missing = tuple(chain.from_iterable(left for _, left in found))
        if best is None or len(missing) < len(best[2]):
            best = trial, tuple(chain.from_iterable(shown for shown, _ in found)), missing
        failed = [n for n, (_, left) in zip(order, found, strict=True) if left]
        if not failed or room.spent:
            break
        order = [*failed, *(n for n in order if n not in failed)]
    assert best is not None
    return best


def _on_sheets(room: Room, label: Label, tiling: Tiling) -> tuple[tuple[Placed, ...], tuple[Label, ...]]:
    """A label placed on every sheet that shows one of its anchors, unless an earlier place already stands there."""
    done: tuple[Placed, ...] = ()
    missing: tuple[Label, ...] = ()
    for sheet in tiling.sheets:
        x0, y0, x1, y1 = sheet.window
        there = tuple(a for a in label.anchors if x0 < a[0] < x1 and y0 < a[1] < y1)
        if not there or any(_within(p.box, sheet.window) for p in done):
            continue
        own = Label(
            label.text,
            label.style,
            label.size,
            there,
            label.reach,
            label.centred,
            sheet.window,
            label.farthest,
        )
        shown, left = room.place([own])
        done, missing = done + shown, missing + left
    # What lies in the strip that two sheets share is named if it is on one of them.
    named = {anchor for placed in done for anchor in placed.label.anchors}
    return done, tuple(label for label in missing if named.isdisjoint(label.anchors))


def _within(box: Box, window: Box) -> bool:
    return box[0] >= window[0] and box[1] >= window[1] and box[2] <= window[2] and box[3] <= window[3]


def _obstacles(drawing: Drawing, tiling: Tiling, runs: tuple[FloatArray, ...], limits: Box) -> np.ndarray:
    """Every line a label must not touch: cuts, holes, legs off the line, edges of panel, zones and sheets; and
    the paper that is not printed."""
    panel = drawing.work.pattern.panel
    lines = [drawing.cuts, drawing.board.exterior, *drawing.middles]
    lines += [LineString(run) for run in runs]
    lines += [shapely.boundary(drawing.geometry(zone.area)) for zone in panel.zones]
    lines += [drawing.edge_of(zone) for zone in drawing.more]
    for sheet in tiling.sheets if len(tiling.sheets) > 1 else ():
        a, b, c, d = sheet.window
        inner = tiling.overlap
        lines.append(shapely.box(a, b, c, d).exterior)
        lines.append(shapely.box(a + inner, b + inner, c - inner, d - inner).exterior)
    printed = shapely.union_all([shapely.box(*sheet.window) for sheet in tiling.sheets])
    unprinted = polygons_of(shapely.box(*limits).difference(printed))
    discs = [shapely.Point(drawing.at(h.at)).buffer(h.diameter / 2 + HOLE_ARM) for h in drawing.holes]
    discs += [shapely.Point(drawing.at(pin)).buffer(PIN) for pin in drawing.pins]
    discs += [shapely.buffer(drawing.geometry(seam), STITCH_ARM) for seam in glue_lines(panel)]
    discs += [shapely.Point(drawing.at(at)).buffer(CENTRE_ARM) for at in drawing.centres]
    return np.concatenate([segments(lines), np.array([*discs, *unprinted], dtype=object)])


def _limits(tiling: Tiling) -> Box:
    """What the sheets show."""
    windows = np.array([s.window for s in tiling.sheets])
    x0, y0 = windows[:, :2].min(axis=0).tolist()
    x1, y1 = windows[:, 2:].max(axis=0).tolist()
    return (x0, y0, x1, y1)


def drill_kinds(holes: tuple[Hole, ...]) -> dict[float, int]:
    """The sign (0, 1, ...) of each size of drill, the smallest first; the last is shared where sizes are many."""
    return {diameter: min(n, DRILLS - 1) for n, diameter in enumerate(sorted({h.diameter for h in holes}))}


def _mark_labels(marks: tuple[Mark, ...]) -> Iterator[Label]:
    for mark in marks:
        yield lettered(mark.name, "words", (mark.at,), reach=ARM + 0.2, within=mark.shared, farthest=8.0)


def _hole_labels(drawing: Drawing, drills: dict[float, int]) -> Iterator[Label]:
    """The number of every hole; where the signs run out, the drill's size beside it."""
    units = drawing.work.kit.drills.unit
    for hole in drawing.holes:
        more = f": {format_length(hole.diameter, units)}" if drills[hole.diameter] >= DRILLS - 1 else ""
        yield lettered(
            f"{hole.id}{more}", "plain", (drawing.at(hole.at),), reach=hole.diameter / 2 + HOLE_ARM
        )


def _leg_labels(
    drawing: Drawing, arrows: dict[int, tuple[Arrow, ...]], steps: tuple[Step, ...]
) -> Iterator[Label]:
    """The letter of every step at its first leg, letter and number at its others; short ones crowded at one spot
    have one label for them all, at the first of them. On every sheet a leg runs over there is an anchor."""
    step_of = by_leg(steps)
    crowded = {leg.order: crowd for crowd in crowds(drawing.legs) for leg in crowd}
    named: set[int] = set()
    for leg in drawing.legs:
        if leg.order in named or leg.order not in step_of or not len(leg.path):
            continue
        step = step_of[leg.order]
        anchors = _anchors(drawing, leg, arrows.get(leg.order, ()))
        if leg.order == step.legs[0]:
            yield lettered(step.letter, "disc", anchors, reach=1.2)
            continue
        crowd = {each.order for each in crowded.get(leg.order, (leg,)) if step_of.get(each.order) is step}
        together = _run_from(leg.order, crowd)
        named |= set(together)
        yield lettered(f"{step.letter}{numbers_in_words(together)}", "bold", anchors, reach=1.2)


def _run_from(first: int, numbers: set[int]) -> list[int]:
    """The numbers that follow one another from the first on."""
    return [n for n in range(first, first + len(numbers)) if all(m in numbers for m in range(first, n + 1))]


def _anchors(drawing: Drawing, leg: Leg, arrows: tuple[Arrow, ...]) -> tuple[tuple[float, float], ...]:
    """Where a leg may be named: beside its arrows, else along its path."""
    path = drawing.path(leg.path)
    spots = tuple(shaft_middle(arrow) for arrow in arrows)
    if len(path) < 2:
        return ((float(path[0, 0]), float(path[0, 1])),)
    line = LineString(path)
    along = shapely.line_interpolate_point(line, np.arange(_SHOWN / 2, max(line.length, _SHOWN), _SHOWN))
    return (*spots, *((float(p.x), float(p.y)) for p in along))


def _named_areas(drawing: Drawing) -> Iterator[Label]:
    """Bridges and the panel's keep-out zones by name; openings where no step speaks of them."""
    pattern = drawing.work.pattern
    if not drawing.legs:
        for opening in pattern.openings:
            yield lettered(f"opening {opening.id}", "bold", (_middle(drawing, opening.region),), centred=True)
    for bridge in drawing.work.bridges:
        yield lettered(f"bridge {bridge.id}", "words", (_middle(drawing, bridge.area),), centred=True)
    yield from _named_here(drawing)
    for zone in pattern.panel.zones:
        for part in polygons_of(zone.area):
            middle, reach = _disc(drawing, part)
            yield lettered(f"keep clear: {zone.name}", "words", (middle,), reach=reach, centred=True)


def _named_here(drawing: Drawing) -> Iterator[Label]:
    """What belongs on this face by name: in its middle or from its rim; along it where openings lie in it."""
    for zone in drawing.more:
        for part in polygons_of(zone.area):
            if shapely.contains_properly(part, drawing.work.pattern.waste):
                rim = drawing.path(shapely.get_coordinates(shapely.segmentize(part.exterior, _WORDS_EVERY)))
                yield lettered(zone.name, "words", tuple(map(tuple, rim.tolist())), reach=0.3, farthest=3.0)
                continue
            middle, reach = _disc(drawing, part)
            yield lettered(zone.name, "words", (middle,), reach=reach, centred=True)


def _line_words(drawing: Drawing) -> Iterator[Label]:
    """Words along the panel's edge, its middle lines and its glue lines, all straight."""
    edge = shapely.get_coordinates(drawing.board.exterior)
    seams = [drawing.geometry(seam) for seam in glue_lines(drawing.work.pattern.panel)]
    kinds = (
        ("edge of the panel", [edge[n : n + 2] for n in range(len(edge) - 1)]),
        ("middle of the panel", list(map(shapely.get_coordinates, drawing.middles))),
        ("glue line", list(map(shapely.get_coordinates, seams))),
    )
    for words, spans in kinds:
        for span in spans:
            way = span[-1] - span[0]
            length = float(np.hypot(*way))
            shares = np.arange(20.0, length, _WORDS_EVERY) / max(length, 1e-9)
            anchors = tuple(map(tuple, (span[0] + shares[:, None] * way).tolist()))
            style: Style = "upright" if abs(way[1]) > 3 * abs(way[0]) else "words"
            if anchors:
                yield lettered(words, style, anchors, reach=0.3, farthest=1.5)


def _middle(drawing: Drawing, area: Polygon) -> tuple[float, float]:
    """Middle of the largest disc in an area, on paper."""
    return _disc(drawing, area)[0]


def _disc(drawing: Drawing, area: Polygon) -> tuple[tuple[float, float], float]:
    """Middle of the largest disc in an area, on paper, and its radius (mm)."""
    spoke = shapely.maximum_inscribed_circle(area, tolerance=0.2)
    x, y = shapely.get_coordinates(spoke)[0].tolist()
    return drawing.at((x, y)), spoke.length


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


def _square(at: tuple[float, float], half: float) -> Box:
    return (at[0] - half, at[1] - half, at[0] + half, at[1] + half)
