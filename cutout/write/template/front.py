"""The pages before the sheets: check the printer, join the sheets, place them on the panel, stay safe."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import shapely

from cutout.draw.box import Box
from cutout.draw.fonts import PT
from cutout.draw.looks import WASTE_SMALL, Look
from cutout.draw.paint import Paint
from cutout.draw.scene import Area
from cutout.draw.signs import NUMBER, size
from cutout.units import MM_PER_INCH, Units, count, format_length, format_rule, format_size
from cutout.write import panel
from cutout.write.cutsheet.flow import Flow
from cutout.write.drawing import Drawing
from cutout.write.template.annotate import Annotations
from cutout.write.template.legend import legend
from cutout.write.template.tiling import Tiling
from cutout.write.work import Work

_SQUARES = ((100.0, "100 mm", 4.0, "4 in"), (50.0, "50 mm", 2.0, "2 in"), (25.0, "25 mm", 1.0, "1 in"))
_SQUARE_GAP = 5.0  # mm between the check squares
_BESIDE, _WIDE = 150.0, 240.0
"""Widths of a page (mm): from the first on two things stand side by side, past the second it has two columns."""


def front_pages(paint: Paint, drawing: Drawing, tiling: Tiling, notes: Annotations) -> None:
    """Everything to read before a sheet is cut or glued."""
    flow = Flow(paint, tiling.page)
    flow.new_page()
    paint.bookmark("Check the printer")
    check_page(paint, flow, drawing.work.title, drawing.work.units)
    safety(flow, drawing.work.cautions)
    flow.new_page()
    paint.bookmark("How the sheets lie")
    flow.text(
        "How the sheets go together" if len(tiling.sheets) > 1 else "Where the sheet goes",
        1.55 * paint.face.text,
        bold=True,
        role="H1",
    )
    flow.space(2)
    x0, y0, x1, y1 = flow.column
    if _BESIDE <= x1 - x0 <= _WIDE and y1 - y0 >= _BESIDE:
        # The map beside the key, what to do under both.
        middle = x0 + 0.46 * (x1 - x0)
        tall = min(_map_height(drawing, middle - x0), 0.5 * (y1 - y0))
        _map(paint, (x0, y1 - tall, middle, y1), drawing, tiling)
        flow.columns([(middle + 6, y0, x1, y1)])
        flow.heading("Lines and signs")
        legend(paint, flow, drawing, notes, joined=len(tiling.sheets) > 1)
        flow.columns([(x0, y0, x1, min(y1 - tall, flow.column[3]) - 4)])
        _joining(flow, drawing, tiling, notes)
        _placing(flow, drawing, tiling)
    else:
        _two_columns(flow)
        x0, y0, x1, y1 = flow.column
        tall = min(0.5 * (y1 - y0), _map_height(drawing, x1 - x0), 110.0)
        flow.block(tall, lambda box: _map(paint, box, drawing, tiling))
        _joining(flow, drawing, tiling, notes)
        _placing(flow, drawing, tiling)
        flow.next_column()
        flow.heading("Lines and signs")
        legend(paint, flow, drawing, notes, joined=len(tiling.sheets) > 1)
    flow.close()


def safety(flow: Flow, cautions: Sequence[str]) -> None:
    """The cautions, one line each."""
    flow.next_column()
    flow.heading("Before you drill or saw")
    for line in cautions:
        flow.text(line, indent=4, mark="-")


def _two_columns(flow: Flow) -> None:
    """Two columns on a page that lies on its side: long lines are hard to read."""
    x0, y0, x1, y1 = flow.column
    if x1 - x0 > _WIDE:
        middle = (x0 + x1) / 2
        flow.columns([(x0, y0, middle - 5, y1), (middle + 5, y0, x1, y1)])


def check_page(paint: Paint, flow: Flow, title: str, units: Units) -> None:
    """The check squares and what to do with them."""
    flow.text(title, 1.55 * paint.face.text, bold=True, role="H1")
    flow.text("Check your printer with this page before you print the rest.")
    flow.space(3)
    mm, mm_text, inch, inch_text = squares_for(flow.whole)
    sides = ((mm, mm_text), (inch * MM_PER_INCH, inch_text))
    x0, y0, x1, top = flow.column
    beside = x1 - x0 - sides[1][0] - 8
    if beside >= 60 and top - y0 >= sum(s for s, _ in sides) + _SQUARE_GAP:
        _square(paint, (x0, top - sides[0][0]), *sides[0])
        _square(paint, (x0, top - sides[0][0] - _SQUARE_GAP - sides[1][0]), *sides[1])
        flow.columns([(x1 - beside, y0, x1, top)])
    elif x1 - x0 >= sides[0][0] + sides[1][0] + _SQUARE_GAP:
        flow.block(sides[1][0], lambda box: _square_pair(paint, box, sides))
        flow.space(3)
        _two_columns(flow)
    else:
        for side, text in sides:
            flow.block(side + 2, _square_at(paint, side, text))
    _how_to_check(flow, mm, inch, units)


def squares_for(whole: Box) -> tuple[float, str, float, str]:
    """The largest pair of check squares, metric and inch, that fits the printable part of a page."""
    least = min(whole[2] - whole[0], whole[3] - whole[1] - 15)
    return next((s for s in _SQUARES if s[2] * MM_PER_INCH <= least), _SQUARES[-1])


def _square_pair(paint: Paint, box: Box, sides: Sequence[tuple[float, str]]) -> None:
    x = box[0]
    for side, text in sides:
        _square(paint, (x, box[3] - side), side, text)
        x += side + _SQUARE_GAP


def _square_at(paint: Paint, side: float, text: str) -> Callable[[Box], None]:
    return lambda box: _square(paint, (box[0], box[3] - side), side, text)


def _square(paint: Paint, corner: tuple[float, float], side: float, text: str) -> None:
    with paint.figure(f"Square to measure: {text} each side."):
        _square_lines(paint, corner, side, text)


def _square_lines(paint: Paint, corner: tuple[float, float], side: float, text: str) -> None:
    x, y = corner
    paint.pen(0.2)
    paint.rect((x, y, x + side, y + side))
    paint.pen(0.1, 0.5)
    paint.line(x, y, x + side, y + side)
    paint.fill(0)
    points = paint.face.text * (4 / 3 if side > 60 else 0.8)
    paint.text(x + side / 2, y + side * 0.75, text, points, bold=True, align="centre")
    if side > 60:
        below = y + side * 0.75 - points * 1.2 / PT
        paint.text(x + side / 2, below, "each side", paint.face.text, align="centre")


def _how_to_check(flow: Flow, mm: float, inch: float, units: Units) -> None:
    half_percent = mm * 0.005
    steps = [
        'Print at "actual size" or 100 %. Turn off "fit to page", "shrink" and the like.',
        "Measure the square in your own units, both across and up, from the middle of one line to the middle "
        "of the other, with a steel rule.",
        f"Measure the slanting line too: {format_length(mm * 2**0.5, 'mm')} in the {mm:g} mm square, "
        f"{inch * 2**0.5:.2f} in in the {inch:g} in one. If it is off while the sides are right, "
        "the paper went through askew.",
        f"Off by more than 0.5 % ({half_percent:.2g} mm in {mm:g} mm, {inch * 0.005:.2g} in in {inch:g} in)? "
        "Do not glue it on: divide what you measured by what it should be, along the sheet's short and its long "
        "side, and give both, like --print-scale 0.994x0.998. Then print this page again and measure.",
        "A square of 94 to 97 % means that the printer shrank the page to fit it.",
        "Paper grows in damp air: glue the sheets soon after you have measured.",
    ]
    flow.heading("How to check")
    for n, step in enumerate(steps, start=1):
        flow.text(step, indent=6, mark=f"{n}.")
        flow.space(0.8)


def _map_height(drawing: Drawing, width: float) -> float:
    """Height (mm) of the map in a column so wide."""
    return (drawing.panel[3] + 20) / (drawing.panel[2] + 20) * width


def _joining(flow: Flow, drawing: Drawing, tiling: Tiling, notes: Annotations) -> None:
    work = drawing.work
    flow.space(2)
    printed = len(tiling.sheets)
    across, up = (
        work.template.print_scale if tiling.page[0] <= tiling.page[1] else work.template.print_scale[::-1]
    )
    pages = format_size(tiling.page[0] / across, tiling.page[1] / up, work.units)
    if work.template.print_scale != (1.0, 1.0):
        short, long = work.template.print_scale
        flow.text(
            f"Drawn for a printer that makes {short:g} of 1 along the sheet's short side and {long:g} along the "
            "long one: true to size on that printer only.",
        )
    saved = f"; a full grid would take {tiling.full}" if tiling.full > printed else ""
    flow.text(f"{count(printed, 'sheet')} of {work.paper.title} ({pages}){saved}.")
    if work.sheet_turn:
        flow.text(
            f"The sheets lie turned on the panel, by {math.degrees(work.sheet_turn):g} degrees: that takes fewer.",
        )
    shown = shapely.union_all([shapely.box(*sheet.window) for sheet in tiling.sheets])
    if not shapely.covers(shown, drawing.ways).all():
        flow.text(
            "Ways in from the panel's edge are dashed near the figure only: begin them where the shop drawing shows."
        )
    if tiling.blank:
        flow.text(
            f"Nothing to print on {', '.join(s.name for s in tiling.blank)}: left out, pale on the map."
        )
    if notes.left_out:
        names = ", ".join(dict.fromkeys(label.text for label in notes.left_out))
        where = "their place is drawn all the same" if drawing.more else "look for them on the shop drawing"
        flow.text(f"No room on a sheet for these, {where}: {names}.")
    stops = [f for f in work.findings if f.severity == "stop" and not f.cleared]
    if stops:
        flow.text(
            f"NOT READY TO CUT: settle {count(len(stops), 'thing')} in the notes first.",
            bold=True,
        )
    if printed > 1:
        flow.heading("Joining")
        for n, step in enumerate(_JOIN_STEPS, start=1):
            flow.text(step.format(overlap=_both_units(tiling.overlap)), indent=6, mark=f"{n}.")


_JOIN_STEPS = (
    "Begin with the top left sheet and work along the row, then the next row; the map shows where each lies.",
    "Trim a sheet along its toothed edges only: left, top, or both.",
    "Lay it over its neighbour. The crosses with the same letter must lie on each other; the trimmed edge "
    "then falls between the two thin lines. Neighbours share {overlap}.",
    "Hold it against the light or on a window to see both crosses, then tape or glue.",
)


def _both_units(mm: float) -> str:
    """A round length of ours for readers of either unit: 10 mm (3/8 in)."""
    eighths = max(1, round(mm / MM_PER_INCH * 8))
    return f"{mm:g} mm ({format_length(eighths * MM_PER_INCH / 8, 'in')})"


def _placing(flow: Flow, drawing: Drawing, tiling: Tiling) -> None:
    work = drawing.work
    board = work.pattern.panel
    units = work.units
    x0, y0, x1, y1 = _lying(work)
    flow.heading("Placing it on the panel")
    if drawing.more:
        flow.text(
            "This is the BACK as you look at it, what stands left here being right on the show face: lay it on the "
            "back to mark what belongs there. The openings are drawn to lay it by.",
        )
    elif work.template.back:
        flow.text(
            "This template is a MIRROR IMAGE: glue it on the BACK of the panel. A jigsaw's usual blade cuts on "
            "the up-stroke and splinters the upper face, so the show face lies down and stays clean.",
        )
    else:
        flow.text(
            "Glue it on the SHOW FACE. A jigsaw's usual blade cuts on the up-stroke and splinters the upper face: "
            "use a down-cutting blade or print the mirrored template for the back. A scroll saw cuts "
            "downwards.",
        )
    flow.space(1.2)
    flow.text(
        f"The panel is {format_size(board.width, board.height, units)}. Draw its two middle lines with a pencil and "
        "lay the template's middle lines (long and short dashes) on them; where a sheet reaches the "
        "panel's edge (heavy line), check with that too.",
    )
    flow.space(1.2)
    flow.text(
        f"From the panel's edges to the nearest cut, as this template lies: left {format_rule(x0, units)}, "
        f"right {format_rule(board.width - x1, units)}, bottom {format_rule(y0, units)}, "
        f"top {format_rule(board.height - y1, units)}.",
    )


def _lying(work: Work) -> Box:
    """Bounds of the cuts on the panel as this face shows it (mm), the sheets' own turn left out."""
    straight = Drawing.of(replace(work, sheet_turn=0.0))
    empty = shapely.is_empty(straight.cuts)
    x0, y0, x1, y1 = straight.panel if empty else shapely.bounds(straight.cuts).tolist()
    return (x0, y0, x1, y1)


