"""The template: the pattern at true size on sheets of paper, to be joined and glued on the wood."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from typing import Any

import shapely

from cutout.check.boards import glue_lines
from cutout.draw import fonts
from cutout.draw.labels import Placed
from cutout.draw.paint import HATCH, PT, Paint
from cutout.errors import WriteError
from cutout.geom.outline import polygons_of
from cutout.kit import Paper
from cutout.saw.model import Plan
from cutout.write.drawing import Drawing
from cutout.write.template.annotate import CROSS, TEXT, Annotations, annotate, arrow_tail
from cutout.write.template.front import front_pages
from cutout.write.template.register import ARM
from cutout.write.template.tiling import MARGIN, STRIP, Sheet, Tiling, is_beside, tile
from cutout.write.work import Work

_FORM = "pattern"
TURNS = tuple(3.75 * n for step, first in ((4, 4), (4, 2), (2, 1)) for n in range(first, 24, step))
"""Turns of the drawing on its sheets that are tried (degrees), the round ones first: of equals the first is taken."""
PENCIL = 1.0
"""Width of the line to trace round by pencil (mm)."""


def template_pdf(work: Work) -> bytes:
    """A PDF at 1:1: first a page to check the printer with, then how the sheets join, then the sheets.

    The drawing is stored once and shown through a window on each sheet. Same work, same bytes.
    Raises WriteError when the paper is too small to carry marks.
    """
    drawing = Drawing.of(work)
    tiling = tiling_of(drawing)
    notes = annotate(drawing, tiling)
    paint = Paint(f"{work.title}: template", work.template.print_scale)
    _define_pattern(paint, drawing, notes)
    front_pages(paint, drawing, tiling, notes)
    for sheet in tiling.sheets:
        _sheet(paint, drawing, tiling, sheet)
    return paint.bytes()


def outline_pdf(work: Work) -> bytes:
    """The outline alone, in a line thick enough to trace round by pencil, on the same paper. Raises WriteError."""
    nothing = Plan((), (), (), (), 0.0, 0, 0.0)
    thick = work.template.model_copy(update={"line": PENCIL, "line_lies": "middle"})
    job = work.job.model_copy(update={"template": thick})
    return template_pdf(replace(work, job=job, title=f"{work.title}: outline", plan=nothing))


def template_sheets(work: Work) -> dict[str, Any]:
    """What result.json says of the template: paper, sheets printed and left out, columns, rows, sheets of
    the full grid, mirrored."""
    tiling = tiling_of(Drawing.of(work))
    return {
        "paper": work.paper.name,
        "page": [round(v, 3) for v in tiling.page],
        "sheets": len(tiling.sheets),
        "columns": tiling.columns,
        "rows": tiling.rows,
        "names": [s.name for s in tiling.sheets],
        "blank": [s.name for s in tiling.blank],
        "full_grid": tiling.full,
        "back": work.template.back,
        "print_scale": list(work.template.print_scale),
        "turned": round(math.degrees(work.sheet_turn), 3),
    }


def tiling_of(drawing: Drawing) -> Tiling:
    """The sheets a drawing takes on its paper. Raises WriteError when it is too small."""
    return tile(drawing.carried, drawing.content, drawing.whole, _printed(drawing.work))


def sheet_turn(work: Work) -> float:
    """The turn (radians) of the drawing on its sheets that takes the fewest; none where that saves none."""
    best, least = 0.0, len(tiling_of(Drawing.of(work)).sheets)
    for degrees in TURNS:
        if least == 1:
            break
        turn = math.radians(degrees)
        count = len(tiling_of(Drawing.of(replace(work, sheet_turn=turn))).sheets)
        if count < least:
            best, least = turn, count
    return best


def _printed(work: Work) -> Paper:
    """The paper in true millimetres: how much of the drawing fits on it as the printer prints.

    Raises WriteError for a roll whose printer is off differently along and across.
    """
    short, long = work.template.print_scale
    paper = work.paper
    if paper.height is None and short != long:
        raise WriteError("a roll takes one print scale for both directions: give a single number.")
    return replace(paper, width=paper.width * short, height=paper.height and paper.height * long)


def _define_pattern(paint: Paint, drawing: Drawing, notes: Annotations) -> None:
    """The whole drawing as one shared form: tint first, the exact line above it, writing last."""
    x0, y0, x1, y1 = (v * PT for v in drawing.whole)
    canvas = paint.canvas
    canvas.beginForm(_FORM, x0, y0, x1, y1)  # type: ignore[arg-type]
    work = drawing.work
    if work.template.line_lies == "keep":
        # Twice as wide, and the half that lies in the waste painted over: what is left ends exactly at the edge.
        paint.pen(2 * work.template.line)
        paint.lines(drawing.cuts)
    paint.hatch(drawing.rings, drawing.whole, *HATCH)
    _panel_lines(paint, drawing)
    if work.template.line_lies == "middle":
        paint.pen(work.template.line)
        paint.lines(drawing.cuts)
    _holes(paint, drawing)
    _legs(paint, notes)
    for mark in notes.marks:
        _register_mark(paint, *mark.at)
    if notes.grain:
        _grain_arrow(paint, *notes.grain)
    for placed in notes.placed:
        _label(paint, placed)
    canvas.endForm()


def _panel_lines(paint: Paint, drawing: Drawing) -> None:
    """The panel's edge, its two middle lines to lay the template on, and the zones to keep clear of."""
    paint.pen(0.12, 0.45, (8, 1.5, 1, 1.5))
    for middle in drawing.middles:
        paint.lines(middle)
    paint.pen(0.5, 0.0, (7, 2.5))
    paint.polygon(drawing.board.exterior.coords[:-1], stroke=True, fill=False)
    paint.pen(0.25, 0.3, (12, 1.5, 4, 1.5))
    for seam in glue_lines(drawing.work.pattern.panel):
        paint.lines(drawing.geometry(seam))
    paint.pen(0.2, 0.2, (0.2, 1.0), round_ends=True)
    edge = drawing.board.exterior.buffer(0.1)
    for zone in drawing.work.pattern.panel.zones:
        for part in polygons_of(drawing.geometry(zone.area)):
            # Dots over the panel's dashes would look like its middle line.
            paint.lines(shapely.line_merge(shapely.difference(shapely.boundary(part), edge)))


