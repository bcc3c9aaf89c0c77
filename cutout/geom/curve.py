"""Lines, arcs and cubics as immutable values; points are complex numbers x + iy.

The complex plane keeps similarity transforms and bulges to one line each, and svgpathtools, numpy and
the standard library all speak it. Polylines handed to shapely are (n, 2) float arrays.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
ComplexArray: TypeAlias = NDArray[np.complex128]

FLATTENING = 0.01
"""Greatest distance (mm) between a curve and the polyline that stands for it."""


@dataclass(frozen=True, slots=True)
class Line:
    """A straight run from `start` to `end`."""

    start: complex
    end: complex


@dataclass(frozen=True, slots=True)
class Arc:
    """A circular run; `bulge` = tan(sweep / 4), positive counter-clockwise (DXF reference)."""

    start: complex
    end: complex
    bulge: float

    @property
    def sweep(self) -> float:
        """Signed included angle in radians, within (-2 pi, 2 pi)."""
        return 4 * math.atan(self.bulge)

    @property
    def centre(self) -> complex:
        """Centre of the circle; meaningless when bulge is 0 (use Line)."""
        half = (self.end - self.start) / 2
        return self.start + half + half * 1j * (1 - self.bulge**2) / (2 * self.bulge)

    @property
    def radius(self) -> float:
        """Radius of the circle: chord * (1 + b^2) / (4 |b|)."""
        return abs(self.end - self.start) * (1 + self.bulge**2) / (4 * abs(self.bulge))


@dataclass(frozen=True, slots=True)
class Cubic:
    """A cubic Bezier run."""

    start: complex
    c1: complex
    c2: complex
    end: complex


Segment: TypeAlias = Line | Arc | Cubic


@dataclass(frozen=True, slots=True)
class Similarity:
    """z -> a z + b, or a conj(z) + b when `mirror`: turn, scale, mirror and move without distortion."""

    a: complex = 1 + 0j
    b: complex = 0j
    mirror: bool = False

    def __call__(self, z: complex) -> complex:
        """Image of one point."""
        return self.a * (z.conjugate() if self.mirror else z) + self.b

    def then(self, other: Similarity) -> Similarity:
        """The similarity that applies `self` first and `other` second."""
        a = self.a.conjugate() if other.mirror else self.a
        return Similarity(other.a * a, other(self.b), self.mirror != other.mirror)


def transform(segment: Segment, by: Similarity) -> Segment:
    """The segment moved by a similarity; arcs stay arcs."""
    match segment:
        case Line(start, end):
            return Line(by(start), by(end))
        case Arc(start, end, bulge):
            return Arc(by(start), by(end), -bulge if by.mirror else bulge)
        case Cubic(start, c1, c2, end):
            return Cubic(by(start), by(c1), by(c2), by(end))


def reverse(segment: Segment) -> Segment:
    """The same run walked the other way."""
    match segment:
        case Line(start, end):
            return Line(end, start)
        case Arc(start, end, bulge):
            return Arc(end, start, -bulge)
        case Cubic(start, c1, c2, end):
            return Cubic(end, c2, c1, start)


def points(segment: Segment, tol: float = FLATTENING) -> ComplexArray:
    """Points along the segment, both ends included, within `tol` of it; shape (n,), complex."""
    match segment:
        case Line(start, end):
            return np.array([start, end])
        case Arc(start, end, _):
            t = np.linspace(0.0, 1.0, _arc_steps(segment, tol) + 1)
            run = _on_arcs(segment.centre, start, segment.sweep, t)
            run[0], run[-1] = start, end
            return run
        case Cubic(start, c1, c2, end):
            t = np.linspace(0.0, 1.0, _cubic_steps(segment, tol) + 1)
            run = _on_cubics((start, c1, c2, end), t)
            run[0], run[-1] = start, end
            return run


def points_of_all(
    segments: Sequence[Segment], tol: float = FLATTENING
) -> tuple[ComplexArray, NDArray[np.int64]]:
    """Points along each of many segments, within `tol` of it, one after the other and without its end, and how many
    each has; the same points as `points` gives."""
    arcs = [k for k, segment in enumerate(segments) if isinstance(segment, Arc)]
    cubics = [k for k, segment in enumerate(segments) if isinstance(segment, Cubic)]
    steps = np.ones(len(segments), dtype=np.int64)
    steps[arcs] = [_arc_steps(segment, tol) for segment in segments if isinstance(segment, Arc)]
    steps[cubics] = [_cubic_steps(segment, tol) for segment in segments if isinstance(segment, Cubic)]
    starts = np.cumsum(steps) - steps
    z = np.repeat(np.array([segment.start for segment in segments], dtype=np.complex128), steps)
    t = (np.arange(len(z)) - np.repeat(starts, steps)) / np.repeat(steps, steps)
    for chosen in (arcs, cubics):
        own = np.repeat(np.arange(len(chosen)), steps[chosen])
        at = np.repeat(starts[chosen] - np.cumsum(steps[chosen]) + steps[chosen], steps[chosen])
        at += np.arange(len(own))
        if chosen is arcs:
            rounds = [(s.centre, s.sweep) for s in segments if isinstance(s, Arc)]
            centre = np.array([middle for middle, _ in rounds], dtype=np.complex128)[own]
            sweep = np.array([turn for _, turn in rounds])[own]
            z[at] = _on_arcs(centre, z[at], sweep, t[at])
        else:
            places = [(s.start, s.c1, s.c2, s.end) for s in segments if isinstance(s, Cubic)]
            p = np.array(places, dtype=np.complex128).reshape(-1, 4)[own].T
            z[at] = _on_cubics((p[0], p[1], p[2], p[3]), t[at])
    return z, steps


def arc_cubics(arc: Arc) -> tuple[Cubic, ...]:
    """The arc as cubics of at most 45 degrees each; farthest off by 4.2e-6 of the radius.

    Handles 4/3 tan(angle / 4) along the tangents: the usual fit of a Bezier curve to a circle.
    """
    steps = max(1, math.ceil(abs(arc.sweep) / (math.pi / 4) - 1e-9))
    centre, step = arc.centre, arc.sweep / steps
    handle = 4 / 3 * math.tan(step / 4)
    spokes = [(arc.start - centre) * cmath.exp(1j * step * k) for k in range(steps + 1)]
    ends = [arc.start, *(centre + s for s in spokes[1:-1]), arc.end]
    return tuple(
        Cubic(ends[k], centre + a * (1 + 1j * handle), centre + b * (1 - 1j * handle), ends[k + 1])
        for k, (a, b) in enumerate(pairwise(spokes))
    )


def length(segment: Segment) -> float:
    """Arc length; exact for lines and arcs, to 1e-3 of the chord tolerance for cubics."""
    match segment:
        case Line(start, end):
            return abs(end - start)
        case Arc():
            return segment.radius * abs(segment.sweep)
        case Cubic():
            return run_length(points(segment, 1e-4))


def swept_area(segment: Segment) -> float:
    """Signed area swept by the line from the origin to a point that runs along the segment; exact."""
    match segment:
        case Line(start, end):
            return _cross(start, end) / 2
        case Arc(start, end, _):
            return (_cross(start, end) + segment.radius**2 * (segment.sweep - math.sin(segment.sweep))) / 2
        case Cubic(a, b, c, d):
            near = _cross(a, b) + _cross(c, d)
            far = _cross(a, c) + _cross(b, c) + _cross(b, d)
            return (6 * near + 3 * far + _cross(a, d)) / 20


def tangent(segment: Segment, *, at_end: bool = False) -> complex:
    """Unit direction of travel at the start (or the end); 0 for a degenerate segment."""
    match segment:
        case Line(start, end):
            return _unit(end - start)
        case Arc(start, end, _):
            half = segment.sweep / 2
            return _unit((end - start) * cmath.exp(1j * (half if at_end else -half)))
        case Cubic(start, c1, c2, end):
            ahead = (end - c2, end - c1, end - start) if at_end else (c1 - start, c2 - start, end - start)
            return next((_unit(d) for d in ahead if abs(d) > 1e-12), 0j)


def run_length(z: ComplexArray) -> float:
    """Length of a polyline through points (n,); 0 for a single one."""
    return float(np.abs(np.diff(z)).sum())


def stations(z: ComplexArray) -> FloatArray:
    """How far along a polyline each of its points (n,) lies; the last station is its length."""
    return np.concatenate([[0.0], np.cumsum(np.abs(np.diff(z)))])


def to_array(z: ComplexArray) -> FloatArray:
    """Complex points (n,) as an (n, 2) array of x, y."""
    return np.column_stack([z.real, z.imag])


def to_complex(xy: FloatArray) -> ComplexArray:
    """An (n, 2) array of x, y as complex points (n,)."""
    return np.asarray(xy[:, 0] + 1j * xy[:, 1])


def _cross(a: complex, b: complex) -> float:
    return a.real * b.imag - a.imag * b.real


def _unit(d: complex) -> complex:
    size = abs(d)
    return d / size if size > 1e-15 else 0j


_Places: TypeAlias = complex | ComplexArray
"""A place, or one for each of some points."""


def _on_arcs(centre: _Places, start: _Places, sweep: float | FloatArray, t: FloatArray) -> ComplexArray:
    """Points at shares t (n,) of arcs, of one of them or each of its own."""
    return np.asarray(centre + (start - centre) * np.exp(1j * sweep * t))


def _on_cubics(p: tuple[_Places, _Places, _Places, _Places], t: FloatArray) -> ComplexArray:
    """Points at parameters t (n,) of Bezier cubics, of one of them or each of its own."""
    u = 1 - t
    return np.asarray(u**3 * p[0] + 3 * u**2 * t * p[1] + 3 * u * t**2 * p[2] + t**3 * p[3])


def _arc_steps(arc: Arc, tol: float) -> int:
    """Chords whose sagitta r (1 - cos(step / 2)) stays within tol."""
    ratio = min(max(1 - tol / arc.radius, -1.0), 1.0) if arc.radius > 0 else -1.0
    step = max(2 * math.acos(ratio), 1e-4)
    return max(1, math.ceil(abs(arc.sweep) / min(step, math.pi / 4)))


def _cubic_steps(cubic: Cubic, tol: float) -> int:
    """Uniform steps that bound the chord error: n = sqrt(max|second difference| * 6 / 8 / tol)."""
    bend = max(abs(cubic.start - 2 * cubic.c1 + cubic.c2), abs(cubic.c1 - 2 * cubic.c2 + cubic.end))
    return max(1, math.ceil(math.sqrt(0.75 * bend / tol)))
