"""Places for labels where they cover neither lines nor each other, with leader lines where they stand off."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, STRtree

from cutout.draw.box import Box
from cutout.draw.ink import Ink
from cutout.geom.curve import FloatArray

Style: TypeAlias = Literal["plain", "bold", "ringed", "disc", "balloon", "words", "upright", "must", "care"]
"""ringed: in a box; disc: white in black; balloon: in a circle; words, upright: of a lower height, upright ones read
from below up; must, care: the number of a finding, in an octagon where it must be settled, else beside a triangle."""

Span: TypeAlias = tuple[tuple[float, float], tuple[float, float]]
"""Two ends of a straight line (mm)."""

GAP = 0.5
"""Clear paper kept round every label (mm)."""

# From what a label names to it (mm), each a step further than the last. Taste.
_DISTANCES = (0.6, 1.5, 3.0, 5.0, 7.5, 10.0, 13.0, 17.0, 22.0, 28.0, 36.0, 46.0, 60.0)
_DIRECTIONS = np.exp(
    1j * np.radians([0, 180, 45, 315, 135, 225, 90, 270, 22, 338, 158, 202, 67, 113, 247, 293])
)
_MORE_DISTANCES = (*np.arange(1.0, 30.0, 1.5).tolist(), *np.arange(30.0, 95.0, 4.0).tolist())
_MORE_DIRECTIONS = np.exp(1j * np.radians(np.arange(0, 360, 7.5)))
"""Where else a label is looked for when it found no place: finer and farther."""
_FAR = 60.0
"""Labels that may stand this far off (mm) may stand anywhere, rather than nowhere."""
_KNEES = (3.0, 6.0, 10.0, 15.0, 22.0, 30.0)
"""How far from what it names a leader may bend (mm), where no straight one finds a way."""
_BENT_FROM, _BENT_TO, _GRID = 6, 60, 4.0
"""Anchors and free spots, the nearest, that such a leader is tried between; distance of these spots (mm)."""
_AT_ONCE = 500
"""Boxes that are tried at once, nearest first, where any free one will do."""
EFFORT = 2_000_000
"""So many boxes are looked at in one drawing before labels are looked for near what they name only: some seconds.
Usual drawings take 15,000; one of 200 cuts side by side takes two million, and one of 300 would take ten."""
_DEARER = 10
"""A way with a bend takes so many times as long to look at as a box."""
_WORTH_A_GRID = 20_000
"""So many boxes are looked at before lines are laid out on a grid."""
_NO_LEADER = 2.0
"""A label this close to what it names (mm) needs no leader line."""


@dataclass(frozen=True, slots=True)
class Label:
    """Something to write beside one of `anchors` (mm, in order of preference).

    size: width and height of the text (mm). reach: radius round the anchor that stays clear (a hole's own
    radius). centred: try right on the anchor first. within: box the label may not leave.
    farthest: greatest distance (mm) from the anchor.
    """

    text: str
    style: Style
    size: tuple[float, float]
    anchors: tuple[tuple[float, float], ...]
    reach: float = 0.0
    centred: bool = False
    within: Box | None = None
    farthest: float = 60.0


@dataclass(frozen=True, slots=True)
class Placed:
    """A label with its box (mm) and its leader line from the anchor to the box, if any; one may have a bend."""

    label: Label
    box: Box
    leader: tuple[tuple[float, float], ...] | None


@dataclass(frozen=True, eq=False, slots=True)
class _Taken:
    """Labels and signs as boxes (m, 4) and as shapes, which of them are signs, and leaders; count: of both."""

    count: tuple[int, int]
    boxes: FloatArray
    shapes: NDArray[np.object_]
    signs: NDArray[np.int_]
    leaders: STRtree


@dataclass(frozen=True, eq=False, slots=True)
class _Spots:
    """Boxes (n, 4) a label may take, in order of preference; of which anchor; how far off that (mm)."""

    boxes: FloatArray
    owners: NDArray[np.int_]
    off: FloatArray


@dataclass(slots=True)
class _Looked:
    """How many boxes were looked at in a room and its copies, and its lines on a grid, which they share."""

    count: int = 0
    ink: Ink | None = None


class Room:
    """The free paper of a drawing: knows its lines, and what has been placed so far."""

    def __init__(self, lines: NDArray[np.object_], limits: Box) -> None:
        """`lines`: geometries no label may touch. `limits`: box every label must stay within."""
        self._lines = lines
        self._tree = STRtree(lines)
        self._limits = limits
        self._boxes: list[Box] = []
        self._signs: list[Box] = []
        self._leaders: list[LineString] = []
        self._arrays: _Taken | None = None
        self._looked_at = _Looked()

    @property
    def spent(self) -> bool:
        """So much was looked for that only what is near is looked at from now on; copies count together."""
        return self._looked_at.count > EFFORT

    def copy(self) -> Room:
        """The same room, to try something in."""
        other = copy(self)
        other._boxes, other._signs = [*self._boxes], [*self._signs]
        other._leaders = [*self._leaders]
        return other

    def place(self, labels: Sequence[Label]) -> tuple[tuple[Placed, ...], tuple[Label, ...]]:
        """Place labels one after the other, nearest free spot first; those with no free spot come second.

        Each choice depends on the ones before it, hence the loop; within a step all spots at one
        distance are tried at once.
        """
        placed, left = [], []
        for label in labels:
            found = self._spot(label)
            if found is None:
                left.append(label)
                continue
            self._boxes.append(found.box)
            if found.leader:
                self._leaders.append(LineString(found.leader))
            placed.append(found)
        return tuple(placed), tuple(left)

    def _taken(self) -> _Taken:
        """What is placed so far, in arrays; made anew where something came."""
        count = len(self._boxes), len(self._leaders)
        if self._arrays is None or self._arrays.count != count:
            boxes, signs = np.array(self._boxes).reshape(-1, 4), set(self._signs)
            self._arrays = _Taken(
                count,
                boxes,
                np.asarray(shapely.box(*boxes.T), dtype=object),
                np.flatnonzero([b in signs for b in self._boxes]),
                STRtree(self._leaders),
            )
        return self._arrays

    def occupy(self, box: Box) -> None:
        """Keep later labels off this box, where a sign is drawn that a label may name."""
        self._boxes.append(box)
        self._signs.append(box)

    def free_box(
        self, size: tuple[float, float], within: Box, inside: shapely.Geometry, step: float = 5.0
    ) -> Box | None:
        """A free box of `size` in `within` and wholly `inside`, nearest the top left; None if there is none."""
        xs = np.arange(within[0], within[2] - size[0] + 1e-9, step)
        ys = np.arange(within[3] - size[1], within[1] - 1e-9, -step)
        if not len(xs) or not len(ys):
            return None
        x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
        boxes = np.column_stack([x, y, x + size[0], y + size[1]])
        boxes = boxes[np.lexsort((x, (x - xs[0]) + (ys[0] - y)))]
        shapely.prepare(inside)
        for n in range(0, len(boxes), _AT_ONCE):
            some = boxes[n : n + _AT_ONCE]
            some = some[shapely.contains_properly(inside, shapely.box(*some.T))]
            free = np.flatnonzero(self._free(some))
            if len(free):
                return _as_box(some[free[0]])
        return None

    def _spot(self, label: Label) -> Placed | None:
        anchors = np.array(label.anchors)
        if label.centred:
            boxes = _boxes_at(anchors, label.size)
            free = np.flatnonzero(self._free(boxes, label.within))
            if len(free):
                return Placed(label, _as_box(boxes[free[0]]), None)
        for distance in _DISTANCES:
            if distance > label.farthest:
                break
            found = self._led(label, anchors, self._free_around(label, anchors, (distance,), _DIRECTIONS))
            if found:
                return found
        if self.spent:
            return None
        far = label.farthest >= _FAR
        # The last resort, in finer steps; one that may stand far off stands anywhere at all, its leader running
        # across signs, and if it must across other leaders, but across no label.
        more = [d for d in _MORE_DISTANCES if far or d <= label.farthest]
        spots = self._free_around(label, anchors, more, _MORE_DIRECTIONS)
        for over in ("", "signs", "leaders") if far else ("",):
            found = self._led(label, anchors, spots, over)
            if found:
                return found
        return self._bent(label, anchors) if far else None

    def _bent(self, label: Label, anchors: FloatArray) -> Placed | None:
        """The free spot reached by the shortest leader with one bend, which crosses no label but may cross signs."""
        x0, y0, x1, y1 = label.within or self._limits
        xs, ys = np.arange(x0, x1 - label.size[0], _GRID), np.arange(y0, y1 - label.size[1], _GRID)
        corners = np.column_stack([grid.ravel() for grid in np.meshgrid(xs, ys)])
        boxes = np.hstack([corners, corners + np.array(label.size)])
        boxes = boxes[self._free(boxes, label.within)]
        if not len(boxes):
            return None
        signs = set(self._signs)
        names = STRtree(shapely.box(*np.array([b for b in self._boxes if b not in signs]).reshape(-1, 4).T))
        best: tuple[float, Placed] | None = None
        for anchor in anchors[:_BENT_FROM]:
            around = np.array(_KNEES)[:, None] * _MORE_DIRECTIONS[None, :]
            start = complex(*anchor.tolist())
            outward = around.ravel() / np.abs(around.ravel())
            knees = start + outward * (label.reach + np.abs(around.ravel()))
            begins = start + outward * label.reach
            knees, begins = (z[_uncrossed(names, begins, knees)] for z in (knees, begins))
            away = np.hypot(*(boxes[:, :2] - anchor).T)
            near = boxes[np.argsort(away, kind="stable")[:_BENT_TO]]
            knee, box = (n.ravel() for n in np.meshgrid(np.arange(len(knees)), np.arange(len(near))))
            ends = np.clip(knees[knee].real, *near[box][:, [0, 2]].T) + 1j * np.clip(
                knees[knee].imag, *near[box][:, [1, 3]].T
            )
            length = np.abs(knees[knee] - begins[knee]) + np.abs(ends - knees[knee])
            n, tried = _first_uncrossed(names, knees[knee], ends, np.argsort(length, kind="stable"))
            self._looked_at.count += _DEARER * tried
            if n is not None:
                way = (begins[knee[n]], knees[knee[n]], ends[n])
                placed = Placed(label, _as_box(near[box[n]]), tuple((z.real, z.imag) for z in way))
                best = min(best or (math.inf, placed), (float(length[n]), placed), key=lambda pair: pair[0])
        return best[1] if best else None

    def _free_around(
        self,
        label: Label,
        anchors: FloatArray,
        distances: Sequence[float],
        directions: NDArray[np.complex128],
    ) -> _Spots:
        """Free spots at these distances, the nearest first and of those the best."""
        rings = [_around(anchors, label, distance, directions) for distance in distances]
        boxes = np.concatenate([np.zeros((0, 4)), *(boxes for boxes, _ in rings)])
        owners = np.concatenate([np.zeros(0, dtype=int), *(owners for _, owners in rings)])
        off = np.repeat(np.array(distances, dtype=float), [len(owners) for _, owners in rings])
        free = self._free(boxes, label.within)
        return _Spots(boxes[free], owners[free], off[free])

    def _led(self, label: Label, anchors: FloatArray, spots: _Spots, over: str = "") -> Placed | None:
        """The first of these spots whose leader, if it needs one, is in nobody's way."""
        for some in _more_and_more(len(spots.boxes), 4, 8):
            starts, ends = _leaders(anchors[spots.owners[some]], label.reach, spots.boxes[some])
            near = spots.off[some] <= _NO_LEADER
            clear = np.flatnonzero(near | self._clear(starts, ends, over))
            if len(clear):
                n = int(clear[0])
                leader = None if near[n] else (_as_place(starts[n]), _as_place(ends[n]))
                return Placed(label, _as_box(spots.boxes[some][n]), leader)
        return None

    def _free(self, boxes: FloatArray, within: Box | None = None) -> NDArray[np.bool_]:
        """Which boxes (n, 4), grown by the gap, touch no line, label or leader and stay within limits."""
        limits = np.array(within or self._limits)
        inside = (boxes[:, :2] >= limits[:2]).all(axis=1) & (boxes[:, 2:] <= limits[2:]).all(axis=1)
        free: NDArray[np.bool_] = np.asarray(inside)
        self._looked_at.count += len(boxes)
        grown = boxes + np.array([-GAP, -GAP, GAP, GAP])
        candidates = np.flatnonzero(free)
        ink = self._ink()
        touched, clear = (
            (np.zeros(len(candidates), dtype=bool),) * 2 if ink is None else ink.told(grown[candidates])
        )
        free[candidates[touched]] = False
        sure = np.zeros(len(boxes), dtype=bool)
        sure[candidates[clear]] = True
        if self._boxes:
            taken, candidates = self._taken().boxes, np.flatnonzero(free)
            x0, y0, x1, y1 = (side[:, None] for side in grown[candidates].T)
            apart = (x0 > taken[:, 2]) | (x1 < taken[:, 0]) | (y0 > taken[:, 3]) | (y1 < taken[:, 1])
            free[candidates] = apart.all(axis=1)
        doubtful = np.flatnonzero(free & ~sure)
        shapes = shapely.box(*grown[doubtful].T)
        free[doubtful[self._tree.query(shapes, predicate="intersects")[0]]] = False
        candidates = np.flatnonzero(free)
        if self._leaders and len(candidates):
            shapes = shapely.box(*grown[candidates].T)
            free[candidates[self._taken().leaders.query(shapes, predicate="intersects")[0]]] = False
        return free

    def _ink(self) -> Ink | None:
        """The lines on a grid, once it is worth laying them out on one."""
        if self._looked_at.ink is None and self._looked_at.count > _WORTH_A_GRID:
            self._looked_at.ink = Ink(self._lines, self._limits)
        return self._looked_at.ink

    def _clear(self, starts: FloatArray, ends: FloatArray, over: str = "") -> NDArray[np.bool_]:
        """Which leaders (n, 2) run through no label and no sign, but for what they start from, and across no leader.

        over: what they may cross: signs, or leaders and signs.
        """
        lines = np.asarray(shapely.linestrings(np.stack([starts, ends], axis=1)), dtype=object)
        clear = np.ones(len(lines), dtype=bool)
        taken = self._taken()
        if len(taken.boxes):
            (x0, y0), (x1, y1) = np.minimum(starts, ends).T, np.maximum(starts, ends).T
            near = _overlap((x0, y0, x1, y1), taken.boxes)
            near[:, taken.signs] &= not over and ~_within(starts, taken.boxes[taken.signs])
            i, j = np.nonzero(near)
            clear[i[shapely.intersects(taken.shapes[j], lines[i])]] = False
        if over != "leaders" and self._leaders:
            left = np.flatnonzero(clear)
            clear[left[taken.leaders.query(lines[left], predicate="intersects")[0]]] = False
        return clear


