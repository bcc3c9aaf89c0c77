"""The template: the pattern at true size on sheets of paper, to be joined and glued on the wood."""

from __future__ import annotations

from typing import Any

from cutout.units import format_length
from cutout.write.drawing import Drawing
from cutout.write.paint import PT, Paint
from cutout.write.tiling import MARGIN, STRIP, Sheet, Tiling, tile
from cutout.write.work import Work

_FORM = "pattern"


def template_pdf(work: Work) -> bytes:
    """A PDF at 1:1: first a page to check the printer with, then how the sheets join, then the sheets.

    Same work, same bytes. Raises WriteError when the paper is too small to carry marks.
    """
    drawing = Drawing.of(work)
    tiling = tiling_of(drawing)
    paint = Paint(f"{work.title}: template")
    _define_pattern(paint, drawing)
    for sheet in tiling.sheets:
        _sheet(paint, drawing, tiling, sheet)
    return paint.bytes()


def template_sheets(work: Work) -> dict[str, Any]:
    """What result.json says of the template: paper, sheets printed, columns, rows, names, blank ones, mirrored."""
    tiling = tiling_of(Drawing.of(work))
    return {
        "paper": work.paper.name,
        "page": [round(v, 3) for v in tiling.page],
        "sheets": len(tiling.sheets),
        "columns": tiling.columns,
        "rows": tiling.rows,
        "names": [s.name for s in tiling.sheets],
        "blank": list(tiling.blank),
        "back": work.back,
    }


def tiling_of(drawing: Drawing) -> Tiling:
    """The sheets a drawing takes on its paper."""
    return tile(drawing.carried, drawing.content, drawing.whole, drawing.work.paper)


def _define_pattern(paint: Paint, drawing: Drawing) -> None:
    x0, y0, x1, y1 = (v * PT for v in drawing.whole)
    canvas = paint.canvas
    canvas.beginForm(_FORM, x0, y0, x1, y1)  # type: ignore[arg-type]
    paint.fill(0.9)
    paint.rings(drawing.rings, stroke=False, fill=True)
    paint.pen(0.2)
    paint.rings(drawing.rings, stroke=True, fill=False)
    paint.rect(drawing.panel)
    for hole in drawing.holes:
        x, y = drawing.at(hole.at)
        paint.circle(x, y, hole.diameter / 2)
        paint.fill(0)
        paint.text(
            x, y + hole.diameter / 2 + 1, f"{hole.id}: {format_length(hole.diameter, drawing.work.units)}", 7
        )
    paint.pen(0.15, dash=(2, 1))
    for leg in drawing.legs:
        paint.polyline(drawing.path(leg.path).tolist())
    canvas.endForm()


def _sheet(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet) -> None:
    paint.page(*tiling.page)
    x0, y0, x1, y1 = sheet.window
    canvas = paint.canvas
    canvas.saveState()
    canvas.translate((MARGIN - x0) * PT, (MARGIN + STRIP - y0) * PT)
    path = canvas.beginPath()
    path.rect(x0 * PT, y0 * PT, (x1 - x0) * PT, (y1 - y0) * PT)
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.doForm(_FORM)
    canvas.restoreState()
    paint.text(MARGIN, MARGIN + 2, sheet.name, 14, bold=True)
    paint.end_page()
