"""From marks to the dark region of the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from cutout.geom import curve
from cutout.geom.curve import Arc, Cubic, Line, Segment
from cutout.geom.outline import as_multi
from cutout.read.curves import CurveBook
from cutout.read.fill import fill
from cutout.read.svg.affine import FLIP, Affine
from cutout.read.svg.path import SubPath
from cutout.read.svg.stroke import stroke_region
from cutout.read.svg.walk import Clip, ClipShape, Mark, Stroke


class Regions:
    """Regions of marks in page px, y up; clips are worked out once each."""

    def __init__(self, book: CurveBook) -> None:
        self._book = book
        self._clips: dict[int, shapely.Geometry] = {}

    def of(self, mark: Mark) -> shapely.Geometry:
        """What the mark covers."""
        if isinstance(mark.draws, Stroke):
            region = self._stroke(mark, mark.draws)
        else:
            region = self._filled(mark.paths, mark.to_root, mark.draws)
        for clip in mark.clips:
            region = shapely.intersection(region, self.clip(clip))
        return region

    def _filled(self, paths: Iterable[SubPath], to_root: Affine, rule: str) -> shapely.Geometry:
        flip = FLIP.of(to_root)
        rings = [self._book.flatten(flip.segments(p.segments)) for p in paths if p.segments]
        return fill(rings, "evenodd" if rule == "evenodd" else "nonzero")

    def _stroke(self, mark: Mark, stroke: Stroke) -> shapely.Geometry:
        to_page = FLIP.of(mark.to_root)
        local = stroke_region(mark.paths, stroke, self._book.tol / to_page.stretch)

        def mapped(xy: curve.FloatArray) -> curve.FloatArray:
            return curve.to_array(to_page.array(curve.to_complex(xy)))

        return shapely.transform(local, mapped)

    def clip(self, clip: Clip) -> shapely.Geometry:
        """What a clip lets through."""
        key = id(clip)
        if key not in self._clips:
            self._clips[key] = shapely.union_all([self._clip_shape(s) for s in clip])
        return self._clips[key]

    def _clip_shape(self, shape: ClipShape) -> shapely.Geometry:
        return self._filled(shape.paths, shape.to_root, shape.rule)


def paint_over(layers: Sequence[tuple[shapely.Geometry, bool]]) -> MultiPolygon:
    """The dark region left after painting (region, is dark) layers one over the other.

    A dark layer keeps what no later light layer covers; the union of what is kept is the same as painting
    in order, and each layer only meets the ones it overlaps.
    """
    regions = np.array([region for region, _ in layers], dtype=object)
    is_dark = np.array([dark for _, dark in layers], dtype=bool)
    shown = ~shapely.is_empty(regions) & ~_hidden(regions)
    dark, light = np.flatnonzero(is_dark & shown), np.flatnonzero(~is_dark & shown)
    if len(dark) == 0:
        return MultiPolygon()
    left = regions[dark]
    if len(light):
        tree = shapely.STRtree(regions[light])
        under, over = tree.query(left)
        later = light[over] > dark[under]
        under, over = under[later], over[later]
        for k in np.unique(under).tolist():
            covering = shapely.union_all(regions[light[over[under == k]]])
            left[k] = shapely.difference(left[k], covering)
    return as_multi(shapely.union_all(left))


def _hidden(regions: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Whether each region (n,) lies within a single later one, which then paints all of it over."""
    low, high = np.split(shapely.bounds(regions), 2, axis=1)
    inside, around = shapely.STRtree(regions).query(regions)
    later = around > inside
    inside, around = inside[later], around[later]
    boxed = ((low[inside] >= low[around]) & (high[inside] <= high[around])).all(axis=1)
    inside, around = inside[boxed], around[boxed]
    shapely.prepare(regions)
    hidden = np.zeros(len(regions), dtype=bool)
    hidden[inside[shapely.covers(regions[around], regions[inside])]] = True
    return hidden


def extent(marks: Iterable[Mark]) -> tuple[float, float, float, float] | None:
    """Bounds (min x, min y, max x, max y; y up) of control points and stroke widths; None without marks."""
    low, high = complex(np.inf, np.inf), complex(-np.inf, -np.inf)
    for mark in marks:
        to_page = FLIP.of(mark.to_root)
        z = to_page.array(np.array([p for path in mark.paths for p in _controls(path)]))
        reach = mark.draws.width / 2 * to_page.stretch if isinstance(mark.draws, Stroke) else 0.0
        low = complex(min(low.real, z.real.min() - reach), min(low.imag, z.imag.min() - reach))
        high = complex(max(high.real, z.real.max() + reach), max(high.imag, z.imag.max() + reach))
    return (low.real, low.imag, high.real, high.imag) if np.isfinite(low.real) else None


def _controls(path: SubPath) -> list[complex]:
    found = [path.start]
    for segment in path.segments:
        found.extend(_hull(segment))
    return found


def _hull(segment: Segment) -> tuple[complex, ...]:
    match segment:
        case Line(_, end):
            return (end,)
        case Cubic(_, c1, c2, end):
            return (c1, c2, end)
        case Arc(_, end, _):
            return (*curve.points(segment, segment.radius / 8).tolist(), end)
