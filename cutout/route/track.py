"""A ring measured along its length."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import accumulate

import numpy as np

from cutout.geom import curve
from cutout.geom.arcfit import longest
from cutout.geom.curve import Arc, ComplexArray, FloatArray, Line, Segment
from cutout.geom.outline import Ring

SHORT = 1e-7
"""Runs shorter than this (mm) are rounding."""


class Track:
    """A ring of lines and arcs by the distance along it, so that any stretch of it can be taken out."""

    def __init__(self, ring: Ring) -> None:
        self.runs = [_plain(s) for s in ring.segments]
        self.ends = list(accumulate(curve.length(s) for s in self.runs))
        self.length = self.ends[-1]

    def stretch(self, start: float, end: float) -> Iterator[tuple[Line | Arc, float, float]]:
        """Pieces of the ring from `start` to `end` (mm along it, may pass the end) and where each lies."""
        turn = math.floor(start / self.length) * self.length
        i, at = self._index(start - turn), start
        while end - at > SHORT:
            first, last = turn + (self.ends[i - 1] if i else 0.0), turn + self.ends[i]
            stop = min(last, end)
            if stop - at > SHORT:
                size = last - first
                yield part(self.runs[i], (at - first) / size, (stop - first) / size), at, stop
            at, i = max(at, stop), i + 1
            if i == len(self.runs):
                i, turn = 0, turn + self.length

    def place(self, at: float) -> complex:
        """The point `at` mm along the ring."""
        here = at % self.length
        i = self._index(here)
        first = self.ends[i - 1] if i else 0.0
        size = self.ends[i] - first
        return part(self.runs[i], 0.0, (here - first) / size).end if size > SHORT else self.runs[i].start

    def samples(self, at: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Points and unit directions of travel at distances `at` (n,) along the ring; both (n,) complex."""
        here = at % self.length
        ends = np.array(self.ends)
        i = np.minimum(np.searchsorted(ends, here, side="right"), len(ends) - 1)
        sizes = np.diff(ends, prepend=0.0)
        share = (here - (ends - sizes)[i]) / np.maximum(sizes[i], SHORT)
        start = np.array([r.start for r in self.runs])[i]
        chord = np.array([r.end for r in self.runs])[i] - start
        half = np.array([r.sweep if isinstance(r, Arc) else 0.0 for r in self.runs])[i] / 2
        unit = chord / np.maximum(np.abs(chord), 1e-300)
        # The chord to a share of an arc is turned by half of what is left of it and shorter by sines.
        curved = np.abs(half) > 1e-9
        ratio = np.where(curved, np.sin(half * share) / np.sin(np.where(curved, half, 1.0)), share)
        points = start + chord * ratio * np.exp(1j * half * (share - 1))
        return points, unit * np.exp(1j * half * (2 * share - 1))

    def _index(self, here: float) -> int:
        return min(bisect_right(self.ends, here), len(self.runs) - 1)


def part(run: Line | Arc, f0: float, f1: float) -> Line | Arc:
    """The stretch of a line or arc between two shares of its length, 0..1."""
    start = run.start if f0 <= 0 else _at(run, f0)
    end = run.end if f1 >= 1 else _at(run, f1)
    if isinstance(run, Line):
        return Line(start, end)
    return Arc(start, end, math.tan(run.sweep * (min(f1, 1.0) - max(f0, 0.0)) / 4))


def from_middle_of_longest(rings: Sequence[Ring]) -> list[Ring]:
    """The same rings, each started in the middle of its longest line or arc, where entering the wood marks least."""
    found = []
    for ring, i in zip(rings, longest(rings), strict=True):
        runs = [_plain(s) for s in ring.segments]
        first, second = part(runs[i], 0.0, 0.5), part(runs[i], 0.5, 1.0)
        found.append(Ring((second, *runs[i + 1 :], *runs[:i], first)))
    return found


def _at(run: Line | Arc, f: float) -> complex:
    if isinstance(run, Line):
        return run.start + f * (run.end - run.start)
    angle = run.sweep * f
    return run.centre + (run.start - run.centre) * complex(math.cos(angle), math.sin(angle))


def _plain(segment: Segment) -> Line | Arc:
    if isinstance(segment, Line | Arc):
        return segment
    raise TypeError("a tool path is made of lines and arcs only")