def _holes(paint: Paint, drawing: Drawing) -> None:
    for hole in drawing.holes:
        x, y = drawing.at(hole.at)
        radius = hole.diameter / 2
        paint.pen(0.2)
        paint.circle(x, y, radius)
        arm = radius + CROSS
        paint.pen(0.12)
        paint.line(x - arm, y, x + arm, y)
        paint.line(x, y - arm, x, y + arm)


def _legs(paint: Paint, notes: Annotations) -> None:
    paint.pen(0.25, 0.0, (1.6, 0.9))
    for run in notes.runs:
        paint.polyline(run.tolist())
    for arrow in notes.arrows:
        paint.pen(0.25, 0.0, (1.0, 0.5))
        if arrow.beside:
            paint.line(*arrow_tail(arrow), *arrow.tip)
        paint.fill(0)
        paint.arrow_head(*arrow.tip, arrow.angle)
    paint.pen(0.4)
    for start, end in notes.stops:
        paint.line(*start, *end)


def _register_mark(paint: Paint, x: float, y: float) -> None:
    paint.pen(0.2)
    paint.line(x - ARM, y, x + ARM, y)
    paint.line(x, y - ARM, x, y + ARM)
    paint.rect((x - 1.2, y - 1.2, x + 1.2, y + 1.2))


def _grain_arrow(paint: Paint, start: tuple[float, float], end: tuple[float, float]) -> None:
    angle = cmath.phase(complex(*end) - complex(*start))
    paint.pen(0.3)
    paint.fill(0)
    paint.line(*start, *end)
    paint.arrow_head(*end, angle, 3.0)
    paint.arrow_head(*start, angle + cmath.pi, 3.0)


def _label(paint: Paint, placed: Placed) -> None:
    x0, y0, x1, y1 = placed.box
    label = placed.label
    paint.fill(0)
    if placed.leader:
        paint.pen(0.1, 0.3)
        paint.line(*placed.leader[0], *placed.leader[1])
    points = TEXT[label.style]
    if label.style == "ringed":
        paint.pen(0.2)
        paint.ring((x0, y0, x1, y1))
        paint.text(
            (x0 + x1) / 2, (y0 + y1) / 2 - 0.36 * points / PT, label.text, points, bold=True, align="centre"
        )
    else:
        paint.text(x0, y0, label.text, points, bold=label.style == "bold")