def _first_uncrossed(
    names: STRtree, start: NDArray[np.complex128], end: NDArray[np.complex128], order: NDArray[np.int_]
) -> tuple[int | None, int]:
    """The first straight way, in an order, that crosses none of the boxes, and how many were looked at."""
    for batch in _more_and_more(len(order), 64, 4):
        some = order[batch]
        clear = np.flatnonzero(_uncrossed(names, start[some], end[some]))
        if len(clear):
            return int(some[clear[0]]), min(batch.stop, len(order))
    return None, len(order)


def _more_and_more(count: int, first: int, times: int) -> Iterator[slice]:
    """So many in batches, each so many times as large as the one before: the first few are mostly enough."""
    done = 0
    while done < count:
        yield slice(done, done + first)
        done, first = done + first, times * first


def _overlap(
    bounds: tuple[FloatArray, FloatArray, FloatArray, FloatArray], boxes: FloatArray
) -> NDArray[np.bool_]:
    """Which of n bounds overlap, by more than their edges, with which of m boxes (m, 4); (n, m)."""
    x0, y0, x1, y1 = (side[:, None] for side in bounds)
    return np.asarray((boxes[:, 0] < x1) & (boxes[:, 2] > x0) & (boxes[:, 1] < y1) & (boxes[:, 3] > y0))


