"""The layout of pieces on boards: a sheet to print, a drawing of it, and the layout as data."""

from __future__ import annotations

import json

import shapely

from cutout.draw.box import Box
from cutout.draw.looks import PIECE
from cutout.draw.paint import Paint
from cutout.draw.scene import region
from cutout.kit import Paper
from cutout.nest import Layout, Spot
from cutout.units import Units, count, format_length, format_size
from cutout.write.cutsheet.flow import Flow

SCHEMA = "cutout-boards/1"
_TEXT = 8.0
"""Size of the list's type (pt)."""


def layout_pdf(layout: Layout, title: str, paper: Paper, units: Units) -> bytes:
    """One page a board: the pieces to scale with their numbers, then what each is and where it lies."""
    paint = Paint(f"{title}: layout on boards")
    flow = Flow(paint, (paper.width, paper.height or 1.4 * paper.width))
    board = layout.board
    for number in range(layout.boards):
        flow.new_page()
        flow.text(f"{title}: board {number + 1} of {layout.boards}", 14, bold=True)
        size = format_size(board.length, board.width, units)
        flow.text(
            f"Board {size}, the grain runs along it; {format_length(layout.length(number), units)} of its length are "
            f"used. At least {format_length(board.gap, units)} between pieces, {format_length(board.margin, units)} "
            "at the edges. This drawing is not to size.",
            9,
        )
        width = flow.whole[2] - flow.whole[0]
        scale = min(width / board.length, 150.0 / board.width)
        flow.block(board.width * scale + 6.0, lambda box, n=number, s=scale: _board(paint, box, layout, n, s))  # type: ignore[misc]
        for spot in layout.spots:
            if spot.board == number:
                flow.text(_line(layout, spot, units), _TEXT)
    flow.close()
    return paint.bytes()


def said(layout: Layout, units: Units) -> str:
    """One line for people: boards, length used, how much of the wood becomes pieces."""
    return (
        f"{count(len(layout.pieces), 'piece')} on {count(layout.boards, 'board')} of "
        f"{format_size(layout.board.length, layout.board.width, units)}: {format_length(layout.used, units)} of "
        f"length used, {layout.share:.0%} of that wood becomes pieces"
    )


def layout_json(layout: Layout) -> bytes:
    """The layout as data, mm: each piece's board, turn, and the lower left corner of its box."""
    spots = []
    for spot in layout.spots:
        x0, y0, x1, y1 = layout.shape(spot).bounds
        spots.append(
            {
                "piece": layout.pieces[spot.piece].name,
                "board": spot.board + 1,
                "turn_deg": spot.turn,
                "at": [round(x0, 3), round(y0, 3)],
                "size": [round(x1 - x0, 3), round(y1 - y0, 3)],
            }
        )
    board = {"length": layout.board.length, "width": layout.board.width, "gap": layout.board.gap}
    data = {
        "schema": SCHEMA,
        "board": board,
        "boards": layout.boards,
        "used": round(layout.used, 3),
        "pieces": spots,
    }
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def _line(layout: Layout, spot: Spot, units: Units) -> str:
    x0, y0, x1, y1 = layout.shape(spot).bounds
    turned = f", turned {spot.turn} degrees" if spot.turn else ""
    return (
        f"{spot.piece + 1}  {layout.pieces[spot.piece].name}: {format_size(x1 - x0, y1 - y0, units)}, "
        f"{format_length(x0, units)} from the left end, {format_length(y0, units)} from the lower edge{turned}"
    )


def _board(paint: Paint, box: Box, layout: Layout, number: int, scale: float) -> None:
    """The board with its pieces, drawn smaller."""
    x, y = box[0], box[1] + 3.0
    board = layout.board
    paint.pen(0.3)
    paint.rect((x, y, x + board.length * scale, y + board.width * scale))
    for spot in layout.spots:
        if spot.board != number:
            continue
        shape = layout.shape(spot)
        placed = shapely.transform(shape, lambda xy: xy * scale + (x, y))
        paint.draw([region(PIECE, placed)])
        where = shapely.point_on_surface(shape)
        paint.fill(0.0)
        paint.text(
            x + where.x * scale, y + where.y * scale - 1.0, str(spot.piece + 1), 7, bold=True, align="centre"
        )
