"""Dividing a drawing among sheets of paper that overlap."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import shapely

from cutout.draw.box import Box
from cutout.errors import Length, WriteError
from cutout.geom.curve import FloatArray
from cutout.kit import Paper
from cutout.write.template.sliding import PAD, Lattice, fewest, layouts, points_on

MARGIN = 7.0
"""Clear border of every sheet (mm); printers can't print the outer 6.7 mm (ink-jet and laser manuals)."""

OVERLAP = 10.0
"""How much of the drawing neighbouring sheets share (mm)."""

STRIP = 12.0
"""Height kept at the foot of each sheet for its name and what to do with it (mm)."""

ROLL_LIMIT = 4800.0
"""Longest piece taken from a roll (mm): a PDF page may be 14,400 points, 5,080 mm, at most (ISO 32000)."""

_LEAST_SHARED, _LEAST_SHARE = 18.0, 0.3
"""Length of overlap that holds two sheets together (mm), and as a share of a sheet's side."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its cell (column and row from the top left, from 0) and its window on the drawing."""

    column: int
    row: int
    window: Box

    @property
    def name(self) -> str:
        """A1, B1, ... column letter and row number; row 1 is the top."""
        return f"{column_letters(self.column)}{self.row + 1}"


@dataclass(frozen=True)
class Tiling:
    """Sheets that cover a drawing. page: sheet size as printed (mm). sheets: those that carry something or
    join others, row by row from the top; blank: those between them that carry nothing and are not printed.
    overlap: what neighbours share (mm). full: sheets of the whole grid that would take the fewest."""

    page: tuple[float, float]
    columns: int
    rows: int
    overlap: float
    sheets: tuple[Sheet, ...]
    blank: tuple[Sheet, ...]
    full: int

    @cached_property
    def joins(self) -> tuple[tuple[Sheet, Sheet], ...]:
        """Pairs of printed sheets that share an overlap: left with right, upper with lower."""
        return joins_of(self.sheets, self.overlap)


def joins_of(sheets: Sequence[Sheet], overlap: float) -> tuple[tuple[Sheet, Sheet], ...]:
    """Pairs of sheets that share a stretch of overlap long enough to be joined by: left with right, upper
    with lower."""
    windows = np.array([s.window for s in sheets])
    boxes = shapely.box(*windows.T)
    pairs = []
    for i, j in np.sort(shapely.STRtree(boxes).query(boxes, predicate="intersects").T, axis=1).tolist():
        a, b = windows[i], windows[j]
        shared = np.minimum(a[2:], b[2:]) - np.maximum(a[:2], b[:2])
        long = int(np.argmax(shared))
        least = max(_LEAST_SHARED, _LEAST_SHARE * (a[2:] - a[:2])[long])
        if i != j and shared[1 - long] > overlap - 1e-6 and shared[long] > least:
            # Left before right; upper, whose y is larger, before lower.
            first = (a[0] < b[0]) if long == 1 else (a[1] > b[1])
            pairs.append((i, j) if first else (j, i))
    return tuple((sheets[i], sheets[j]) for i, j in sorted(set(pairs)))


def is_beside(first: Sheet, second: Sheet) -> bool:
    """Whether two joined sheets lie side by side, not one above the other."""
    a, b = first.window, second.window
    return min(a[2], b[2]) - max(a[0], b[0]) < min(a[3], b[3]) - max(a[1], b[1])


def sheets_needed(length: float, printable: float, overlap: float) -> int:
    """Sheets along one axis: ceil((L - o) / (p - o)), one at least. mm."""
    if printable <= overlap:
        raise WriteError("the paper leaves only ", Length(printable), " to print on: use a larger one.")
    return max(1, math.ceil((length - overlap) / (printable - overlap) - 1e-9))


def column_letters(column: int) -> str:
    """A, B, ... Z, AA, AB, ... for columns 0, 1, ..."""
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return letters


def tile(
    lines: shapely.Geometry,
    content: Box,
    whole: Box,
    paper: Paper,
    *,
    margin: float = MARGIN,
    overlap: float = OVERLAP,
    strip: float = STRIP,
) -> Tiling:
    """The fewest sheets for `content`: in a grid, or where that saves any, in rows or columns each slid by itself.

    lines: what is drawn (mm); a sheet none of it reaches is left out unless it joins others together.
    whole: the panel with a border; it is shown as far as the sheets reach anyway. Upright where both ways
    of the paper take the same. Raises WriteError.
    """
    return _tile(shapely.to_wkb(lines), content, whole, paper, margin, overlap, strip)


