"""How straight the straight stretches of lines are: a level in the wrong space makes them wave.

An edge at a slant to the pixel rows covers all shares of the pixels it runs through, one after the other. Where
shares are mistaken for others, the line found sways from row to row; only in the right space does it run straight.
"""

from __future__ import annotations

import math

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.trace.corners import IntArray, Loops, resampled

_REACH = 30
"""Samples (half a pixel apart) to each side of a place that a straight line is laid through: by the slant at which an
edge passes a pixel row within, 2 degrees."""

_STRAIGHTEST = 0.3
"""Share of all places that are counted as straight."""

_LEAST = 200
"""So few places tell nothing."""

_MOST = 10_000
"""Of more places only so many, evenly spread, are looked at: they tell the same."""

_ROUGH, _STRAIGHT = 0.002, 0.3
"""Misses (px) below which all is straight, and above which none of it is: there are bends only."""

TELLING, CLEARLY = 0.4, 1.0
"""log of the ratio of two lines' misses that tells which is the straighter, and the same that tells it against what
profiles seem to say. By measurement on tests/bench/shapes.py: at most 0.21 the wrong way (phones), 1.5 and more where
edges are sharp and straight."""

GRAINY = 3.0
"""Sigma of grain, in codes, from which on only what is told clearly is believed. In light dark parts' grain is next
to nothing, so lines found there are the smoother ones, by up to 0.44 on those pictures, whatever the truth is."""


SWAYING = 0.75
"""Blur (px) that edges seem to have from which on lines don't sway in either space: a pixel's share changes as evenly
as the edge passes it. Sharp ones of those pictures seem to have 0.5 to 0.61, blurred ones 0.9 and more."""


def straighter(one: list[ComplexArray], two: list[ComplexArray]) -> float:
    """log of how much less straight the one's straight stretches are than the other's; 0 where neither has any."""
    misses = [_misses(lines) for lines in (one, two)]
    if any(missed is None or missed > _STRAIGHT for missed in misses):
        return 0.0
    return math.log(max(misses[0] or 0.0, _ROUGH) / max(misses[1] or 0.0, _ROUGH))


def _misses(lines: list[ComplexArray]) -> float | None:
    """Root mean square miss (px) of lines laid through their straightest stretches; None where there are too few."""
    long = [z for z in lines if len(z) > _REACH]
    samples = [z for z in resampled(long) if len(z) > 4 * _REACH] if long else []
    total = sum(len(z) for z in samples)
    if total < _LEAST:
        return None
    loops = Loops.of(samples, 0)
    ring, number = loops.ring, np.arange(total)
    some = slice(None, None, max(1, total // _MOST))
    missed = _missed(loops, ring[some], (number - loops.start[ring])[some])
    return float(np.quantile(missed, _STRAIGHTEST))


def _missed(loops: Loops, ring: IntArray, number: IntArray) -> FloatArray:
    """Root mean square distance of the samples about each of some from the line through them, from their moments."""
    t = np.arange(-_REACH, _REACH + 1)
    z = loops.at(ring[:, None], number[:, None] + t) - loops.at(ring, number)[:, None]
    middle, along = z.mean(axis=1), z @ (t / (t**2).sum())
    along /= np.maximum(np.abs(along), 1e-9)
    spread = (z.real**2 + z.imag**2).mean(axis=1) - np.abs(middle) ** 2
    turned = ((z * z).mean(axis=1) - middle * middle) * along.conj() ** 2
    return np.asarray(np.sqrt(np.maximum((spread - turned.real) / 2, 0.0)))
