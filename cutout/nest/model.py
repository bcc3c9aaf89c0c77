"""Pieces, boards, and where each piece lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from cutout.errors import LayoutError


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece to be cut out of a board: its name and shape in mm; holes in it are waste."""

    name: str
    shape: Polygon

    def __post_init__(self) -> None:
        if self.shape.is_empty or not self.shape.is_valid or self.shape.area <= 0:
            raise LayoutError(f'"{self.name}" has no sound shape and can\'t be laid out: check its outline.')


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """Boards of one size, as many as are needed; the grain runs along `length`. mm.

    gap: between pieces, for the saw and the clamps. margin: wood left at the edges. turns: degrees a piece may be
    turned by; 0 and 180 keep the grain. holes: smaller pieces may lie in holes of larger ones.
    """

    length: float
    width: float
    gap: float = 6.0
    margin: float = 5.0
    turns: tuple[int, ...] = (0, 180)
    holes: bool = True

    def __post_init__(self) -> None:
        if min(self.length, self.width) <= 2 * self.margin or self.gap < 0 or self.margin < 0:
            raise LayoutError("the board leaves no room between its margins: check its size, gap and margin.")


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a piece lies: its number, the board's, degrees it is turned by, then how far it is moved (mm)."""

    piece: int
    board: int
    turn: int
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Layout:
    """Pieces on boards. spots: one for each piece, in the order of the pieces."""

    board: Board
    pieces: tuple[Piece, ...]
    spots: tuple[Spot, ...]

    @property
    def boards(self) -> int:
        """How many boards are used."""
        return max((s.board for s in self.spots), default=-1) + 1

    def placed(self, number: int) -> MultiPolygon:
        """The shapes on one board, in its millimetres."""
        return MultiPolygon([self.shape(s) for s in self.spots if s.board == number])

    def shape(self, spot: Spot) -> Polygon:
        """A piece as it lies on its board."""
        return moved(turned(self.pieces[spot.piece].shape, spot.turn), spot.x, spot.y)

    def length(self, number: int) -> float:
        """Length (mm) of a board that is used, margins included."""
        shapes = self.placed(number)
        return 0.0 if shapes.is_empty else float(shapes.bounds[2]) + self.board.margin

    @property
    def used(self) -> float:
        """Length of board used in all, mm: whole boards but for the last one."""
        last = self.boards - 1
        return 0.0 if last < 0 else last * self.board.length + self.length(last)

    @property
    def share(self) -> float:
        """Share of the wood used that becomes pieces."""
        area = sum(p.shape.area for p in self.pieces)
        return area / (self.used * self.board.width) if self.used else 0.0


def turned(shape: Polygon, degrees: int) -> Polygon:
    """The shape turned about the origin by a multiple of 90 degrees, exactly."""
    quarter = round(degrees / 90) % 4
    c, s = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter]
    matrix = np.array([[c, s], [-s, c]], dtype=float)
    made = shapely.transform(shape, lambda xy: xy @ matrix)
    assert isinstance(made, Polygon)
    return made


def moved(shape: Polygon, x: float, y: float) -> Polygon:
    """The shape moved."""
    made = shapely.transform(shape, lambda xy: xy + np.array([x, y]))
    assert isinstance(made, Polygon)
    return made


def shelf_length(pieces: Sequence[Piece], board: Board) -> float:
    """Length (mm) of board that bounding boxes in shelves across it would use: the measure to compare with.

    Widest boxes first, each shelf as long as its longest box; boards as long as it takes.
    """
    boxes = sorted(((b[2] - b[0], b[3] - b[1]) for b in (p.shape.bounds for p in pieces)), reverse=True)
    room = board.width - 2 * board.margin
    used, across = board.margin, room + 1.0
    for length, width in boxes:
        if across + width > room + 1e-9:
            used, across = used + length + board.gap, 0.0
        across += width + board.gap
    return used - board.gap + board.margin
