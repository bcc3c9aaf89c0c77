"""What the user's own camera and paper do to sizes: a silhouette of known size, photographed and read like any other.

The silhouette is printed by `camera_card_pdf`. When a photo of it is read with the sheet it is printed on named, the
outline is held against it: how far sizes are off, how far edges lie outside or inside, and what is left.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.geom.curve import Arc, FloatArray
from cutout.geom.outline import Note, Outline, Ring

WIDTH, HEIGHT = 120.0, 160.0
"""The silhouette (mm): it leaves an inch of paper and more on every side of A4 and Letter."""

_SAME_SIZE = 0.15
"""A ring whose area is off by more than this share is another thing."""

_NEAR = 2.5
"""Farthest (mm) an outline of the card may be from the card, its place and size fitted."""

_SEEN = 0.95
"""Share of the silhouette's own edge that must be there in the photo for it to be the card."""

_STEP = 0.5
"""Distance (mm) between places along an edge at which it is held against the card's."""

_SETTLED = 3.0
"""Places more than so many sigmas off say nothing of size: a fold, a smear of ink."""


@dataclass(frozen=True, slots=True)
class Shot:
    """How a photo of the card differs from it; lengths in mm, `stretch` a share: .001 is a thousandth too large.

    outside: how far edges lie outside the true ones all round, inside below 0. left, worst: root mean square and
    the most of what is neither size nor that, `at` its place from the silhouette's lower left.
    """

    stretch: tuple[float, float]
    outside: float
    left: float
    worst: float
    at: tuple[float, float]


def silhouette() -> tuple[Ring, ...]:
    """What is printed black, y up from its lower left: solid and open parts from 3 to 120 mm across, no two alike."""
    plate = [(0.0, 0.0), (WIDTH, 0.0), (WIDTH, 110.0), (90.0, HEIGHT), (0.0, HEIGHT)]
    rings = [Ring.of_points(np.array(plate)), _disc(38.0 + 118.0j, 22.0).reversed()]
    openings = [
        (75.0, 18.0, 105.0, 48.0),
        (14.0, 28.0, 58.0, 34.0),
        (14.0, 48.0, 58.0, 51.0),
        (68.0, 64.0, 110.0, 104.0),
    ]
    bars = [(75.0, 70.0, 81.0, 98.0), (90.0, 70.0, 93.0, 98.0)]
    rings += [_box(*sides).reversed() for sides in openings]
    rings += [_box(*sides) for sides in bars]
    rings.append(_disc(102.0 + 84.0j, 5.0))
    return tuple(rings)


def camera_note(outline: Outline) -> Note | None:
    """What an outline says of the camera, where it is one of the card and its sheet gave it a scale; else None."""
    shot = read_shot(outline)
    if shot is None:
        return None
    across, up = shot.stretch[0] * WIDTH, shot.stretch[1] * HEIGHT
    text = (
        f"this is the camera card: it comes out {{}} too {_sense(across)} of {{}} across and {{}} too "
        f"{_sense(up)} of {{}} up; its edges lie {{}} {'outside' if shot.outside > 0 else 'inside'} the true ones "
        "all round; what is left is {} in general and {} at most, {} from its left and {} from its foot. Printer and "
        "paper are in that, too: hold a rule against the print."
    )
    stretched = (abs(across), WIDTH, abs(up), HEIGHT)
    return Note("camera", text, (*stretched, abs(shot.outside), shot.left, shot.worst, *shot.at))


def read_shot(outline: Outline) -> Shot | None:
    """The outline of a photo (with its scale) held against the card; None where it is not the card."""
    if outline.scale is None:
        return None
    true = silhouette()
    plate = max(outline.rings, key=lambda r: r.area, default=None)
    if plate is None:
        return None
    if abs(plate.area * outline.scale**2 / true[0].area - 1) > _SAME_SIZE:
        return None
    xy = np.concatenate([_along(ring, outline.scale) for ring in outline.rings])
    middle = shapely.Polygon(plate.points(0.1) * outline.scale).centroid.coords[0]
    best: Shot | None = None
    for quarter in range(4):
        found = _held(xy, np.array(middle), quarter * math.pi / 2, true)
        if found is not None and (best is None or found.left < best.left):
            best = found
    return best


def _sense(size: float) -> str:
    return "large" if size > 0 else "small"


