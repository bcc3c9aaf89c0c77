"""How sharp a corner came out: the outside of two slots that meet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from cutout.gauge.card import Cut
from cutout.gauge.light import Light
from cutout.gauge.marks import Found, sample
from cutout.gauge.sight import Sight
from cutout.gauge.slot import outer_edge
from cutout.geom.curve import FloatArray

_BLURRED = 0.545
"""Half of the darkness of a blurred corner lies so many sigmas inside its tip, over the sine of half its angle:
exact for a right angle, where both sides have Phi = sqrt(1/2)."""
_FROM, _TO = 3.0, 16.0
"""Stretch of each slot (mm before the corner) its edge is taken from."""


@dataclass(frozen=True)
class CornerCut:
    """A corner. at: where its edges would meet, on the card (mm); short: how far the wood reaches in from there along
    the corner's middle (mm; less than nought: sawn past it); rounding: the radius that leaves so much; why: why
    not read."""

    kind: Literal["turned", "met"]
    at: tuple[float, float] | None
    short: float
    rounding: float
    sure: float
    why: str = ""


def read_corner(light: Light, found: Found, see: Sight, cut: Cut) -> CornerCut:
    """Measure the outside of a corner between two slots."""
    kind: Literal["turned", "met"] = "turned" if cut.kind == "turned" else "met"
    one, two = cut.trails
    # The first slot runs to the corner with its outside on the left. The second leaves it so, or comes to it with its
    # outside on the right.
    first = outer_edge(light, found, see, one, 1, one.length - _TO, one.length - _FROM)
    if kind == "turned":
        second = outer_edge(light, found, see, two, 1, _FROM, _TO)
    else:
        second = outer_edge(light, found, see, two, -1, two.length - _TO, two.length - _FROM)
    if first is None or second is None:
        return CornerCut(kind, None, 0.0, 0.0, 0.0, "not sawn, torn, or its edges can't be told.")
    lines = [_line(p) for p in (first, second)]
    tip = _meet(*lines)
    inside = [
        math.copysign(1.0, float((p.mean(axis=0) - tip) @ d)) * d
        for (_, d), p in zip(lines, (first, second), strict=True)
    ]
    middle = (inside[0] + inside[1]) / max(float(np.hypot(*(inside[0] + inside[1]))), 1e-9)
    half = math.acos(float(np.clip(inside[0] @ middle, -1, 1)))
    step = see.pixel / 4
    t = np.arange(-2.5, 4.0, step)
    values = sample(light, found.fitted.camera.pixels(tip + t[:, None] * middle))
    paper = float(np.median(values[t < -1.2]))
    dark = (1 - values / max(paper, 1e-6)) / (1 - see.ink)
    deep = float(np.percentile(dark, 95))
    level = deep / 2
    over = np.flatnonzero(dark > level)
    if deep < 0.4 or len(over) == 0 or over[0] == 0:
        return CornerCut(kind, None, 0.0, 0.0, 0.0, "not sawn, or its edges can't be told.")
    k = int(over[0])
    at = float(t[k - 1] + step * (level - dark[k - 1]) / max(dark[k] - dark[k - 1], 1e-9))
    sigma = see.blur.sigma * see.pixel
    # Blur eats all of that from a sharp tip and next to nothing from one rounded far more than it: in squares.
    blurred = _BLURRED * sigma / math.sin(half)
    short = math.sqrt(max(at * at - blurred * blurred, 0.0)) if at > 0 else at
    rounding = max(short, 0.0) / (1 / math.sin(half) - 1)
    sure = 0.3 * see.pixel + 0.4 * sigma
    return CornerCut(kind, (float(tip[0]), float(tip[1])), short, rounding, sure)


def _line(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A place on and the unit direction of the line nearest to points (n, 2), torn places left out."""
    kept = points
    for _ in range(3):
        middle = kept.mean(axis=0)
        along = np.linalg.svd(kept - middle, full_matrices=False)[2][0]
        off = np.abs((points - middle) @ np.array([-along[1], along[0]]))
        kept = points[off <= 3 * float(np.median(off)) + 0.02]
    return middle, along


def _meet(one: tuple[FloatArray, FloatArray], two: tuple[FloatArray, FloatArray]) -> FloatArray:
    (p, r), (q, s) = one, two
    t = ((q - p)[0] * s[1] - (q - p)[1] * s[0]) / (r[0] * s[1] - r[1] * s[0])
    return np.asarray(p + r * t)
