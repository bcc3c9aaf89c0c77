"""How strongly a gradient shows at a place: its geometry, beside the shades it runs through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.read.svg.affine import IDENTITY, Affine, parse_transform
from cutout.read.svg.number import length_px
from cutout.read.svg.style import Colour

ATTRIBUTES = tuple("x1 y1 x2 y2 cx cy r gradientUnits gradientTransform spreadMethod".split())
"""What a gradient may take from the one it refers to."""

_USUAL = (
    {"x1": "0", "y1": "0", "x2": "100%", "y2": "0"},
    {"cx": "50%", "cy": "50%", "r": "50%"},
)
"""Lengths that are not given, of linear and of radial gradients. Source: SVG 1.1, 13.2."""

Bounds = tuple[float, float, float, float]
"""min x, min y, max x, max y, in the units of the element."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """Shades along a line from `start` to `end`, or from a centre `start` out to a circle through `end`.

    offsets: places of the shades along it, 0..1. boxed: lengths are shares of the painted shape's bounds. server: id
    of the gradient that was named. Foci are taken to lie in the centre.
    """

    offsets: tuple[float, ...]
    shades: tuple[Colour, ...]
    start: complex
    end: complex
    radial: bool
    boxed: bool
    to_element: Affine = IDENTITY
    spread: str = "pad"
    server: str = ""

    def faded(self, alpha: float) -> Ramp:
        """The ramp with a further opacity."""
        return replace(self, shades=tuple(replace(s, alpha=s.alpha * alpha) for s in self.shades))

    def strength(self, at: ComplexArray, bounds: Bounds) -> FloatArray:
        """How far from white the page is where the ramp is laid on it, 0..1, at places of the element (n,)."""
        where = self._along(at, bounds)
        alpha = np.interp(where, self.offsets, [s.alpha for s in self.shades])
        away = np.interp(where, self.offsets, [1 - min(s.rgb) for s in self.shades])
        return np.asarray(alpha * away)

    def _along(self, at: ComplexArray, bounds: Bounds) -> FloatArray:
        to_element = self.to_element
        if self.boxed:
            x0, y0, x1, y1 = bounds
            to_element = Affine.matrix(x1 - x0, 0, 0, y1 - y0, x0, y0).of(to_element)
        if abs(to_element.determinant) < 1e-12 or self.start == self.end:
            return np.ones(len(at))  # Without any extent the last shade fills it (SVG 2, 14.2).
        z = inverse(to_element).array(at) - self.start
        way = self.end - self.start
        found = np.abs(z) / abs(way) if self.radial else (z * way.conjugate()).real / abs(way) ** 2
        if self.spread == "repeat":
            return np.asarray(found % 1.0)
        if self.spread == "reflect":
            return np.asarray(1 - np.abs(found % 2.0 - 1))
        return np.asarray(np.clip(found, 0.0, 1.0))


def ramp_from(tag: str, given: Mapping[str, str], stops: Sequence[tuple[float, Colour]]) -> Ramp | None:
    """The ramp of a gradient's own and borrowed attributes and its stops.

    None where its lengths are shares of the view it is used in: that view isn't known here.
    """
    boxed = given.get("gradientUnits") != "userSpaceOnUse"
    usual = _USUAL[tag == "radialGradient"]
    if not boxed and any("%" in given.get(name, usual[name]) for name in usual):
        return None

    def length(name: str) -> float:
        found = length_px(given.get(name, usual[name]), 1.0)
        return 0.0 if found is None else found

    transform = parse_transform(given.get("gradientTransform", "")) or IDENTITY
    if tag == "radialGradient":
        start = complex(length("cx"), length("cy"))
        end = start + length("r")
    else:
        start, end = complex(length("x1"), length("y1")), complex(length("x2"), length("y2"))
    offsets = np.maximum.accumulate(np.clip([o for o, _ in stops], 0.0, 1.0)).tolist()
    shades = tuple(s for _, s in stops)
    return Ramp(
        tuple(offsets),
        shades,
        start,
        end,
        tag == "radialGradient",
        boxed,
        transform,
        given.get("spreadMethod", "pad"),
        given.get("id", ""),
    )


def inverse(map_: Affine) -> Affine:
    """The map that undoes one that is not flat."""
    d = map_.determinant
    p, q = map_.p.conjugate() / d, -map_.q / d
    return Affine(p, q, -(p * map_.r + q * map_.r.conjugate()))