def _within(places: FloatArray, boxes: FloatArray) -> NDArray[np.bool_]:
    """Which of n places (n, 2) lie in which of m boxes (m, 4), on their edges too; (n, m)."""
    x, y = (side[:, None] for side in places.T)
    return np.asarray((boxes[:, 0] <= x) & (x <= boxes[:, 2]) & (boxes[:, 1] <= y) & (y <= boxes[:, 3]))


def _uncrossed(
    names: STRtree, start: NDArray[np.complex128], end: NDArray[np.complex128]
) -> NDArray[np.bool_]:
    """Which straight ways cross none of the boxes."""
    ends = np.stack([np.column_stack([z.real, z.imag]) for z in (start, end)], axis=1)
    clear = np.ones(len(start), dtype=bool)
    if len(start):
        clear[names.query(shapely.linestrings(ends), predicate="intersects")[0]] = False
    return clear


def _boxes_at(centres: FloatArray, size: tuple[float, float]) -> FloatArray:
    half = np.array(size) / 2
    return np.hstack([centres - half, centres + half])


def _around(
    anchors: FloatArray, label: Label, distance: float, directions: NDArray[np.complex128]
) -> tuple[FloatArray, NDArray[np.int_]]:
    """Boxes whose near edge is `distance` beyond the reach of each anchor, in every direction; whose they are.

    All anchors are tried in the first direction before any in the second.
    """
    toward = np.column_stack([directions.real, directions.imag])
    half = np.array(label.size) / 2
    offset = toward * (label.reach + distance) + np.clip(toward * 1.5, -1, 1) * half
    centres = (offset[:, None, :] + anchors[None, :, :]).reshape(-1, 2)
    owners = np.tile(np.arange(len(anchors)), len(toward))
    return _boxes_at(centres, label.size), owners


def _leaders(anchors: FloatArray, reach: float, boxes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Starts and ends (n, 2) of leaders from the rim round each anchor (n, 2) to its box's (n, 4) nearest point."""
    ends = np.clip(anchors, boxes[:, :2], boxes[:, 2:])
    away = ends - anchors
    far = np.hypot(*away.T)[:, None]
    return anchors + away / far * np.minimum(reach, far), ends


def _as_place(row: FloatArray) -> tuple[float, float]:
    x, y = row.tolist()
    return x, y


def _as_box(row: FloatArray) -> Box:
    x0, y0, x1, y1 = row.tolist()
    return (x0, y0, x1, y1)
