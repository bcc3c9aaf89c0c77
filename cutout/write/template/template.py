"""The template: the pattern at true size on sheets of paper, to be joined and glued on the wood."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from cutout.draw import fonts
from cutout.draw.fonts import PT
from cutout.draw.lettered import label_items
from cutout.draw.looks import ARROW, DRAWN, LEG, STOP, WASTE, WINDOW, Look
from cutout.draw.paint import Paint
from cutout.draw.scene import Item, Layer, Run, Scene, arrow_head, lines, span, spans
from cutout.draw.signs import WORDS, drill_sign, size
from cutout.errors import WriteError
from cutout.geom.curve import FloatArray
from cutout.job.set_up import hardware_zones
from cutout.kit import Paper
from cutout.saw.model import Plan
from cutout.say import worded
from cutout.units import format_length
from cutout.write import panel
from cutout.write.dated import printed_date
from cutout.write.drawing import LEAD, Drawing
from cutout.write.template import lines as kinds
from cutout.write.template.annotate import HOLE_ARM, Annotations, annotate
from cutout.write.template.arrows import arrow_tail
from cutout.write.template.back import on_the_back
from cutout.write.template.front import front_pages
from cutout.write.template.sliding import points_on, thinned
from cutout.write.template.tiling import MARGIN, STRIP, Sheet, Tiling, fewest_slid, is_beside, tile
from cutout.write.work import Work

_FORM = "pattern"
_CUT = "cut"
TURNS = tuple(2.5 * n for step, first in ((6, 6), (2, 2), (2, 1)) for n in range(first, 36, step))
"""Turns of the drawing on its sheets that are tried (degrees), the round ones first: of equals the first is taken."""
_SKIPPED = 6
"""One of so many points is looked at first."""
PENCIL = 1.0
"""Width of the line to trace round by pencil (mm)."""


def template_pdf(work: Work, title: str = "") -> bytes:
    """A PDF at 1:1: first a page to check the printer with, then how the sheets join, then the sheets.

    The drawing's lines are stored once and shown through a window on each sheet; what is written on it is written on
    each sheet anew, so that the text of a page is what can be read on it. Same work, same bytes.
    title: the file's own, unless it is the job's template.
    Raises WriteError when the paper is too small to carry marks.
    """
    return _printed_drawing(work, Drawing.of(work), title or f"{work.title}: template")


def _printed_drawing(work: Work, drawing: Drawing, title: str) -> bytes:
    tiling = tiling_of(drawing)
    notes = annotate(drawing, tiling)
    paint = Paint(title, work.template.print_scale, fonts.LETTERING)
    _define_pattern(paint, pattern_scene(drawing, tiling, notes), drawing.work.template.weight)
    front_pages(paint, drawing, tiling, notes)
    for sheet in tiling.sheets:
        _sheet(paint, drawing, tiling, sheet, notes)
    return paint.bytes()


def outline_pdf(work: Work) -> bytes:
    """The outline alone, in a line thick enough to trace round by pencil, on the same paper. Raises WriteError."""
    nothing = Plan((), (), (), (), 0.0, 0, 0.0)
    thick = work.template.model_copy(update={"line": PENCIL, "line_lies": "middle"})
    job = work.job.model_copy(update={"template": thick})
    title = f"{work.title}: outline"
    return template_pdf(replace(work, job=job, title=title, plan=nothing), title)


def back_pdf(work: Work) -> bytes:
    """What belongs on the panel's back, at full size as the back is seen, on the same paper; the openings with it, to
    lay it by. Raises WriteError when the paper is too small to carry marks."""
    nothing = Plan((), (), (), (), 0.0, 0, 0.0)
    seen = work.template.model_copy(update={"back": True})
    job = work.job.model_copy(update={"template": seen})
    shown = on_the_back(work)
    own = hardware_zones(work.job)
    board = work.pattern.panel
    # Hardware is drawn as what it is, not once more as a zone to keep clear.
    bare = replace(board, zones=tuple(zone for zone in board.zones if zone not in own))
    pattern = replace(work.pattern, panel=bare)
    turned = replace(
        work, job=job, title=f"{work.title}: back", pattern=pattern, plan=nothing, bridges=(), sheet_turn=0.0
    )
    drawing = replace(Drawing.of(turned, shown.areas), centres=shown.centres)
    return _printed_drawing(turned, drawing, turned.title)


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
    """The sheets a drawing takes on its paper, but for those that far ways in from the panel's edge alone would take.

    Raises WriteError when the paper is too small.
    """
    paper = _printed(drawing.work)
    with worded(drawing.work.units):
        whole = tile(drawing.carried, drawing.content(drawing.carried), drawing.whole, paper)
    if len(whole.sheets) == 1 or drawing.carried.length - drawing.near.length < LEAD:
        return whole
    near = tile(drawing.near, drawing.content(drawing.near), drawing.whole, paper)
    return near if len(near.sheets) < len(whole.sheets) else whole


def sheet_turn(work: Work) -> float:
    """The turn (radians) of the drawing on its sheets that takes the fewest; none where that saves none.

    Every turn is counted by points first, by few of them where those take as many sheets already; the sheets are laid
    for those that promise fewer, the best first.
    """
    straight = Drawing.of(replace(work, sheet_turn=0.0))
    least = len(tiling_of(straight).sheets)
    if least == 1:
        return 0.0
    points = thinned(points_on(straight.near))
    paper = _printed(work)
    turns = [math.radians(degrees) for degrees in TURNS]
    few = _few(points)
    promised = [
        (count, n)
        for n, turn in enumerate(turns)
        if fewest_slid(_turned(few, turn), paper) < least
        and (count := fewest_slid(_turned(points, turn), paper)) < least
    ]
    best = 0.0
    for count, n in sorted(promised):
        if count >= least:
            break
        laid = len(tiling_of(Drawing.of(replace(work, sheet_turn=turns[n]))).sheets)
        if laid < least:
            best, least = turns[n], laid
    return best


def _few(points: FloatArray) -> FloatArray:
    """Some of the points (n, 2), with those that reach furthest whichever way they are turned: they take no more
    sheets than all do."""
    furthest = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(points)))
    return np.concatenate([furthest, points[::_SKIPPED]])


def _turned(points: FloatArray, angle: float) -> FloatArray:
    """Points (n, 2) turned counter-clockwise about the origin (radians)."""
    c, s = math.cos(angle), math.sin(angle)
    x, y = points.T
    return np.column_stack([c * x - s * y, s * x + c * y])


def _printed(work: Work) -> Paper:
    """The paper in true millimetres: how much of the drawing fits on it as the printer prints.

    Raises WriteError for a roll whose printer is off differently along and across.
    """
    short, long = work.template.print_scale
    paper = work.paper
    if paper.height is None and short != long:
        raise WriteError("a roll takes one print scale for both directions: give a single number.")
    return replace(paper, width=paper.width * short, height=paper.height and paper.height * long)


def pattern_scene(drawing: Drawing, tiling: Tiling, notes: Annotations) -> Scene:
    """Every line of the drawing, as far as any sheet reaches: tint first, exact line above it."""
    reach = np.array([drawing.whole, *(sheet.window for sheet in tiling.sheets)])
    (x0, y0), (x1, y1) = reach[:, :2].min(axis=0).tolist(), reach[:, 2:].max(axis=0).tolist()
    part = drawing.work.template
    outline = panel.cuts(drawing, Look(name=_CUT, width=part.line))
    # Where the line lies in the keep it is twice as wide, and the half in the waste is painted over: what is left
    # ends exactly at the edge.
    under = panel.cuts(drawing, Look(name=_CUT, width=2 * part.line))
    lies_in_keep = part.line_lies == "keep"
    more = [lines(DRAWN, shapely.line_merge(drawing.edge_of(area))) for area in drawing.more]
    layers = (
        Layer("waste", ((under,) if lies_in_keep else ()) + (panel.waste(drawing, WASTE),)),
        Layer(
            "panel",
            (*panel.middles(drawing), panel.edge(drawing), *panel.seams(drawing), *panel.zones(drawing)),
        ),
        Layer("outline", () if lies_in_keep else (outline,)),
        Layer("holes", (*panel.holes(drawing, 0.0, HOLE_ARM), *panel.pins(drawing))),
        Layer("on-this-face", (*more, *map(kinds.centre, map(drawing.at, drawing.centres)))),
        Layer("legs", (*_legs(notes), *(kinds.grain(*notes.grain) if notes.grain else ()))),
    )
    return Scene((x0, y0, x1, y1), layers)


def _define_pattern(paint: Paint, scene: Scene, weight: float) -> None:
    """The scene as one shared form, its lines so much heavier."""
    x0, y0, x1, y1 = (v * PT for v in scene.box)
    # Its type says whole points; any number will do.
    paint.canvas.beginForm(_FORM, x0, y0, x1, y1)  # type: ignore[arg-type]
    paint.draw(_heavier(scene.items, weight))
    paint.canvas.endForm()


def _heavier(items: Iterable[Item], by: float) -> Iterator[Item]:
    """The same with all lines so much heavier; the outline is as wide as was asked for."""
    for item in items:
        look = item.look
        yield item if look.name == _CUT else replace(item, look=replace(look, width=by * look.width))


def _legs(notes: Annotations) -> Iterator[Item]:
    yield Run(LEG, notes.runs)
    for arrow in notes.arrows:
        if arrow.beside:
            yield span(ARROW, arrow_tail(arrow), arrow.tip)
        yield arrow_head(*arrow.tip, arrow.angle)
    yield spans(STOP, notes.stops)


def _sheet(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet, notes: Annotations) -> None:
    paint.page(*tiling.page)
    paint.bookmark(f"Sheet {sheet.name}")
    # The foot first: it says which sheet this is.
    _strip(paint, drawing, tiling, sheet, notes)
    named = ", ".join(dict.fromkeys(placed.label.text for placed in notes.on(sheet)))
    with paint.figure(
        f"Sheet {sheet.name}: its part of the pattern at true size; on it: {named or 'no names'}."
    ):
        _window(paint, drawing, tiling, sheet, notes)
    paint.end_page()


def _window(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet, notes: Annotations) -> None:
    """The part of the drawing that a sheet shows, with what is written on it."""
    x0, y0, x1, y1 = sheet.window
    canvas = paint.canvas
    canvas.saveState()
    canvas.translate((MARGIN - x0) * PT, (MARGIN + STRIP - y0) * PT)
    path = canvas.beginPath()
    path.rect(x0 * PT, y0 * PT, (x1 - x0) * PT, (y1 - y0) * PT)
    canvas.saveState()
    canvas.clipPath(path, stroke=0, fill=0)
    canvas.doForm(_FORM)
    weight = drawing.work.template.weight
    for mark in notes.marks:
        if sheet.name in mark.sheets:
            paint.draw(_heavier(kinds.cross(mark.at), weight))
    paint.draw(*map(label_items, notes.on(sheet)))
    canvas.restoreState()
    paint.draw(_heavier(_window_edges(tiling, sheet), weight))
    canvas.restoreState()


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


def _window_edges(tiling: Tiling, sheet: Sheet) -> Iterator[Item]:
    """A comb where the sheet is trimmed; two thin lines where the next sheet's trimmed edge comes to lie
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
        trimmed = side in joined and side in ("left", "above")
        yield from kinds.trim(edge) if trimmed else (span(WINDOW, edge[:2], edge[2:]),)
    o = tiling.overlap
    if "right" in joined:
        yield kinds.twin(x1 - o, y0, x1 - o, y1)
    if "below" in joined:
        yield kinds.twin(x0, y0 + o, x1, y0 + o)