def _map(paint: Paint, box: Box, drawing: Drawing, tiling: Tiling) -> None:
    """The whole panel, small, with the sheets over it."""
    with paint.figure(f"Map of the sheets over the panel: {', '.join(s.name for s in tiling.sheets)}."):
        _map_lines(paint, box, drawing, tiling)


def _map_lines(paint: Paint, box: Box, drawing: Drawing, tiling: Tiling) -> None:
    windows = [s.window for s in (*tiling.sheets, *tiling.blank)]
    x0 = min(drawing.panel[0], *(w[0] for w in windows))
    y0 = min(drawing.panel[1], *(w[1] for w in windows))
    x1 = max(drawing.panel[2], *(w[2] for w in windows))
    y1 = max(drawing.panel[3], *(w[3] for w in windows))
    scale = min((box[2] - box[0]) / (x1 - x0), (box[3] - box[1]) / (y1 - y0))
    canvas = paint.canvas
    canvas.saveState()
    canvas.translate(box[0] * PT, box[1] * PT)
    canvas.scale(scale, scale)
    canvas.translate(-x0 * PT, -y0 * PT)
    paint.draw([Area(WASTE_SMALL, drawing.silhouette)])
    paint.draw([panel.edge(drawing, Look(name="edge", width=0.6 / scale))])
    for sheet in (*tiling.blank, *tiling.sheets):
        blank = sheet in tiling.blank
        paint.pen(0.25 / scale, 0.7 if blank else 0.0)
        paint.rect(sheet.window)
    # Names last, each on a clear patch, so that no line runs through one.
    points = size(NUMBER) / scale
    for sheet in (*tiling.blank, *tiling.sheets):
        cx, cy = (sheet.window[0] + sheet.window[2]) / 2, (sheet.window[1] + sheet.window[3]) / 2
        half = paint.width(sheet.name, points, bold=True) / 2 + 0.8 / scale
        paint.fill(1.0)
        paint.rect((cx - half, cy - 2.4 / scale, cx + half, cy + 2.4 / scale), stroke=False, fill=True)
        paint.fill(0.6 if sheet in tiling.blank else 0.0)
        paint.text(cx, cy - NUMBER / 2 / scale, sheet.name, points, bold=True, align="centre")
    canvas.restoreState()
