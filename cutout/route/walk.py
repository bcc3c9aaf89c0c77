"""A pass as the bit really walks it: ramps into the wood, turn after turn, over the tabs."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import accumulate, pairwise

from cutout.geom import curve
from cutout.geom.curve import Arc, Line, Segment
from cutout.geom.outline import Ring
from cutout.route.model import Pass

_SHORT = 1e-7
"""Runs shorter than this (mm) are rounding."""
_LEAST_RING = 0.5
"""A run shorter than this (mm) is a hole the size of the bit: it goes straight down."""


@dataclass(frozen=True, slots=True)
class Step:
    """One move of the bit's tip: along `run` while z goes evenly from `z0` to `z1`; straight up or down
    at `run.start` when the run has no length."""

    run: Line | Arc
    z0: float
    z1: float

    @property
    def upright(self) -> bool:
        """Whether the bit only moves up or down."""
        return self.run.start == self.run.end


@dataclass(frozen=True, slots=True)
class _Span:
    start: float
    end: float
    z0: float
    z1: float


def walk(cut: Pass, ramp: float) -> tuple[Step, ...]:
    """The moves of one pass from the panel's face to its last turn, entering at a slope of `ramp` radians.

    Each turn starts with a ramp down along the run (round and round where the run is shorter than the
    ramp, which makes a helix) and then goes once round at depth, so that the ramp itself is cut away too.
    Over a tab the bit rises to the tab's top.
    """
    track = _Track(cut.ring)
    slope = math.tan(ramp)
    at, z = 0.0, 0.0
    spans = []
    for depth in cut.depths:
        ramp_length = (z - depth) / slope if track.length > _LEAST_RING else 0.0
        spans.append(_Span(at, at + ramp_length, z, depth))
        at += ramp_length
        spans.append(_Span(at, at + track.length, depth, depth))
        at += track.length
        z = depth
    return tuple(_steps(track, _over_tabs(spans, cut, track.length)))


class _Track:
    """A ring measured along its length, so that any stretch of it can be taken out."""

    def __init__(self, ring: Ring) -> None:
        self.segments = [_plain(s) for s in ring.segments]
        self.ends = list(accumulate(curve.length(s) for s in self.segments))
        self.length = self.ends[-1]

    def stretch(self, start: float, end: float) -> Iterator[tuple[Line | Arc, float, float]]:
        """Pieces of the ring from `start` to `end` (mm along it, may pass the end) and where each lies."""
        at = start
        while end - at > _SHORT:
            turn, here = divmod(at, self.length)
            i = min(bisect_right(self.ends, here), len(self.ends) - 1)
            first = self.ends[i - 1] if i else 0.0
            size = self.ends[i] - first
            stop = min(turn * self.length + self.ends[i], end)
            if size > _SHORT and stop - at > _SHORT:
                f0, f1 = (here - first) / size, min((stop - turn * self.length - first) / size, 1.0)
                yield part(self.segments[i], f0, f1), at, stop
            at = max(stop, math.nextafter(at, math.inf)) if stop - at > _SHORT else at + 2 * _SHORT

    def place(self, at: float) -> complex:
        """The point `at` mm along the ring."""
        here = at % self.length
        i = min(bisect_right(self.ends, here), len(self.ends) - 1)
        first = self.ends[i - 1] if i else 0.0
        size = self.ends[i] - first
        return part(self.segments[i], 0.0, (here - first) / size).end if size > 0 else self.segments[i].start


def part(run: Line | Arc, f0: float, f1: float) -> Line | Arc:
    """The stretch of a line or arc between two shares of its length, 0..1."""
    start = run.start if f0 <= 0 else _at(run, f0)
    end = run.end if f1 >= 1 else _at(run, f1)
    if isinstance(run, Line):
        return Line(start, end)
    return Arc(start, end, math.tan(run.sweep * (min(f1, 1.0) - max(f0, 0.0)) / 4))


def _at(run: Line | Arc, f: float) -> complex:
    if isinstance(run, Line):
        return run.start + f * (run.end - run.start)
    angle = run.sweep * f
    return run.centre + (run.start - run.centre) * complex(math.cos(angle), math.sin(angle))


def _plain(segment: Segment) -> Line | Arc:
    if isinstance(segment, Line | Arc):
        return segment
    raise TypeError("a tool path is made of lines and arcs only")


def _over_tabs(spans: Iterable[_Span], cut: Pass, length: float) -> Iterator[_Span]:
    """The spans cut at the tabs' ends and lifted to the tabs' top between them."""
    for span in spans:
        if min(span.z0, span.z1) >= cut.tab_top or not cut.tabs:
            yield span
            continue
        for piece in _split(span, _tab_ends(span, cut, length)):
            middle = ((piece.start + piece.end) / 2) % length
            if any(_covers(t.start, t.end, middle, length) for t in cut.tabs):
                yield from _lifted(piece, cut.tab_top)
            else:
                yield piece


def _covers(start: float, end: float, at: float, length: float) -> bool:
    return (at - start) % length < (end - start)


def _tab_ends(span: _Span, cut: Pass, length: float) -> list[float]:
    first, last = math.floor(span.start / length), math.ceil(span.end / length)
    ends = {
        turn * length + edge
        for turn in range(first - 1, last + 1)
        for t in cut.tabs
        for edge in (t.start, t.end)
    }
    return sorted(ends)


def _split(span: _Span, at: Iterable[float]) -> Iterator[_Span]:
    cuts = [span.start, *(a for a in at if span.start + _SHORT < a < span.end - _SHORT), span.end]
    for a, b in pairwise(cuts):
        yield _Span(a, b, _z(span, a), _z(span, b))


def _z(span: _Span, at: float) -> float:
    size = span.end - span.start
    return span.z0 + (span.z1 - span.z0) * ((at - span.start) / size) if size > 0 else span.z1


def _lifted(span: _Span, top: float) -> Iterator[_Span]:
    if span.z0 > top > span.z1:
        turn = span.start + (span.end - span.start) * (span.z0 - top) / (span.z0 - span.z1)
        yield _Span(span.start, turn, span.z0, top)
        yield _Span(turn, span.end, top, top)
    else:
        yield _Span(span.start, span.end, max(span.z0, top), max(span.z1, top))


def _steps(track: _Track, spans: Iterable[_Span]) -> Iterator[Step]:
    z = 0.0
    for span in spans:
        if span.end - span.start <= _SHORT:
            continue
        if span.z0 != z:
            here = track.place(span.start)
            yield Step(Line(here, here), z, span.z0)
        for run, a, b in track.stretch(span.start, span.end):
            yield Step(run, _z(span, a), _z(span, b))
        z = span.z1
