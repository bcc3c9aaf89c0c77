"""A pass as the bit really walks it: ramps into the wood, turn after turn, over the tabs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from cutout.geom.curve import Arc, Line
from cutout.route.model import Pass
from cutout.route.track import SHORT, Track

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
    track = Track(cut.ring)
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
    cuts = [span.start, *(a for a in at if span.start + SHORT < a < span.end - SHORT), span.end]
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


def _steps(track: Track, spans: Iterable[_Span]) -> Iterator[Step]:
    z = 0.0
    for span in spans:
        if span.end - span.start <= SHORT:
            continue
        if abs(span.z0 - z) > SHORT:
            here = track.place(span.start)
            yield Step(Line(here, here), z, span.z0)
        for run, a, b in track.stretch(span.start, span.end):
            yield Step(run, _z(span, a), _z(span, b))
        z = span.z1
