"""Dividing a drawing among sheets of paper that overlap."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from cutout.errors import WriteError
from cutout.kit import Paper

MARGIN = 7.0
"""Clear border of every sheet (mm); printers can't print the outer 6.7 mm (ink-jet and laser manuals)."""

OVERLAP = 10.0
"""How much of the drawing neighbouring sheets share (mm)."""

STRIP = 12.0
"""Height kept at the foot of each sheet for its name and what to do with it (mm)."""

ROLL_LIMIT = 4800.0
"""Longest piece taken from a roll (mm): a PDF page may be 14,400 points, 5,080 mm, at most (ISO 32000)."""

Box = tuple[float, float, float, float]
"""min x, min y, max x, max y in mm."""


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
    """Sheets that cover a drawing. page: sheet size as printed (mm). sheets: those that carry something,
    row by row from the top; blank: those that carry nothing and are not printed. overlap: what neighbours
    share (mm)."""

    page: tuple[float, float]
    columns: int
    rows: int
    overlap: float
    sheets: tuple[Sheet, ...]
    blank: tuple[Sheet, ...]

    @cached_property
    def by_cell(self) -> dict[tuple[int, int], Sheet]:
        """Printed sheets by (column, row)."""
        return {(s.column, s.row): s for s in self.sheets}

    @cached_property
    def joins(self) -> tuple[tuple[Sheet, Sheet], ...]:
        """Pairs of printed sheets that share an overlap: left with right, upper with lower."""
        pairs = []
        for sheet in self.sheets:
            for step in ((1, 0), (0, 1)):
                other = self.by_cell.get((sheet.column + step[0], sheet.row + step[1]))
                if other:
                    pairs.append((sheet, other))
        return tuple(pairs)


def sheets_needed(length: float, printable: float, overlap: float) -> int:
    """Sheets along one axis: ceil((L - o) / (p - o)), one at least. mm."""
    if printable <= overlap:
        raise WriteError(f"the paper leaves only {printable:g} mm to print on: use a larger one.")
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
    """Sheets for `content`, on the way of the paper that takes fewer; upright where both take the same.

    lines: what is drawn (mm); a sheet none of it reaches is left out unless it joins others together.
    whole: the panel with a border; it is shown as far as the sheets reach anyway. Raises WriteError.
    """
    whole = (*map(min, content[:2], whole[:2]), *map(max, content[2:], whole[2:]))  # type: ignore[assignment]
    tilings = [
        _tiled(lines, content, whole, page, margin, overlap, strip)
        for page in _pages(paper, content, margin, strip)
    ]
    return min(tilings, key=lambda t: (len(t.sheets), t.columns * t.rows, -_shown(t, whole)))


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
    kept = _joined(used or set(cells[:1]), columns, rows)
    sheets = tuple(Sheet(c, r, windows[c, r]) for c, r in cells if (c, r) in kept)
    blank = tuple(Sheet(c, r, windows[c, r]) for c, r in cells if (c, r) not in kept)
    return Tiling(page, columns, rows, overlap, sheets, blank)


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


def _joined(used: set[tuple[int, int]], columns: int, rows: int) -> set[tuple[int, int]]:
    """The used cells, and as few blank ones as it takes to join them edge to edge into one piece.

    Grows one piece from the first cell; each further one is reached by a shortest path.
    """
    joined = {min(used, key=lambda cell: (cell[1], cell[0]))}
    while not used <= joined:
        came: dict[tuple[int, int], tuple[int, int] | None] = dict.fromkeys(sorted(joined))
        queue = deque(came)
        reached = None
        while reached is None:
            c, r = queue.popleft()
            for cell in ((c + 1, r), (c, r + 1), (c - 1, r), (c, r - 1)):
                if cell not in came and 0 <= cell[0] < columns and 0 <= cell[1] < rows:
                    came[cell] = (c, r)
                    queue.append(cell)
                    if cell in used:
                        reached = cell
                        break
        while reached is not None:
            joined.add(reached)
            reached = came[reached]
    return joined
