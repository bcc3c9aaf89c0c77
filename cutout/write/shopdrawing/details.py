"""Crowded spots, drawn at true size or larger in rings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.draw.fonts import PT
from cutout.draw.labels import Label, Room
from cutout.draw.lettered import label_items, lettered
from cutout.draw.looks import BOX, CENTRE, RIM
from cutout.draw.paint import Paint
from cutout.draw.scene import Disc, Words, ring
from cutout.draw.signs import NUMBER
from cutout.geom.curve import FloatArray, Similarity
from cutout.saw.model import Step
from cutout.write import panel
from cutout.write.drawing import Drawing, segments
from cutout.write.shopdrawing.view import View, beginnings, ground, step_arrow, weak_places
from cutout.write.template.annotate import HOLE_ARM
from cutout.write.template.arrows import off_line
from cutout.write.work import Work

NAMES = ("X", "Y", "Z", "XX", "YY", "ZZ")
"""Names of details: letters the steps seldom reach, and not theirs when they do."""
CAPTION = 6.5
"""Height kept under a ring for its name and scale (mm)."""
_CROWDED = 7.0
"""Holes, starts, weak places and bridges closer than this on the panel's view (mm) crowd one another."""
_OWN = 6.0
"""A name that found no room belongs to the spot this near to its place (mm)."""
_ONE = 2.5
"""A hole and a start nearer than this (mm) stand for one place."""
_TOUCHING = 4.0
"""Signs nearer than this (mm) cover one another: such a spot is shown in a ring before others."""


@dataclass(frozen=True, slots=True)
class Detail:
    """A ring of a diameter (mm) at a scale. at: its middle on the panel as the face shows it (mm); seen: on the view
    (paper mm). needed: it shows a name that found no room in the view."""

    name: str
    at: tuple[float, float]
    seen: tuple[float, float]
    scale: float
    diameter: float
    needed: bool

    @property
    def slot(self) -> tuple[float, float]:
        """Width and height of the paper it takes."""
        return self.diameter + 2.0, self.diameter + CAPTION + 1.0


def details_of(work: Work, view: View, diameter: float) -> tuple[Detail, ...]:
    """Where rings are wanted, what found no room in the view first."""
    drawing = view.drawing
    # Whatever carries a sign may crowd what stands beside it.
    places = [h.at for h in work.plan.holes] + [f.at for f in weak_places(work)]
    places += [((b.start[0] + b.end[0]) / 2, (b.start[1] + b.end[1]) / 2) for b in work.bridges]
    seen = np.array([drawing.at(at) for at in places]).reshape(-1, 2)
    starts = np.array([start.path[0] for start in view.starts]).reshape(-1, 2)
    spots = np.vstack([seen, starts])
    if not len(spots):
        return ()
    missing = np.array([label.anchors[0] for label in view.missing]).reshape(-1, 2)
    needed = np.array([bool(len(missing)) and np.hypot(*(missing - spot).T).min() < _OWN for spot in spots])
    gaps = np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1))
    # A step begins at its hole: those two signs at one place are no crowd.
    begins = np.arange(len(spots)) >= len(seen)
    gaps[(gaps < _ONE) & (begins[:, None] != begins[None])] = np.inf
    np.fill_diagonal(gaps, np.inf)
    touching = gaps.min(axis=1) < _TOUCHING
    crowded = (gaps.min(axis=1) < _CROWDED) | needed
    scale = 1.0 if view.scale <= 0.6 else 2.0
    reach = 0.36 * diameter / scale * view.scale
    found: list[Detail] = []
    left = crowded.copy()
    while left.any():
        near = (np.hypot(*(spots[:, None] - spots[None]).transpose(2, 0, 1)) < reach) & left[None, :]
        worth = near.sum(axis=1) + 10 * (near & touching).sum(axis=1) + 100 * (near & needed).sum(axis=1)
        best = int(np.argmax(np.where(left, worth, -1)))
        group = near[best]
        must = bool((group & needed).any())
        if not must and group.sum() < 2:
            break
        middle = (spots[group].min(axis=0) + spots[group].max(axis=0)) / 2
        face = (middle - np.array(drawing.panel[:2])) / view.scale
        number = len(found)
        name = NAMES[number] if number < len(NAMES) else f"{NAMES[number % 3]}{number}"
        found.append(Detail(name, tuple(face.tolist()), tuple(middle.tolist()), scale, diameter, must))
        left &= ~group
    return tuple(found)


