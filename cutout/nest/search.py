"""Bottom-left placing on a grid, with the order improved by a fixed number of tries: same input, same layout.

A piece covers every cell it touches; what lies on a board covers every cell it comes within the gap of. Where the two
share no cell is found for all places at once, as a correlation by FFT. So gaps are kept exactly, whatever the cell.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.fft import irfft2, next_fast_len, rfft2
from shapely import Polygon

from cutout.errors import LayoutError
from cutout.nest.model import Board, Layout, Piece, Spot, turned
from cutout.units import format_size

CELL = 2.0
"""Size (mm) of the grid's cells for pieces of usual size."""
MOST_CELLS = 400
"""A board has at most this many cells across; a wider one gets larger cells."""
_SHY = 1e-6
"""A shape that ends on a cell's border (mm) does not reach into it."""
TRIES = 40
"""Orders of the pieces tried after the first."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, slots=True)
class _Way:
    """A piece turned one way: cells it covers (rows across the board), and those it keeps others out of, `pad` wider.

    corner: lower left of its box after the turn, mm.
    """

    turn: int
    covers: Mask
    blocks: Mask
    pad: int
    corner: tuple[float, float]


@dataclass
class _Grid:
    """One board's cells that are taken."""

    taken: Mask
    length: int = 0


def nest(pieces: Sequence[Piece], board: Board, tries: int = TRIES, seed: int = 1) -> Layout:
    """Every piece on boards of one size, little board length used. Raises LayoutError for a piece too large.

    Largest first, then `tries` orders with two pieces swapped; the best one stays. Deterministic.
    """
    cell = max(CELL, (board.width - 2 * board.margin) / MOST_CELLS)
    ways = [_ways(piece, board, cell) for piece in pieces]
    shape = _cells(board, cell)
    for piece, own in zip(pieces, ways, strict=True):
        if not any(w.covers.shape[0] <= shape[0] and w.covers.shape[1] <= shape[1] for w in own):
            x0, y0, x1, y1 = piece.shape.bounds
            raise LayoutError(
                f'"{piece.name}" is {format_size(x1 - x0, y1 - y0)}, too large for the board of '
                f"{format_size(board.length, board.width)} less its margins: take a larger board."
            )
    order = sorted(range(len(pieces)), key=lambda i: (-pieces[i].shape.envelope.area, i))
    best = _placed(order, ways, shape, cell, board)
    price = _price(best, pieces, board)
    chance = random.Random(seed)
    for _ in range(tries if len(pieces) > 1 else 0):
        other = list(order)
        a, b = chance.sample(range(len(other)), 2)
        other[a], other[b] = other[b], other[a]
        spots = _placed(other, ways, shape, cell, board)
        if (new := _price(spots, pieces, board)) < price:
            best, price, order = spots, new, other
    return Layout(board, tuple(pieces), tuple(sorted(best, key=lambda s: s.piece)))


def _price(spots: Sequence[Spot], pieces: Sequence[Piece], board: Board) -> float:
    return Layout(board, tuple(pieces), tuple(spots)).used


def _cells(board: Board, cell: float) -> tuple[int, int]:
    """Rows across the board and columns along it."""
    room = 2 * board.margin
    return math.floor((board.width - room) / cell), math.floor((board.length - room) / cell)


def _ways(piece: Piece, board: Board, cell: float) -> tuple[_Way, ...]:
    """The piece turned each way it may be."""
    return tuple(_way(turned(piece.shape, t), t, board, cell) for t in board.turns)


def _way(shape: Polygon, turn: int, board: Board, cell: float) -> _Way:
    x0, y0, x1, y1 = shape.bounds
    pad = math.ceil((board.gap + cell) / cell)
    columns, rows = math.ceil((x1 - x0) / cell - 1e-9), math.ceil((y1 - y0) / cell - 1e-9)
    solid = shape if board.holes else Polygon(shape.exterior)
    covers = _touched(solid, (x0, y0), (rows, columns), 0, cell)
    blocks = _touched(shapely.buffer(solid, board.gap), (x0, y0), (rows, columns), pad, cell)
    return _Way(turn, covers, blocks, pad, (x0, y0))


