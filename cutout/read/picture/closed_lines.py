"""Unfilled outline drawings: the closed line of a pen stands for what it encloses."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from cutout.choices import FillHow
from cutout.geom.curve import ComplexArray, to_array
from cutout.geom.outline import Note, polygons_of

_PEN = 0.02
"""A closed line's width is at most this share of its longer side to be taken for a pen's by itself: 3 mm on half a
sheet of A4, a broad marker."""

_ASKED = 0.06
"""The same where filling was asked for."""

_EVEN = 2.5
"""Nowhere is a pen's line so many times as wide as on the average."""

_GAP, _MOSTLY = 0.1, 0.3
"""Longest gap in a line that is worth a word, as a share of its longer side; and the share of what it spans that it
would enclose without."""

_KEPT = (
    "Part of the drawing is a closed thin line and was kept as a line: fill in what it encloses with "
    'fill = "outline".'
)


@dataclass(frozen=True)
class _Loop:
    """An iso-line: signed area (px^2; holes below 0), length, longer side, and the loops directly within it."""

    area: float
    length: float
    size: float
    within: tuple[int, ...]


def fill_lines(
    lines: Sequence[ComplexArray], how: FillHow | None
) -> tuple[list[ComplexArray], tuple[Note, ...]]:
    """The closed lines (outer ones counter-clockwise) with those of pens filled, as `how` says, and a word on it.

    Where nothing was asked, a drawing is filled if nothing else can be meant: everything in it is a thin closed
    line of even width with nothing inside. A filled line belongs to the figure up to its outer edge; a
    closed line within it encloses an opening.
    """
    if how == "as drawn":
        return list(lines), ()
    loops, top = _nested(lines)
    pens = [k for k in top if _is_pen(loops, k, _ASKED if how == "outline" else _PEN)]
    if how == "outline":
        if not pens:
            text = "Nothing was filled: no closed thin line was found. Close its gaps, or fill the figure in by hand."
            return list(lines), (Note("fill", text),)
        kept = [j for k in top for j in _kept(loops, k, _ASKED)]
        return [lines[k] for k in sorted(kept)], (Note("fill", "Closed lines were filled, as asked."),)
    if not pens:
        return list(lines), _offered(lines, loops, top)
    plain = len(pens) == len(top) and all(
        len(loops[k].within) == 1 and not loops[loops[k].within[0]].within and _even(lines, loops, k)
        for k in pens
    )
    if not plain:
        return list(lines), (Note("fill", _KEPT),)
    text = (
        "An unfilled outline: what the closed line encloses was filled, up to the line's outer edge. To cut "
        'the line itself, set fill = "as drawn".'
    )
    return [lines[k] for k in sorted(pens)], (Note("fill", text),)


def _offered(lines: Sequence[ComplexArray], loops: Sequence[_Loop], top: Sequence[int]) -> tuple[Note, ...]:
    """A word where a line may be meant for what it encloses: broad as a brush's, or closed but for a gap."""
    if any(_is_pen(loops, k, _ASKED) for k in top):
        return (Note("fill", _KEPT),)
    if any(_nearly_closed(lines[k], loops[k]) for k in top if not loops[k].within):
        text = (
            "A thin line goes round nearly all the way and has a gap, so it was kept as a line. If what it encloses "
            "is meant, close the gap in the picture."
        )
        return (Note("fill", text),)
    return ()


def _nearly_closed(line: ComplexArray, loop: _Loop) -> bool:
    """Whether a line drawn with a pen, grown by a little, would close round most of what it spans."""
    width = 2 * loop.area / loop.length
    if width > _PEN * loop.size:
        return False
    shape = shapely.simplify(shapely.Polygon(to_array(line)), 0.2 * width).buffer(0)
    grown = shape.buffer(max(_GAP * loop.size, width) / 2, quad_segs=2)
    enclosed = sum(shapely.Polygon(hole).area for part in polygons_of(grown) for hole in part.interiors)
    return bool(enclosed > _MOSTLY * shapely.convex_hull(shape).area)


def _kept(loops: Sequence[_Loop], k: int, most: float) -> list[int]:
    """Lines kept of outer line k and all within it, pens filled."""
    if not _is_pen(loops, k, most):
        inner = [j for h in loops[k].within for j in loops[h].within]
        return [k, *loops[k].within, *(m for j in inner for m in _kept(loops, j, most))]
    kept = [k]
    for line in (j for h in loops[k].within for j in loops[h].within):
        # What is drawn within a filled line: the holes of closed lines stay open, with whatever lies in them.
        for hole in loops[line].within:
            kept.append(hole)
            kept.extend(m for j in loops[hole].within for m in _kept(loops, j, most))
    return kept


def _is_pen(loops: Sequence[_Loop], k: int, most: float) -> bool:
    """Whether outer line k and the holes in it bound a thin line that closes round most of what it spans."""
    holes = [loops[h] for h in loops[k].within]
    inked = loops[k].area + sum(h.area for h in holes)
    width = 2 * inked / (loops[k].length + sum(h.length for h in holes))
    return bool(holes) and width <= most * loops[k].size and inked < 0.4 * loops[k].area


def _even(lines: Sequence[ComplexArray], loops: Sequence[_Loop], k: int) -> bool:
    hole = loops[k].within[0]
    width = 2 * (loops[k].area + loops[hole].area) / (loops[k].length + loops[hole].length)
    outer = shapely.linearrings(to_array(lines[k]))
    return bool(shapely.distance(outer, shapely.points(to_array(lines[hole]))).max() <= _EVEN * width + 1.0)


def _nested(lines: Sequence[ComplexArray]) -> tuple[list[_Loop], list[int]]:
    """The lines with what lies directly within each, and those within none. Lines don't cross."""
    numbers = np.repeat(np.arange(len(lines)), [len(z) for z in lines])
    rings = shapely.linearrings(to_array(np.concatenate(lines)), indices=numbers)
    shapes = np.asarray(shapely.polygons(rings), dtype=object)
    areas = np.array([float((z.conj() * np.roll(z, -1)).imag.sum()) / 2 for z in lines])
    starts = shapely.points(to_array(np.array([z[0] for z in lines])))
    one, around = shapely.STRtree(shapes).query(starts, predicate="within")
    apart = (one != around) & (np.abs(areas[around]) > np.abs(areas[one]))
    one, around = one[apart], around[apart]
    parent = np.full(len(lines), -1)
    # The smallest that surrounds a line is written last.
    order = np.argsort(-np.abs(areas[around]), kind="stable")
    parent[one[order]] = around[order]
    within: list[list[int]] = [[] for _ in lines]
    for k, p in enumerate(parent.tolist()):
        if p >= 0:
            within[p].append(k)
    loops = [
        _Loop(
            float(area),
            float(np.abs(z - np.roll(z, 1)).sum()),
            float(max(np.ptp(z.real), np.ptp(z.imag))),
            tuple(inner),
        )
        for z, area, inner in zip(lines, areas, within, strict=True)
    ]
    return loops, [k for k, p in enumerate(parent.tolist()) if p < 0 and areas[k] > 0]