def _strip(paint: Paint, drawing: Drawing, tiling: Tiling, sheet: Sheet, notes: Annotations) -> None:
    """The foot of the sheet: its name and number, job and date, which face it goes on, its neighbours, drills, and a
    line to measure in both units."""
    work = drawing.work
    left, right = MARGIN, tiling.page[0] - MARGIN
    top = MARGIN + STRIP
    paint.fill(0)
    with paint.part("H1"):
        paint.text(left, top - 9.6, sheet.name, size(7.0), bold=True)
    start = left + paint.width(sheet.name, size(7.0), bold=True) + 4
    end = right
    if right - start > 130:
        end = right - 56
        paint.draw(kinds.scale_bar(end + 3, top - 6.2))
    number = f"sheet {tiling.sheets.index(sheet) + 1} of {len(tiling.sheets)}"
    words = [
        ", ".join(filter(None, (number, work.title, printed_date(work.job)))),
        f"{_face(drawing)}; {_joins_words(tiling, sheet)}",
    ]
    y = top - 4.6
    for n, text in enumerate(words):
        line = fonts.wrap(text, fonts.LETTERS, size(WORDS), (end - start) * PT)[:1]
        paint.text(start, y, "".join(line), size(WORDS), bold=n == 0)
        y -= 4.9
    _drills(
        paint, drawing, notes, (start + 2 + paint.width(words[0], size(WORDS), bold=True), end), top - 3.2
    )


def _drills(paint: Paint, drawing: Drawing, notes: Annotations, room: tuple[float, float], y: float) -> None:
    """The drill of each sign, as far as there is room on the line."""
    x, end = room
    for diameter, kind in notes.drills.items():
        text = format_length(diameter, drawing.work.kit.drills.unit)
        wide = 6.0 + paint.width(text, size(WORDS))
        if x + wide > end:
            return
        paint.draw(drill_sign((x + 2.2, y), 1.4, kind, 0.6))
        paint.fill(0)
        paint.text(x + 4.8, y - WORDS / 2, text, size(WORDS))
        x += wide + 1.5


def _face(drawing: Drawing) -> str:
    if drawing.more:
        return "the BACK as you look at it"
    return "MIRRORED, glue on the BACK" if drawing.work.template.back else "glue on the SHOW FACE"


def _joins_words(tiling: Tiling, sheet: Sheet) -> str:
    joined = neighbours(tiling, sheet)
    if not joined:
        return "print at 100 %"
    sides = ", ".join(f"{' and '.join(names)} {side}" for side, names in joined.items())
    return f"joins {sides}; print at 100 %"