def _touched(
    shape: shapely.Geometry, corner: tuple[float, float], size: tuple[int, int], pad: int, cell: float
) -> Mask:
    """Cells of a grid at `corner`, `pad` cells wider on every side, that a shape reaches into."""
    rows, columns = size
    x = corner[0] + np.arange(-pad, columns + pad) * cell
    y = corner[1] + np.arange(-pad, rows + pad) * cell
    xx, yy = np.meshgrid(x, y)
    shapely.prepare(shape)
    inner = xx + _SHY, yy + _SHY, xx + cell - _SHY, yy + cell - _SHY
    return np.asarray(shapely.intersects(shape, shapely.box(*inner)))


def _placed(
    order: Sequence[int], ways: Sequence[tuple[_Way, ...]], shape: tuple[int, int], cell: float, board: Board
) -> list[Spot]:
    """Each piece in turn where it uses the least length of the first board that takes it."""
    grids: list[_Grid] = []
    spots = []
    for piece in order:
        for number in range(len(grids) + 1):
            if number == len(grids):
                grids.append(_Grid(np.zeros(shape, dtype=bool)))
            found = _best(ways[piece], grids[number])
            if found is not None:
                way, row, column = found
                _take(grids[number], way, row, column)
                x = board.margin + column * cell - way.corner[0]
                y = board.margin + row * cell - way.corner[1]
                spots.append(Spot(piece, number, way.turn, x, y))
                break
    return spots


def _best(ways: Sequence[_Way], grid: _Grid) -> tuple[_Way, int, int] | None:
    """The way and the cell at which a piece ends soonest along the board, then lies lowest across it."""
    best: tuple[tuple[int, int, int], _Way, int, int] | None = None
    for n, way in enumerate(ways):
        rows, columns = way.covers.shape
        if rows > grid.taken.shape[0] or columns > grid.taken.shape[1]:
            continue
        # Behind what is used the board is empty: looking one piece further than that is enough.
        reach = min(grid.taken.shape[1], grid.length + columns)
        free = _free(grid.taken[:, :reach], way.covers)
        at = np.flatnonzero(free.any(axis=0))
        if len(at) == 0:
            continue
        column = int(at[0])
        row = int(np.argmax(free[:, column]))
        key = (column + columns, row, n)
        if best is None or key < best[0]:
            best = key, way, row, column
    return None if best is None else best[1:]


def _free(taken: Mask, piece: Mask) -> Mask:
    """Where the piece's lower left cell may go so that it shares no cell with what is taken."""
    rows, columns = taken.shape[0] - piece.shape[0] + 1, taken.shape[1] - piece.shape[1] + 1
    if not taken.any():
        return np.ones((rows, columns), dtype=bool)
    size = (next_fast_len(taken.shape[0], real=True), next_fast_len(taken.shape[1], real=True))
    # Correlation by the convolution theorem; it is circular, but the places asked for never reach round.
    spectrum = rfft2(taken.astype(np.float32), size) * np.conj(rfft2(piece.astype(np.float32), size))
    shared = irfft2(spectrum, size)[:rows, :columns]
    return np.asarray(shared < 0.5)


def _take(grid: _Grid, way: _Way, row: int, column: int) -> None:
    """Block what the piece keeps others out of, as far as it lies on the board."""
    top, left = row - way.pad, column - way.pad
    h, w = way.blocks.shape
    r0, c0 = max(top, 0), max(left, 0)
    r1, c1 = min(top + h, grid.taken.shape[0]), min(left + w, grid.taken.shape[1])
    grid.taken[r0:r1, c0:c1] |= way.blocks[r0 - top : r1 - top, c0 - left : c1 - left]
    grid.length = max(grid.length, min(column + way.covers.shape[1] + way.pad, grid.taken.shape[1]))
