"""Pieces laid out on boards so that little wood is used: bottom-left placing on a grid, by FFT correlation."""

from cutout.nest.model import Board, Layout, Piece, Spot, shelf_length
from cutout.nest.search import nest

__all__ = ["Board", "Layout", "Piece", "Spot", "nest", "shelf_length"]
