"""Curves that a change of the pattern did not touch, put back where it left straight runs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from cutout.geom import curve
from cutout.geom.curve import Line, Segment
from cutout.geom.outline import Ring
from cutout.pattern import Pattern
from cutout.pattern.placing import stepped_points

Run = tuple[Segment, list[complex]]
"""A curve and the points that stand for it."""


def keep_curves(old: Pattern, new: Pattern) -> Pattern:
    """The new pattern with arcs and cubics of the old one's outline wherever all of their points are still there.

    Regions are made of points that stand for the outline's curves; a change keeps those it does not reach as
    they were, to the last bit, so that they tell which curve they came from.
    """
    starts: dict[complex, list[Run]] = {}
    for ring in old.outline.rings:
        for segment in ring.segments:
            if not isinstance(segment, Line):
                run: list[complex] = stepped_points(curve.points(segment)).tolist()
                starts.setdefault(run[0], []).append((segment, run))
    if not starts:
        return new
    rings = tuple(_curved(ring, starts) for ring in new.outline.rings)
    return replace(new, outline=replace(new.outline, rings=rings))


def _curved(ring: Ring, starts: dict[complex, list[Run]]) -> Ring:
    if not all(isinstance(s, Line) for s in ring.segments):
        return ring
    z: list[complex] = stepped_points(np.array([s.start for s in ring.segments])).tolist()
    found = {i: hit for i in range(len(z)) for hit in _hits(z, i, starts)}
    if not found:
        return ring
    first = min(found)
    segments: list[Segment] = []
    i = first
    while i < first + len(z):
        segment, steps = found.get(i % len(z), (ring.segments[i % len(z)], 1))
        segments.append(segment)
        i += steps
    return Ring(tuple(segments))


def _hits(z: list[complex], i: int, starts: dict[complex, list[Run]]) -> Iterator[tuple[Segment, int]]:
    """Curves whose points are those of the ring from vertex i on, and how many steps each takes."""
    n = len(z)
    for segment, run in starts.get(z[i], ()):
        if len(run) <= n and all(z[(i + k) % n] == run[k] for k in range(1, len(run))):
            yield segment, len(run) - 1