def _held(xy: FloatArray, middle: FloatArray, turn: float, true: Sequence[Ring]) -> Shot | None:
    """Places (n, 2) in mm, turned so about the plate's `middle`, held against the card's edges."""
    edges = _Edges.of(true)
    home = np.array(shapely.Polygon(true[0].points(0.01)).centroid.coords[0])
    c, s = math.cos(turn), math.sin(turn)
    placed = (xy - middle) @ np.array([[c, s], [-s, c]]) + home
    # Place and turn first: what a place is nearest to depends on them.
    for _ in range(6):
        off, foot, normal = edges.nearest(placed)
        near = np.abs(off) < 4 * _NEAR
        if near.sum() < 100:
            return None
        move = _solved(off, foot - home, normal, near, 3)
        a = float(move[2])
        turned = (placed - home) @ np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
        placed = turned + home - move[:2]
        if np.abs(move).max() < 1e-5:
            break
    off, foot, normal = edges.nearest(placed)
    near = np.abs(off) < _NEAR
    if edges.seen(foot[near]) < _SEEN:
        return None
    used = near
    for _ in range(3):
        fit = _solved(off, foot - home, normal, used, 6)
        rest = off - _terms(foot - home, normal, 6) @ fit
        spread = max(float(np.sqrt(np.mean(rest[used] ** 2))), 1e-3)
        used = near & (np.abs(rest) < _SETTLED * spread)
    k = int(np.argmax(np.where(near, np.abs(rest), 0.0)))
    return Shot(
        (float(fit[4]), float(fit[5])),
        float(fit[3]),
        float(np.sqrt(np.mean(rest[near] ** 2))),
        float(abs(rest[k])),
        (float(foot[k, 0]), float(foot[k, 1])),
    )


def _terms(xy: FloatArray, normal: FloatArray, count: int) -> FloatArray:
    """How far an edge moves outwards at places xy for a unit of: shift across, up, turn, growth all round, stretch
    across, up; (n, count)."""
    turned = normal[:, 1] * xy[:, 0] - normal[:, 0] * xy[:, 1]
    all_round = np.ones(len(xy))
    whole = [normal[:, 0], normal[:, 1], turned, all_round, normal[:, 0] * xy[:, 0], normal[:, 1] * xy[:, 1]]
    return np.stack(whole[:count], axis=1)


def _solved(off: FloatArray, xy: FloatArray, normal: FloatArray, used: np.ndarray, count: int) -> FloatArray:
    return np.asarray(np.linalg.lstsq(_terms(xy, normal, count)[used], off[used], rcond=None)[0])


@dataclass(frozen=True)
class _Edges:
    """The card's edges as short pieces: ends (n, 2) each, and their outward unit normals (n, 2)."""

    start: FloatArray
    end: FloatArray
    normal: FloatArray
    tree: shapely.STRtree

    @classmethod
    def of(cls, rings: Sequence[Ring]) -> _Edges:
        start, end = [], []
        for ring in rings:
            points = ring.points(0.001)
            start.append(points)
            end.append(np.roll(points, -1, axis=0))
        a, b = np.concatenate(start), np.concatenate(end)
        way = (b - a) / np.hypot(*(b - a).T)[:, None]
        # The figure lies to the left, so that outside is to the right.
        pieces = np.asarray(shapely.linestrings(np.stack([a, b], axis=1)))
        return cls(a, b, np.stack([way[:, 1], -way[:, 0]], axis=1), shapely.STRtree(pieces))

    def nearest(self, xy: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Signed distance outwards (n,) of places from the nearest edge, its foot and its normal (n, 2)."""
        piece = self.tree.nearest(shapely.points(xy))
        a, b, normal = self.start[piece], self.end[piece], self.normal[piece]
        long = np.maximum(((b - a) ** 2).sum(axis=1), 1e-12)
        share = np.clip(((xy - a) * (b - a)).sum(axis=1) / long, 0, 1)
        foot = a + share[:, None] * (b - a)
        away = xy - foot
        off = (away * normal).sum(axis=1)
        # Beyond a corner the way to the foot is not the edge's normal: such places tell nothing of an edge.
        beyond = np.hypot(*away.T) > np.abs(off) + 0.02
        return np.where(beyond, np.inf, off), foot, normal

    def seen(self, foot: FloatArray) -> float:
        """Share of the edges' length that has one of these feet within reach."""
        whole = shapely.union_all(self.tree.geometries)
        near = shapely.buffer(shapely.union_all(shapely.buffer(shapely.points(foot[::2]), 2 * _STEP)), 0.01)
        return float(shapely.intersection(whole, near).length / whole.length)


def _along(ring: Ring, scale: float) -> FloatArray:
    """Places about _STEP mm apart along a ring, mm."""
    points = ring.points(0.01 / scale) * scale
    line = shapely.segmentize(shapely.LinearRing(points), _STEP) if len(points) > 2 else None
    return np.zeros((0, 2)) if line is None else shapely.get_coordinates(line)[:-1]


def _box(x0: float, y0: float, x1: float, y1: float) -> Ring:
    return Ring.of_points(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))


def _disc(at: complex, radius: float) -> Ring:
    return Ring((Arc(at + radius, at - radius, 1.0), Arc(at - radius, at + radius, 1.0)))
