"""Ends of narrow parts: points and bar ends, whose corners lie nearer to each other than the picture can show.

The half-way line of a fine point stops where the point is about a pixel wide, and rounds the end of a narrow bar to a
bow. Its flanks are known from farther back, though, and so is how much of each pixel about the end is covered. So the
end is looked for whose blurred likeness is the picture: two flanks that meet, or two flanks with a straight end or a
half circle between them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, to_array
from cutout.read.picture.ends_noticed import Arms, arms_of, at_rim, narrow_places, rooms_of
from cutout.read.picture.ends_shapes import Laid
from cutout.read.picture.ends_view import ASIDE, PIXEL, View
from cutout.read.picture.figure import Field
from cutout.trace.iso import IsoLines

_NARROW = 0.66
"""Chord over length of line about an end: 83 degrees between straight flanks, or a bar two thirds as wide
as the stretch is long."""

_BLUNT = 0.8
"""The same of corners up to 106 degrees, which the line itself shows: they are laid anew where it leaves doubt."""

_HALF, _HALF_BLURS = 4.0, (3.0, 5.0)
"""Lengths (px, and in sigmas of the blur) of line to each side of an end by which it is noticed: points by the
shorter one, ends of bars whose corners only just blur into each other by the longer. By trial."""

_ARM, _ARM_BLURS = 7.0, 5.0
"""The same by which it is laid anew. By trial."""

_BITS_ARM, _BITS_SHARE = 32.0, 0.9
"""The same (px) in a picture of black and white, whose flanks tell their way by where they step from row to row, and
what share of the room there is."""

_BITS_FLANKS = (12.0, 24.0, 48.0, 96.0)
"""Lengths (px) of line beyond where the arms begin that tell their place and way there in such a picture: of those
that a parabola runs along the longest."""

_MOST_ENDS = 60
"""In a picture with more such places they are texture, and stay as they are."""

_CRUMB = 4.0
"""A closed line less across (px) is a crumb if it lies in an end."""


def ends_restored(field: Field, found: IsoLines, sigma: float) -> IsoLines:
    """The lines with points and narrow ends laid anew, their corners named, where the picture shows them well enough.

    sigma: of the Gaussian that the values are blurred by (px), the pixels' own width apart.
    """
    blur = math.hypot(sigma, PIXEL)
    halves = [_HALF + k * blur for k in _HALF_BLURS]

    def noticed(halves: Sequence[float], most: float) -> Iterator[tuple[int, int]]:
        # What the picture's rim cuts off has its end there, and shows none.
        every = narrow_places(found.lines, halves, most)
        return (at for at in every if not at_rim(found.lines[at[0]][at[1]], field.values.shape))

    places = list(itertools.islice(noticed(halves, _NARROW), _MOST_ENDS + 1))
    if len(places) > _MOST_ENDS:
        return found
    blunt = _beside(found.lines, list(noticed(halves[:1], _BLUNT)), places, 1.5 * halves[0])
    if not places and not blunt:
        return found
    view = View.of(field, found, sigma)
    far = _ARM + _ARM_BLURS * blur
    rooms = rooms_of(found.lines, places + blunt)
    ends: list[tuple[int, Arms]] = []
    for n, ((k, i), room) in enumerate(zip(places + blunt, rooms, strict=True)):
        arm = min(far, room) if field.bits is None else min(_BITS_ARM, _BITS_SHARE * room)
        arms = arms_of(found.lines[k], i, arm, () if field.bits is None else _BITS_FLANKS)
        if arms is None or (n >= len(places) and not view.doubts(k, arms, found.blur)):
            continue
        ends.append((k, arms))
    laid: dict[int, list[Laid]] = {}
    for (k, _), best in zip(ends, view.best(ends), strict=True):
        if best is not None:
            laid.setdefault(k, []).append(best)
    laid = {k: kept for k, ends in laid.items() if (kept := _uncrossed(found.lines[k], ends))}
    if not laid:
        return found
    every = [end for those in laid.values() for end in those]
    gone = _swallowed(found.lines, every)
    lines = [_spliced(z, laid[k]) if k in laid else z for k, z in enumerate(found.lines) if k not in gone]
    apexes = np.array([p for end in every for p in end.corners], dtype=np.complex128)
    rounds = np.array(
        [end.points[len(end.points) // 2] for end in every if not end.corners], dtype=np.complex128
    )
    return replace(found, lines=lines, apexes=apexes, rounds=rounds)


def _uncrossed(z: ComplexArray, ends: list[Laid]) -> list[Laid]:
    """The ends that can be laid into the line, one after the other, without crossing it.

    A line so fine that it crosses itself by its points may be mended by its ends; that it does so elsewhere is not
    their fault.
    """
    if shapely.LinearRing(to_array(_spliced(z, ends))).is_simple:
        return ends
    kept: list[Laid] = []
    for end in ends:
        p = end.points
        # It meets the rest at both its ends, where it begins a little farther on.
        own = shapely.LineString(
            to_array(np.array([0.9 * p[0] + 0.1 * p[1], *p[1:-1], 0.1 * p[-2] + 0.9 * p[-1]]))
        )
        rest = shapely.LinearRing(to_array(_spliced(z, [*kept, replace(end, points=end.points[:0])])))
        if own.is_simple and not own.intersects(rest):
            kept.append(end)
    return kept


def _swallowed(lines: list[ComplexArray], ends: list[Laid]) -> set[int]:
    """Numbers of the crumbs that a fine point had come apart into, and which its end takes in."""
    crumbs = [k for k, z in enumerate(lines) if max(np.ptp(z.real), np.ptp(z.imag)) < _CRUMB]
    middles = [shapely.Point(z.real, z.imag) for z in (lines[k].mean() for k in crumbs)]
    around = [shapely.Polygon(to_array(end.points)).buffer(ASIDE) for end in ends]
    return {k for k, at in zip(crumbs, middles, strict=True) if any(end.contains(at) for end in around)}


def _beside(
    lines: list[ComplexArray], places: list[tuple[int, int]], known: list[tuple[int, int]], reach: float
) -> list[tuple[int, int]]:
    """The places that lie farther than `reach` (px) from those known on the same line."""
    return [
        (k, i)
        for k, i in places
        if all(k != line or abs(lines[k][i] - lines[k][at]) > reach for line, at in known)
    ]


def _spliced(z: ComplexArray, ends: list[Laid]) -> ComplexArray:
    """The closed line with each end in place of the points it stands for."""
    n = len(z)
    keep = np.ones(n, dtype=bool)
    for end in ends:
        keep[np.arange(end.first, end.last + 1) % n] = False
    begin = int(np.flatnonzero(keep)[0])
    parts, last = [], begin
    for end in sorted(ends, key=lambda e: (e.first - begin) % n):
        first = begin + (end.first - begin) % n
        parts += [z[np.arange(last, first) % n], end.points]
        last = first + end.last - end.first + 1
    parts.append(z[np.arange(last, begin + n) % n])
    return np.concatenate(parts)
