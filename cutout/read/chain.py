"""Loose runs of segments joined end to end into closed loops."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from cutout.geom import curve
from cutout.geom.curve import Line, Segment

Run = tuple[Segment, ...]


@dataclass(frozen=True, slots=True)
class Chained:
    """Closed loops, runs that close nowhere, the gaps that were bridged, and how many runs were doubles."""

    loops: tuple[Run, ...]
    open: tuple[Run, ...]
    gaps: tuple[tuple[complex, float], ...]
    doubles: int


def chain(runs: Sequence[Run], snap: float, gap: float) -> Chained:
    """Join runs whose ends lie within `gap` of each other, nearest pairs first.

    Ends within `snap` are the same point; wider gaps are bridged by a straight run and listed with their
    place and width. Runs drawn twice count once.
    """
    single = _without_doubles([r for r in runs if r], snap)
    mates, gaps = _mates(single, snap, gap)
    loops: list[Run] = []
    loose: list[Run] = []
    seen: set[int] = set()
    starts = sorted(range(2 * len(single)), key=lambda end: (mates[end] >= 0, end))
    for end in starts:
        if end // 2 in seen:
            continue
        pieces, closed = _follow(end, mates, single, seen)
        if closed:
            loops.append(_welded(pieces, snap, closed=True))
        else:
            loose.append(_welded(pieces, snap, closed=False))
    return Chained(tuple(loops), tuple(loose), gaps, len([r for r in runs if r]) - len(single))


def _without_doubles(runs: Sequence[Run], snap: float) -> list[Run]:
    kept: dict[tuple[complex, ...], Run] = {}
    for run in runs:
        marks = [run[0].start]
        for segment in run:
            z = curve.points(segment, max(snap, curve.length(segment) * 0.1))
            marks += [
                complex(z[len(z) // 2]) if len(z) % 2 else (segment.start + segment.end) / 2,
                segment.end,
            ]
        rounded = tuple(complex(round(z.real / snap / 4), round(z.imag / snap / 4)) for z in marks)
        back = rounded[::-1]
        kept.setdefault(min(rounded, back, key=lambda t: [(z.real, z.imag) for z in t]), run)
    return list(kept.values())


def _mates(
    runs: Sequence[Run], snap: float, gap: float
) -> tuple[list[int], tuple[tuple[complex, float], ...]]:
    """For each end (2 i: start of run i, 2 i + 1: its end) the end it is joined to, or -1."""
    ends = np.array([z for run in runs for z in (run[0].start, run[-1].end)])
    mates = [-1] * len(ends)
    if len(ends) == 0:
        return mates, ()
    places = np.asarray(shapely.points(ends.real, ends.imag), dtype=object)
    one, two = shapely.STRtree(places).query(places, predicate="dwithin", distance=gap)
    pairs = one < two
    one, two = one[pairs], two[pairs]
    apart = np.abs(ends[one] - ends[two])
    lengths = [sum(curve.length(s) for s in run) for run in runs]
    gaps: list[tuple[complex, float]] = []
    for k in np.lexsort((two, one, np.where(apart <= snap, 0.0, apart))).tolist():
        i, j, width = int(one[k]), int(two[k]), float(apart[k])
        short = i // 2 == j // 2 and lengths[i // 2] <= 2 * width + snap
        if mates[i] >= 0 or mates[j] >= 0 or short:
            continue
        mates[i], mates[j] = j, i
        if width > snap:
            gaps.append((complex(ends[i] + ends[j]) / 2, width))
    return mates, tuple(gaps)


def _follow(end: int, mates: Sequence[int], runs: Sequence[Run], seen: set[int]) -> tuple[list[Run], bool]:
    """The runs met when walking away from `end`, each turned to the walking direction."""
    pieces: list[Run] = []
    at = end
    while True:
        seen.add(at // 2)
        run = runs[at // 2]
        pieces.append(run if at % 2 == 0 else tuple(curve.reverse(s) for s in reversed(run)))
        following = mates[at ^ 1]
        if following == end:
            return pieces, True
        if following < 0 or following // 2 in seen:
            return pieces, False
        at = following


def _welded(pieces: Sequence[Run], snap: float, *, closed: bool) -> Run:
    """One run: ends that nearly meet are pinned together, gaps become straight runs."""
    made: list[Segment] = []
    for piece in pieces:
        if made and made[-1].end != piece[0].start:
            made.extend(_joint(made, piece[0].start, snap))
        made.extend(piece)
    if closed and made[-1].end != made[0].start:
        made.extend(_joint(made, made[0].start, snap))
    return tuple(made)


def _joint(made: list[Segment], to: complex, snap: float) -> list[Segment]:
    if abs(made[-1].end - to) <= snap:
        made[-1] = replace(made[-1], end=to)
        return []
    return [Line(made[-1].end, to)]