@lru_cache(maxsize=32)
def _tile(
    wkb: bytes, content: Box, whole: Box, paper: Paper, margin: float, overlap: float, strip: float
) -> Tiling:
    """The same, remembered: template, cut sheet and result all ask for it."""
    lines = shapely.from_wkb(wkb)
    whole = (*map(min, content[:2], whole[:2]), *map(max, content[2:], whole[2:]))  # type: ignore[assignment]
    pages = _pages(paper, content, margin, strip)
    grids = [_tiled(lines, content, whole, page, margin, overlap, strip) for page in pages]
    full = min(t.full for t in grids)
    grid = min(grids, key=lambda t: (len(t.sheets), t.columns * t.rows, -_shown(t, whole)))
    slid = [t for page in pages for t in _slid(lines, page, margin, overlap, strip)]
    best = min((grid, *slid), key=lambda t: len(t.sheets))
    return replace(best, full=full)


def fewest_slid(points: FloatArray, paper: Paper) -> int:
    """Sheets that points (n, 2) take in the best of the ways in which the sheets slide; what joins them left out of
    account. Raises WriteError."""
    if not len(points):
        return 1
    (x0, y0), (x1, y1) = (points.min(axis=0) - PAD).tolist(), (points.max(axis=0) + PAD).tolist()
    counts = []
    for page in _pages(paper, (x0, y0, x1, y1), MARGIN, STRIP):
        width, height = page[0] - 2 * MARGIN, page[1] - 2 * MARGIN - STRIP
        counts.append(fewest(points, Lattice(width, height, OVERLAP)))
        counts.append(fewest(points[:, ::-1], Lattice(height, width, OVERLAP)))
    return min(counts)


def _slid(
    lines: shapely.Geometry, page: tuple[float, float], margin: float, overlap: float, strip: float
) -> Iterator[Tiling]:
    """Ways to lay the sheets in rows, then in columns, that slide."""
    points = points_on(lines)
    if len(points) == 0:
        return
    width, height = page[0] - 2 * margin, page[1] - 2 * margin - strip
    for upright in (False, True):
        lattice = Lattice(height, width, overlap) if upright else Lattice(width, height, overlap)
        for strips in layouts(points[:, ::-1] if upright else points, lattice):
            windows: dict[Box, bool] = {}
            for lane in strips:
                for along, used in zip(lane.along.tolist(), lane.used.tolist(), strict=True):
                    x, y = (lane.across, along) if upright else (along, lane.across)
                    windows[x, y, x + width, y + height] = bool(used)
            cells = _named(list(windows), upright)
            used_cells = {cell for cell, window in cells.items() if windows[window]}
            tiling = _printed(cells, used_cells, page, overlap)
            if tiling is not None:
                yield tiling


def _named(windows: Sequence[Box], upright: bool) -> dict[tuple[int, int], Box]:
    """Windows by column and row, counted from the top left; in strips that slide, the count along each."""
    by_place = {w: (round(w[0], 6), round(-w[1], 6)) for w in windows}
    strip, along = (0, 1) if upright else (1, 0)
    lanes = sorted({place[strip] for place in by_place.values()})
    cells: dict[tuple[int, int], Box] = {}
    for n, lane in enumerate(lanes):
        own = sorted((w for w in windows if by_place[w][strip] == lane), key=lambda w: by_place[w][along])
        cells |= {(n, k) if upright else (k, n): window for k, window in enumerate(own)}
    return cells


def _printed(
    cells: Mapping[tuple[int, int], Box],
    used: set[tuple[int, int]],
    page: tuple[float, float],
    overlap: float,
) -> Tiling | None:
    """The used sheets and as few blank ones as join them into one piece; None where none could."""
    every = [Sheet(c, r, cells[c, r]) for c, r in sorted(cells, key=lambda cell: (cell[1], cell[0]))]
    kept = _joined(used or {(every[0].column, every[0].row)}, joins_of(every, overlap))
    if kept is None:
        return None
    sheets = tuple(s for s in every if (s.column, s.row) in kept)
    blank = tuple(s for s in every if (s.column, s.row) not in kept)
    columns, rows = (1 + max(cell[i] for cell in cells) for i in (0, 1))
    return Tiling(page, columns, rows, overlap, sheets, blank, len(every))