def draw_detail(
    paint: Paint, work: Work, steps: Sequence[Step], detail: Detail, corner: tuple[float, float]
) -> int:
    """The ring with its lower left slot corner at `corner`; returns how many names found no room in it."""
    with paint.figure(f"Detail {detail.name} at {detail.scale:g} : 1."):
        return _ring_lines(paint, work, steps, detail, corner)


def _ring_lines(
    paint: Paint, work: Work, steps: Sequence[Step], detail: Detail, corner: tuple[float, float]
) -> int:
    radius = detail.diameter / 2
    cx, cy = corner[0] + radius + 1.0, corner[1] + CAPTION + radius
    straight = Drawing.of(replace(work, sheet_turn=0.0))
    shift = complex(cx, cy) - detail.scale * complex(*detail.at)
    drawing = Drawing(work, straight.frame.then(Similarity(complex(detail.scale, 0.0), shift)))
    canvas = paint.canvas
    canvas.saveState()
    path = canvas.beginPath()
    path.circle(cx * PT, cy * PT, radius * PT)
    canvas.clipPath(path, stroke=0, fill=0)
    runs = tuple(run for leg in drawing.legs for run in off_line(drawing, leg))
    arrows = _arrows(drawing, steps)
    paint.draw(*(layer.items for layer in ground(drawing, runs)), panel.bridges(drawing))
    paint.draw(*(step_arrow(arrow) for _, arrow in arrows), panel.holes(drawing, 0.0, HOLE_ARM))
    canvas.restoreState()
    paint.draw([Disc(RIM, (cx, cy), radius)])
    box: Box = (cx - radius, cy - radius, cx + radius, cy + radius)
    shown = shapely.Point(cx, cy).buffer(radius - 0.4)
    outside = shapely.box(*box).difference(shown)
    near = shapely.box(*box)
    cuts = segments(shapely.intersection(drawing.cuts, near))
    discs = [
        shapely.Point(drawing.at(h.at)).buffer(h.diameter / 2 * detail.scale + 0.8) for h in drawing.holes
    ]
    shafts = [shapely.LineString(arrow).buffer(0.8) for _, arrow in arrows]
    solid = np.array([*shapely.get_parts(outside), *discs, *shafts], dtype=object)
    room = Room(np.concatenate([cuts, solid]), box)
    missing = 0
    inside = shown.buffer(-1.0)
    for hole in drawing.holes:
        at = drawing.at(hole.at)
        if shapely.contains(inside, shapely.Point(at)):
            reach = hole.diameter / 2 * detail.scale + 0.8
            missing += _name(paint, room, lettered(str(hole.id), "plain", (at,), reach=reach, farthest=30.0))
    for step, arrow in arrows:
        if shapely.contains(inside, shapely.Point(arrow[0])):
            anchors = tuple(map(tuple, arrow[:1].tolist()))
            missing += _name(paint, room, lettered(step.letter, "disc", anchors, reach=1.0, farthest=30.0))
    x, low = corner[0], corner[1] + 0.8
    paint.draw(
        [
            ring(BOX, (x + 1.0, low - 1.0, x + 6.4, low + 4.4)),
            Words(detail.name[:2], (x + 3.7, low), NUMBER, bold=True, align="centre"),
            Words(f"{detail.scale:g} : 1", (x + 8.5, low), NUMBER),
        ]
    )
    return missing


def _name(paint: Paint, room: Room, label: Label) -> int:
    shown, left = room.place([label])
    paint.draw(*map(label_items, shown))
    return len(left)


def _arrows(drawing: Drawing, steps: Sequence[Step]) -> list[tuple[Step, FloatArray]]:
    """The beginning of every step at the detail's scale."""
    return [(start.step, start.path) for start in beginnings(drawing, tuple(steps))]


def draw_balloon(paint: Paint, room: Room, view: View, detail: Detail) -> None:
    """Where a detail is taken from: a thin ring on the view and its name beside it."""
    radius = detail.diameter / 2 / detail.scale * view.scale
    paint.draw([Disc(CENTRE, detail.seen, radius)])
    label = lettered(detail.name, "balloon", (detail.seen,), reach=radius, farthest=30.0)
    _name(paint, room, label)
