"""Paints that fade to nothing: shadows, glows and gloss, which are no part of a figure, told from bodies, which are.

A soft shadow has faded away where it ends; a body ends in edges that show, or in lines drawn round it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from cutout.geom import curve
from cutout.geom.curve import ComplexArray, FloatArray, to_complex
from cutout.read.svg.affine import FLIP
from cutout.read.svg.compose import Regions, extent, paint_over
from cutout.read.svg.page import PaintedRule, fades, pales, runs_out
from cutout.read.svg.ramp import Bounds, inverse
from cutout.read.svg.walk import Mark, Stroke

_PLACES = 240
"""Places along its outline at which a shading is looked at."""

_SHOWS = 0.15
"""Difference from the page from which on an edge shows."""

_SHOWN, _CLOSED, _OPAQUE = 0.4, 0.75, 0.95
"""A body shows along this share of its outline, and the rest lies on other paint up to the second share, or it is
opaque somewhere. By measurement on clip art: soft shadows showed along 0.00 of theirs, bodies along 0.40 to 1.00."""

_UNSEEN = 0.02
"""A coloured glow shows along less than this share of its outline. All 17 that were found on 6,700 clip-art files
showed along none."""

_VEIL = 0.5
"""Opacity that a coloured gloss which fades to nothing has at most."""

_BESIDE = 0.004
"""Share of the drawing's size within which a line drawn round a body lies on its outline."""


def with_bodies(marks: Sequence[Mark], rule: PaintedRule, regions: Regions) -> list[Mark]:
    """The marks, with those named bodies that fade to nothing and yet end in edges one sees, and lines that pale.

    Coloured ones that fade are bodies unless they are named soft: gloss, and glows and shadows, which end nowhere.
    """
    marks = [_named_body(m) if isinstance(m.draws, Stroke) and pales(m.paint) else m for m in marks]
    counts = replace(rule, fading=True)
    fading = [k for k, m in enumerate(marks) if m.paint.ramp and fades(m.paint) and counts.side(m.paint)]
    coloured = [k for k, m in enumerate(marks) if _may_glow(m, rule)]
    if not fading and not coloured:
        return list(marks)
    x0, y0, x1, y1 = extent(marks) or (0.0, 0.0, 0.0, 0.0)
    firm = [m for k, m in enumerate(marks) if k not in coloured]
    solid = [(regions.of(m), side) for m in firm if (side := rule.side(m.paint)) is not None]
    around = shapely.buffer(paint_over(solid), _BESIDE * max(x1 - x0, y1 - y0))
    shapely.prepare(around)
    out = list(marks)
    for k in fading:
        rim = _rim_of(marks[k], regions, around)
        if _is_outlined(marks, k, rule) or (rim is not None and rim.is_body):
            out[k] = _named_body(marks[k])
    for k in coloured:
        veil = max(shade.alpha for shade in marks[k].paint.shades) <= _VEIL
        rim = _rim_of(marks[k], regions, around)
        if not _is_outlined(marks, k, rule) and (veil or (rim is not None and rim.is_glow)):
            out[k] = replace(marks[k], paint=replace(marks[k].paint, soft=True))
    return out


def _may_glow(mark: Mark, rule: PaintedRule) -> bool:
    """Whether a mark is figure by its colours, yet fades to nothing."""
    paint = mark.paint
    return bool(paint.ramp and runs_out(paint) and not paint.body and not fades(paint) and rule.side(paint))


def _named_body(mark: Mark) -> Mark:
    return replace(mark, paint=replace(mark.paint, body=True))


def _is_outlined(marks: Sequence[Mark], k: int, rule: PaintedRule) -> bool:
    """Whether fill k has a line of its own round it that shows: nobody outlines a shadow."""
    after = marks[k + 1] if k + 1 < len(marks) else None
    if after is None or isinstance(marks[k].draws, Stroke) or not isinstance(after.draws, Stroke):
        return False
    return _traced(after) == _traced(marks[k]) and bool(rule.side(after.paint))


def _traced(mark: Mark) -> frozenset[complex]:
    """Ends of a mark's segments on the page, to a thousandth of a unit: the same for a fill and its own line."""
    ends = [s.end for path in mark.paths for s in path.segments]
    if not ends:
        return frozenset()
    z = mark.to_root.array(np.array(ends))
    return frozenset(np.round(z, 3).tolist())


@dataclass(frozen=True, slots=True)
class _Rim:
    """How a shading ends: the share of its outline that shows, the share that shows or lies on other paint, and its
    greatest opacity."""

    shown: float
    closed: float
    opacity: float

    @property
    def is_body(self) -> bool:
        return self.shown >= _SHOWN and (self.closed >= _CLOSED or self.opacity >= _OPAQUE)

    @property
    def is_glow(self) -> bool:
        return self.shown < _UNSEEN and self.closed < _CLOSED


def _rim_of(mark: Mark, regions: Regions, around: shapely.Geometry) -> _Rim | None:
    """How a fading mark ends; `around`: what else is painted, a little wider. None where that can't be told."""
    places = _evenly(shapely.boundary(regions.of(mark)))
    to_page = FLIP.of(mark.to_root)
    if mark.paint.ramp is None or len(places) == 0 or abs(to_page.determinant) < 1e-12:
        return None
    at = inverse(to_page).array(to_complex(places))
    shown = mark.paint.ramp.strength(at, _bounds(mark)) >= _SHOWS
    beside = shapely.intersects_xy(around, places)
    opacity = max(shade.alpha for shade in mark.paint.shades)
    return _Rim(float(shown.mean()), float((shown | beside).mean()), opacity)


def _evenly(outline: shapely.Geometry) -> FloatArray:
    """About _PLACES places (n, 2) at equal steps along lines."""
    parts = [p for p in shapely.get_parts(outline) if p.length > 0]
    if not parts:
        return np.zeros((0, 2))
    step = sum(p.length for p in parts) / _PLACES
    found = [
        shapely.line_interpolate_point(p, (np.arange(max(1, round(p.length / step))) + 0.5) * step)
        for p in parts
    ]
    return np.asarray(shapely.get_coordinates(np.concatenate(found)))


def _bounds(mark: Mark) -> Bounds:
    """What holds the mark's paths, in their own units."""
    runs: list[ComplexArray] = [np.array([path.start]) for path in mark.paths]
    runs += [curve.points(s, curve.length(s) / 50 + 1e-9) for path in mark.paths for s in path.segments]
    z = np.concatenate(runs)
    return float(z.real.min()), float(z.imag.min()), float(z.real.max()), float(z.imag.max())
