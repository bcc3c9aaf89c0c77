"""Affine maps of the complex plane and the `transform` attribute."""

from __future__ import annotations

import cmath
import math
import re
from dataclasses import dataclass

from cutout.geom.curve import Arc, ComplexArray, Cubic, Line, Segment, arc_cubics
from cutout.read.svg.number import numbers_of


@dataclass(frozen=True, slots=True)
class Affine:
    """z -> p z + q conj(z) + r: every affine map of the plane, one complex number per degree of freedom."""

    p: complex = 1 + 0j
    q: complex = 0j
    r: complex = 0j

    @classmethod
    def matrix(cls, a: float, b: float, c: float, d: float, e: float, f: float) -> Affine:
        """x' = a x + c y + e, y' = b x + d y + f (SVG `matrix`)."""
        return cls(complex(a + d, b - c) / 2, complex(a - d, b + c) / 2, complex(e, f))

    def __call__(self, z: complex) -> complex:
        """Image of one point."""
        return self.p * z + self.q * z.conjugate() + self.r

    def array(self, z: ComplexArray) -> ComplexArray:
        """Images of many points, (n,) complex."""
        return self.p * z + self.q * z.conj() + self.r

    def of(self, inner: Affine) -> Affine:
        """The map that applies `inner` first and `self` second."""
        p = self.p * inner.p + self.q * inner.q.conjugate()
        q = self.p * inner.q + self.q * inner.p.conjugate()
        return Affine(p, q, self(inner.r))

    @property
    def determinant(self) -> float:
        """Signed factor by which areas grow."""
        return abs(self.p) ** 2 - abs(self.q) ** 2

    @property
    def stretch(self) -> float:
        """Greatest factor by which lengths grow."""
        return abs(self.p) + abs(self.q)

    @property
    def is_similarity(self) -> bool:
        """Whether circles stay circles (to 1e-9 of the size)."""
        return min(abs(self.p), abs(self.q)) <= 1e-9 * self.stretch

    @property
    def finite(self) -> bool:
        """Whether every part is a number."""
        return cmath.isfinite(self.p) and cmath.isfinite(self.q) and cmath.isfinite(self.r)

    def segments(self, run: tuple[Segment, ...]) -> tuple[Segment, ...]:
        """The run mapped; arcs that do not stay circular become cubics."""
        mapped: list[Segment] = []
        for segment in run:
            match segment:
                case Line(start, end):
                    mapped.append(Line(self(start), self(end)))
                case Cubic(start, c1, c2, end):
                    mapped.append(Cubic(self(start), self(c1), self(c2), self(end)))
                case Arc(start, end, bulge) if self.is_similarity:
                    mapped.append(Arc(self(start), self(end), bulge if self.determinant > 0 else -bulge))
                case Arc():
                    mapped.extend(self.segments(arc_cubics(segment)))
        return tuple(mapped)


IDENTITY = Affine()
FLIP = Affine(0j, 1 + 0j, 0j)
"""From y down to y up."""


def translation(x: float, y: float) -> Affine:
    """A plain shift."""
    return Affine(r=complex(x, y))


def scaling(x: float, y: float) -> Affine:
    """Scaling about the origin."""
    return Affine.matrix(x, 0, 0, y, 0, 0)


_CALL = re.compile(r"\s*,?\s*([a-zA-Z]+)\s*\(([^)]*)\)")


def parse_transform(text: str | None) -> Affine | None:
    """The map of a `transform` attribute; None when the attribute breaks the grammar (SVG: it is ignored)."""
    whole, at = IDENTITY, 0
    stripped = (text or "").strip()
    if not stripped or stripped == "none":
        return whole
    while at < len(stripped):
        found = _CALL.match(stripped, at)
        step = _step(found[1], numbers_of(re.sub(r"(deg|px)\b", "", found[2]))) if found else None
        if found is None or step is None:
            return None
        whole, at = whole.of(step), found.end()
    return whole if whole.finite else None


def _step(name: str, n: list[float] | None) -> Affine | None:
    if n is None:
        return None
    match name, n:
        case "matrix", [a, b, c, d, e, f]:
            return Affine.matrix(a, b, c, d, e, f)
        case "translate", [x]:
            return translation(x, 0)
        case "translate", [x, y]:
            return translation(x, y)
        case "scale", [s]:
            return scaling(s, s)
        case "scale", [x, y]:
            return scaling(x, y)
        case "rotate", [turn]:
            return Affine(cmath.exp(1j * math.radians(turn)))
        case "rotate", [turn, x, y]:
            about = translation(x, y).of(Affine(cmath.exp(1j * math.radians(turn))))
            return about.of(translation(-x, -y))
        case "skewX", [slant]:
            return Affine.matrix(1, 0, math.tan(math.radians(slant)), 1, 0, 0)
        case "skewY", [slant]:
            return Affine.matrix(1, math.tan(math.radians(slant)), 0, 1, 0, 0)
    return None
