"""A pass as the bit really walks it: ramps into the wood, turn after turn, over the tabs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from cutout.geom import curve
from cutout.geom.curve import Arc, Line
from cutout.route.model import Pass, Settings
from cutout.route.track import SHORT, Track

_LEAST_LEG = 0.5
"""A ramp to and fro is no shorter (mm), however near the next tab."""


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


def walk(cut: Pass, settings: Settings) -> tuple[Step, ...]:
    """The moves of one pass from the panel's face to its last turn, entering at the slope of a ramp.

    Each turn starts with a ramp down along the run (round and round where the run is shorter than the
    ramp, which makes a helix) and then goes once round at depth, so that the ramp itself is cut away too.
    Over a tab the bit rises to the tab's top. Behind it, where a tab has upright ends, it ramps down to and fro
    along the path; the ends of a sloped tab are ramps themselves.
    """
    track = Track(cut.ring)
    slope = math.tan(settings.ramp)
    at, z = 0.0, 0.0
    spans = []
    for depth in cut.depths:
        ramp_length = 0.0 if cut.drilled else (z - depth) / slope
        spans.append(_Span(at, at + ramp_length, z, depth))
        at += ramp_length
        spans.append(_Span(at, at + track.length, depth, depth))
        at += track.length
        z = depth
    lifted = _lift(spans, cut, track.length, settings)
    return tuple(_steps(track, lifted, _Fold(cut, track.length, slope)))


def turns(cut: Pass, settings: Settings) -> tuple[tuple[Step, ...], ...]:
    """The moves of one pass; between two of the parts the bit is lifted and goes back to the start.

    A pass round a whole ring is one part. One along a stretch has a part for each turn, which begins where the turn
    before has cut already, ramps to and fro down to its depth, and runs to the stretch's end.
    """
    if cut.part is None:
        return (walk(cut, settings),)
    track = Track(cut.ring)
    fold = _Fold(cut, track.length, math.tan(settings.ramp))
    found, z = [], 0.0
    for depth in cut.depths:
        spans = [*_lift([_Span(*cut.part, depth, depth)], cut, track.length, settings)]
        found.append(tuple(_steps(track, spans, fold, z)))
        z = spans[0].z0
    return tuple(found)


def _lift(spans: Sequence[_Span], cut: Pass, length: float, settings: Settings) -> Iterator[_Span]:
    if settings.tab_ends == "sloped":
        return _over_slopes(spans, cut, length, math.tan(settings.tab_slope))
    return _over_tabs(spans, cut, length)


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


def _over_slopes(spans: Iterable[_Span], cut: Pass, length: float, slope: float) -> Iterator[_Span]:
    """The spans kept above the tabs, whose ends fall at `slope` from the tab's top until they meet the path."""
    for span in spans:
        if min(span.z0, span.z1) >= cut.tab_top or not cut.tabs:
            yield span
            continue
        for piece in _split(span, _edges(_feet(cut, length, slope), span, length)):
            yield from _above(piece, *(_height(at, cut, length, slope) for at in (piece.start, piece.end)))


def _feet(cut: Pass, length: float, slope: float) -> list[float]:
    """Places between which the height of tabs with sloped ends changes evenly: ends, feet, middles of gaps."""
    reach = (cut.tab_top - cut.depths[-1]) / slope
    edges = []
    for tab, following in pairwise((*cut.tabs, cut.tabs[0])):
        gap = (following.start - tab.end) % length
        edges += [tab.start, tab.end, tab.end + gap / 2]
        edges += [tab.end + reach, tab.end + gap - reach] if 2 * reach < gap else []
    return edges


def _above(piece: _Span, a: float, b: float) -> Iterator[_Span]:
    """A piece, its z the greater of its own and of what stands there: a at its start, b at its end."""
    over_a, over_b = a - piece.z0, b - piece.z1
    if over_a >= 0 and over_b >= 0:
        yield _Span(piece.start, piece.end, a, b)
    elif over_a <= 0 and over_b <= 0:
        yield piece
    else:
        at = piece.start + (piece.end - piece.start) * over_a / (over_a - over_b)
        z = _z(piece, at)
        yield _Span(piece.start, at, max(a, piece.z0), z)
        yield _Span(at, piece.end, z, max(b, piece.z1))


def _height(at: float, cut: Pass, length: float, slope: float) -> float:
    """How high the tabs with sloped ends stand at a distance along the ring."""
    # Measured from a tab's middle, where rounding can't turn its very end into a whole ring away.
    away = [
        abs((at - (t.start + t.end) / 2 + length / 2) % length - length / 2) - (t.end - t.start) / 2
        for t in cut.tabs
    ]
    return cut.tab_top - max(min(away), 0.0) * slope


def _covers(start: float, end: float, at: float, length: float) -> bool:
    return (at - start) % length < (end - start)


def _tab_ends(span: _Span, cut: Pass, length: float) -> list[float]:
    return _edges([edge for t in cut.tabs for edge in (t.start, t.end)], span, length)


def _edges(edges: Sequence[float], span: _Span, length: float) -> list[float]:
    """The places on the ring, repeated in every turn the span touches, in order."""
    first, last = math.floor(span.start / length), math.ceil(span.end / length)
    return sorted({turn * length + edge for turn in range(first - 2, last + 2) for edge in edges})


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


class _Fold:
    """Ramps to and fro behind the tabs of one pass."""

    def __init__(self, cut: Pass, length: float, slope: float) -> None:
        self.cut, self.length, self.slope = cut, length, slope

    def down(self, at: float, z0: float, z1: float) -> Iterator[_Span]:
        """From z0 down to z1 and back to the same place: even legs, none into the next tab."""
        whole = (z0 - z1) / self.slope
        legs = 2 * max(1, math.ceil(whole / 2 / max(self._room(at), _LEAST_LEG)))
        leg, drop = whole / legs, (z0 - z1) / legs
        for n in range(legs):
            z = z0 - n * drop
            there = (at, at + leg) if n % 2 == 0 else (at + leg, at)
            yield _Span(*there, z, z - drop)

    def _room(self, at: float) -> float:
        """Length of path from a place to the next tab or the stretch's end; half the ring where there is none."""
        ahead = [(t.start - at) % self.length for t in self.cut.tabs]
        ahead += [self.cut.part[1] - at] if self.cut.part else []
        return min([a for a in ahead if a > SHORT] or [self.length / 2])


def _steps(track: Track, spans: Iterable[_Span], fold: _Fold, z: float = 0.0) -> Iterator[Step]:
    """The spans as moves, from z on; where the next one begins lower, a ramp to and fro leads down to it."""
    for span in spans:
        if span.end - span.start <= SHORT:
            continue
        if z - span.z0 > SHORT and not fold.cut.drilled:
            for leg in fold.down(span.start, z, span.z0):
                yield from _along(track, leg)
        elif abs(span.z0 - z) > SHORT:
            here = track.place(span.start)
            yield Step(Line(here, here), z, span.z0)
        yield from _along(track, span)
        z = span.z1


def _along(track: Track, span: _Span) -> Iterator[Step]:
    """The moves of one span; one whose end lies before its start runs backwards."""
    if span.end >= span.start:
        for run, a, b in track.stretch(span.start, span.end):
            yield Step(run, _z(span, a), _z(span, b))
        return
    turned = _Span(span.end, span.start, span.z1, span.z0)
    for run, a, b in reversed([*track.stretch(span.end, span.start)]):
        back = curve.reverse(run)
        assert isinstance(back, Line | Arc)
        yield Step(back, _z(turned, b), _z(turned, a))