def _sheet(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet) -> None:
    paint.page(*tiling.page)
    x0, y0, x1, y1 = sheet.window
    canvas = paint.canvas
    canvas.saveState()
    canvas.translate((MARGIN - x0) * PT, (MARGIN + STRIP - y0) * PT)
    path = canvas.beginPath()
    path.rect(x0 * PT, y0 * PT, (x1 - x0) * PT, (y1 - y0) * PT)
    canvas.saveState()
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.doForm(_FORM)
    canvas.restoreState()
    _window_edges(paint, tiling, sheet)
    canvas.restoreState()
    _strip(paint, drawing, tiling, sheet)
    paint.end_page()


def neighbours(tiling: Tiling, sheet: Sheet) -> dict[str, list[str]]:
    """Names of the printed sheets next to this one, by side: left, right, above, below."""
    found: dict[str, list[str]] = {side: [] for side in ("left", "right", "above", "below")}
    for first, second in tiling.joins:
        before, after = ("left", "right") if is_beside(first, second) else ("above", "below")
        if sheet == second:
            found[before].append(first.name)
        elif sheet == first:
            found[after].append(second.name)
    return {side: names for side, names in found.items() if names}


def _window_edges(paint: Paint, tiling: Tiling, sheet: Sheet) -> None:
    """Dashed where the sheet is trimmed; two thin lines where the next sheet's trimmed edge comes to lie
    between them."""
    x0, y0, x1, y1 = sheet.window
    edges = {
        "left": (x0, y0, x0, y1),
        "above": (x0, y1, x1, y1),
        "right": (x1, y0, x1, y1),
        "below": (x0, y0, x1, y0),
    }
    joined = neighbours(tiling, sheet)
    for side, edge in edges.items():
        if side in joined and side in ("left", "above"):
            paint.pen(0.25, 0.0, (4, 2))
        else:
            paint.pen(0.1, 0.6)
        paint.line(*edge)
    o = tiling.overlap
    if "right" in joined:
        paint.twin(x1 - o, y0, x1 - o, y1)
    if "below" in joined:
        paint.twin(x0, y0 + o, x1, y0 + o)


def _strip(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet) -> None:
    """The foot of the sheet: its name, which face it goes on, its neighbours, and a line to measure."""
    left, right = MARGIN, tiling.page[0] - MARGIN
    top = MARGIN + STRIP
    paint.fill(0)
    paint.text(left, top - 7.5, sheet.name, 18, bold=True)
    start = left + fonts.text_width(sheet.name, fonts.BOLD, 18) / PT + 4
    end = right
    if right - start > 130:
        end = right - 54
        paint.pen(0.25)
        paint.line(end + 3, top - 6, end + 53, top - 6)
        for n in range(6):
            paint.line(end + 3 + 10 * n, top - 6, end + 3 + 10 * n, top - (4 if n % 5 else 3))
        paint.text(end + 28, top - 9.5, "this line is 50 mm long", 6.5, align="centre")
    lines = [face_words(drawing.work), _joins_words(tiling, sheet)]
    y = top - 4
    for n, text in enumerate(lines):
        for line in fonts.wrap(text, fonts.BOLD if n == 0 else fonts.PLAIN, 7.0, (end - start) * PT)[: 2 - n]:
            paint.text(start, y, line, 7.0, bold=n == 0)
            y -= 3.3


def face_words(work: Work) -> str:
    """Which face the template is glued on, in words."""
    if work.template.back:
        return f"{work.title}: MIRRORED, glue on the BACK of the panel"
    return f"{work.title}: glue on the SHOW FACE of the panel"


def _joins_words(tiling: Tiling, sheet: Sheet) -> str:
    joined = neighbours(tiling, sheet)
    if not joined:
        return "print at actual size, 100 %"
    return (
        "joins "
        + ", ".join(f"{' and '.join(names)} {side}" for side, names in joined.items())
        + "; print at 100 %"
    )