def _shown(tiling: Tiling, whole: Box) -> float:
    """How much of the panel (mm^2) the sheets show: more of its edges to lay the template by."""
    windows = shapely.box(*np.array([s.window for s in tiling.sheets]).T)
    return round(float(shapely.intersection(shapely.union_all(windows), shapely.box(*whole)).area))


def _pages(paper: Paper, content: Box, margin: float, strip: float) -> list[tuple[float, float]]:
    if paper.height is not None:
        upright = (paper.width, paper.height)
        return [upright] if paper.width == paper.height else [upright, upright[::-1]]
    least = max(paper.width / 2, 100.0)
    along, across = content[3] - content[1] + 2 * margin + strip, content[2] - content[0] + 2 * margin
    return [
        (paper.width, min(max(along, least), ROLL_LIMIT)),
        (min(max(across, least), ROLL_LIMIT), paper.width),
    ]


def _tiled(
    lines: shapely.Geometry,
    content: Box,
    whole: Box,
    page: tuple[float, float],
    margin: float,
    overlap: float,
    strip: float,
) -> Tiling:
    width, height = page[0] - 2 * margin, page[1] - 2 * margin - strip
    columns = sheets_needed(content[2] - content[0], width, overlap)
    rows = sheets_needed(content[3] - content[1], height, overlap)
    left = _start((content[0], content[2]), (whole[0], whole[2]), columns * (width - overlap) + overlap)
    bottom = _start((content[1], content[3]), (whole[1], whole[3]), rows * (height - overlap) + overlap)
    top = bottom + rows * (height - overlap) + overlap
    cells = [(c, r) for r in range(rows) for c in range(columns)]
    windows = {
        (c, r): (
            left + c * (width - overlap),
            top - r * (height - overlap) - height,
            left + c * (width - overlap) + width,
            top - r * (height - overlap),
        )
        for c, r in cells
    }
    boxes = shapely.box(*np.array([windows[cell] for cell in cells]).T)
    shapely.prepare(lines)
    used = {cell for cell, hit in zip(cells, shapely.intersects(boxes, lines).tolist(), strict=True) if hit}
    tiling = _printed(windows, used, page, overlap)
    if tiling is None:
        raise WriteError(
            "the paper leaves only ", Length(min(width, height)), " to print on: use a larger one."
        )
    return tiling


def _start(content: tuple[float, float], whole: tuple[float, float], cover: float) -> float:
    """Where sheets that reach over `cover` begin: over the whole panel in the middle where they are long
    enough, else at the panel's edge nearer to the content, else with the content in the middle."""
    first, last = content
    if cover >= whole[1] - whole[0]:
        return (whole[0] + whole[1] - cover) / 2
    at_edges = sorted([(first - whole[0], whole[0]), (whole[1] - last, whole[1] - cover)])
    for _, start in at_edges:
        if start <= first and start + cover >= last:
            return start
    return (first + last - cover) / 2


def _joined(used: set[tuple[int, int]], joins: Sequence[tuple[Sheet, Sheet]]) -> set[tuple[int, int]] | None:
    """The used cells, and as few blank ones as it takes to join them into one piece; None where none could.

    Grows one piece from the first cell; each further one is reached by a shortest path.
    """
    beside: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for a, b in joins:
        for one, other in ((a, b), (b, a)):
            beside.setdefault((one.column, one.row), []).append((other.column, other.row))
    joined = {min(used, key=lambda cell: (cell[1], cell[0]))}
    while not used <= joined:
        came: dict[tuple[int, int], tuple[int, int] | None] = dict.fromkeys(sorted(joined))
        queue = deque(came)
        reached = None
        while reached is None:
            if not queue:
                return None
            at = queue.popleft()
            for cell in beside.get(at, ()):
                if cell not in came:
                    came[cell] = at
                    queue.append(cell)
                    if cell in used:
                        reached = cell
                        break
        while reached is not None:
            joined.add(reached)
            reached = came[reached]
    return joined
