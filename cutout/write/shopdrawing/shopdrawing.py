"""The shop drawing: the panel with its sizes, what to do in lettered steps, on one sheet to hang beside the saw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cutout.draw import fonts
from cutout.draw.box import Box
from cutout.draw.labels import Room
from cutout.draw.paint import Paint
from cutout.draw.signs import NUMBER, size
from cutout.errors import WriteError
from cutout.saw.model import Step
from cutout.units import format_size
from cutout.write.shopdrawing.details import Detail, details_of, draw_balloon, draw_detail
from cutout.write.shopdrawing.dimensions import OVERALL
from cutout.write.shopdrawing.table import BLOCK, Block, blocks, remarks, scale_words, title_block
from cutout.write.shopdrawing.view import View, lay_view, view_scene
from cutout.write.work import Work

A4, LETTER = (297.0, 210.0), (279.4, 215.9)
"""Sheets that any home printer takes, lying on their long side (mm)."""
BORDER = 8.0
"""From the sheet's edge to its frame (mm): more than printers leave blank."""
SCALES = (
    2.0,
    *(
        1 / n
        for n in (1, 1.25, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 10, 12, 15, 20, 25, 30, 40, 50, 75, 100, 200, 500)
    ),
)
"""Paper over panel, the largest first: those of ISO 5455 and round ones between, so that a panel fills its sheet."""
RINGS = (64.0, 52.0, 42.0, 36.0)
"""Diameters of a detail (mm), the largest that free paper has room for: it shows more of what is crowded."""
_COLUMNS = (120.0, 106.0, 96.0)
"""Widths of the column of steps that are tried (mm)."""
_LEFT, _LOW, _HIGH = OVERALL + 5.8, OVERALL + 2.4, 4.0
"""Room at the panel's left and below it for its sizes, and at its right and above it (mm)."""
_SMALLER = 0.6
"""A panel is drawn this much smaller at most so that all words stand beside it; else they go on overleaf."""
_UNDER = 30.0
"""Height (mm) under the panel from which it is worth a column of words."""
_WHOLE_WORDS = 1.3
"""Whole sentences are worth a panel so much smaller."""
_SIDES = 2
"""Sides of the sheet: a second one at most."""


@dataclass(frozen=True, slots=True)
class Layout:
    """How a sheet is divided: place of the panel's view, columns of words, the title block, what is left free;
    and whether the steps are said in brief."""

    scale: float
    view: Box
    columns: tuple[Box, ...]
    block: Box
    free: tuple[Box, ...]
    brief: bool = False


def shop_drawing_pdf(work: Work) -> bytes:
    """One sheet of A4 or letter, a second side at most where the steps or the crowded spots are many. Same work, same
    bytes."""
    page = sheet_size(work)
    paint = Paint(f"{work.title}: shop drawing", face=fonts.LETTERING)
    steps = work.plan.steps
    layout, view, room = _laid_out(paint, work, steps, page)
    width = _width(layout.block)
    kept, over = _filled(blocks(paint, work, steps, width, brief=layout.brief), layout.columns)
    free = [*layout.free, *_below(kept, layout.columns)]
    spots, later = _slots(_details(work, view, free), free, room, view)
    sides = 1 + bool(over or later)
    paint.page(*page)
    paint.bookmark("Shop drawing")
    _frame(paint, page, layout.columns)
    title_block(paint, work, layout.block, layout.scale, (1, sides))
    for block, box in kept:
        block.draw(box)
    said = remarks(paint, work, width)
    x0, _, x1, top = layout.block
    said.draw((x0, top, x1, top + said.height))
    # The drawing after the steps: so it is read aloud, too.
    with paint.figure(
        f"The panel at {scale_words(layout.scale)}, with its sizes, holes and the start of every step."
    ):
        paint.draw(view_scene(view).items)
        for detail, _ in spots:
            draw_balloon(paint, room, view, detail)
        for detail in later:
            draw_balloon(paint, room, view, detail)
    for detail, corner in spots:
        draw_detail(paint, work, steps, detail, corner)
    paint.end_page()
    if sides > 1:
        _second(paint, work, steps, page, over, later, layout)
    return paint.bytes()


def sheet_size(work: Work) -> tuple[float, float]:
    """A4, or letter for those who print on letter, legal or tabloid, lying."""
    return LETTER if work.paper.name in ("letter", "legal", "tabloid") else A4


def _laid_out(
    paint: Paint, work: Work, steps: tuple[Step, ...], page: tuple[float, float]
) -> tuple[Layout, View, Room]:
    """The layout with the largest scale whose words fit, else the largest that leaves them to the second side; the
    panel's view laid in it, and the room that is left."""
    layout = _best_layout(paint, work, page)
    x0, _, x1, y1 = layout.view
    height = work.pattern.panel.height * layout.scale
    width = work.pattern.panel.width * layout.scale
    corner = (x0 + _LEFT, y1 - _HIGH - height)
    # Names may stand above and right of the panel; left of it and below it are its sizes.
    limits = (*corner, min(x1, corner[0] + width + 14.0) - 0.5, y1 - 0.5)
    view, room = lay_view(work, steps, layout.scale, corner, limits, min(30.0, 0.4 * height + 8.0))
    return layout, view, room


def _details(work: Work, view: View, free: Sequence[Box]) -> tuple[Detail, ...]:
    """The details wanted, with the largest rings that all find room in free paper; else with the smallest."""
    wanted: tuple[Detail, ...] = ()
    for diameter in RINGS:
        wanted = details_of(work, view, diameter)
        if wanted and not _in_paper(wanted, free)[1]:
            break
    return wanted


def _best_layout(paint: Paint, work: Work, page: tuple[float, float]) -> Layout:
    """How to divide the sheet: the largest scale at which everything fits on it, unless the panel would come out much
    smaller than where the words go on overleaf; whole sentences where it comes out nearly as large with them."""
    fits: list[tuple[bool, float, int, Layout]] = []
    for n, (make, width) in enumerate((make, width) for make in (_beside, _above) for width in _COLUMNS):
        layouts = [layout for scale in SCALES if (layout := make(work, page, scale, width)) is not None]
        if not layouts:
            continue
        across = _width(layouts[0].block)
        foot = remarks(paint, work, across).height
        for brief in (False, True):
            words = blocks(paint, work, work.plan.steps, across, brief=brief)
            for layout in layouts:
                here = replace(layout, brief=brief, columns=_over(layout.columns, foot))
                over = bool(_filled(words, here.columns)[1])
                fits.append((over, -here.scale * (1.0 if brief else _WHOLE_WORDS), n, here))
                if not over:
                    break
    if not fits:
        panel = format_size(work.pattern.panel.width, work.pattern.panel.height, work.units)
        raise WriteError(f"a panel of {panel} does not go on the shop drawing at any scale: check its size.")
    largest = max(fit[3].scale for fit in fits)
    whole = [fit for fit in fits if not fit[0] and fit[3].scale >= _SMALLER * largest]
    return min(whole or [fit for fit in fits if fit[3].brief], key=lambda fit: fit[1:3])[3]


def _over(columns: Sequence[Box], foot: float) -> tuple[Box, ...]:
    """Columns, the last of them that much shorter."""
    x0, y0, x1, y1 = columns[-1]
    return (*columns[:-1], (x0, min(y0 + foot, y1), x1, y1))


def _inner(page: tuple[float, float]) -> Box:
    return (BORDER, BORDER, page[0] - BORDER, page[1] - BORDER)


def _needed(work: Work, scale: float) -> tuple[float, float]:
    """Width and height of the panel's view with its sizes (mm)."""
    panel = work.pattern.panel
    return panel.width * scale + _LEFT + _HIGH, panel.height * scale + _LOW + _HIGH


def _beside(work: Work, page: tuple[float, float], scale: float, width: float) -> Layout | None:
    """The panel left, the words right of it over the title block; None where the panel does not fit."""
    x0, y0, x1, y1 = _inner(page)
    wide, tall = _needed(work, scale)
    split = x1 - width
    if wide > split - x0 or tall > y1 - y0:
        return None
    low = y1 - tall - 1
    right, column = (x0 + wide + 1, low + 1, split - 1, y1 - 1), (split, y0 + BLOCK, x1, y1)
    block = (split, y0, x1, y0 + BLOCK)
    if low - y0 > _UNDER and split - x0 > width:
        # Room under the panel: the words go on there.
        under = (x0, y0, x0 + width, low)
        free = (right, (under[2] + 1, y0 + 1, split - 1, low))
        return Layout(scale, (x0, low, split, y1), (under, column), block, free)
    return Layout(scale, (x0, y0, split, y1), (column,), block, (right, (x0 + 1, y0 + 1, split - 1, low)))


def _above(work: Work, page: tuple[float, float], scale: float, _: float) -> Layout | None:
    """The panel on top, the words under it in two columns; None where the panel does not fit."""
    x0, y0, x1, y1 = _inner(page)
    wide, tall = _needed(work, scale)
    low = y1 - tall
    split = (x0 + x1) / 2
    if wide > x1 - x0 or low - y0 < BLOCK + 12.0:
        return None
    columns = ((x0, y0, split, low), (split, y0 + BLOCK, x1, low))
    free = ((x0 + wide + 1, low + 1, x1 - 1, y1 - 1),)
    return Layout(scale, (x0, low, x1, y1), columns, (split, y0, x1, y0 + BLOCK), free)


def _width(box: Box) -> float:
    return box[2] - box[0]


def _filled(wanted: Sequence[Block], columns: Sequence[Box]) -> tuple[list[tuple[Block, Box]], list[Block]]:
    """Blocks in columns one after the other, each with its box; and those that no longer fit."""
    kept: list[tuple[Block, Box]] = []
    left = list(wanted)
    # The column beside the panel is read first; of two under the panel the left one.
    for x0, y0, x1, y1 in sorted(columns, key=lambda box: (-box[3], box[0])):
        y = y1
        while left and y - left[0].height >= y0 - 1e-6:
            block = left.pop(0)
            kept.append((block, (x0, y - block.height, x1, y)))
            y -= block.height
    return kept, left


def _below(kept: Sequence[tuple[Block, Box]], columns: Sequence[Box]) -> list[Box]:
    """What is free under the words of each column."""
    free = []
    for x0, y0, x1, y1 in columns:
        lows = [box[1] for _, box in kept if box[0] == x0]
        free.append((x0 + 1.0, y0 + 0.5, x1 - 1.0, min(lows, default=y1) - 1.0))
    return free


def _slots(
    details: Sequence[Detail], free: Sequence[Box], room: Room, view: View
) -> tuple[list[tuple[Detail, tuple[float, float]]], list[Detail]]:
    """Details in free paper, else in free wood of the view; those that are needed and found neither come second."""
    found, rest = _in_paper(details, free)
    later: list[Detail] = []
    for detail in rest:
        wide, tall = detail.slot
        spot = room.free_box((wide + 2.0, tall + 2.0), view.drawing.panel, view.drawing.wood, 3.0)
        if spot is not None:
            room.occupy(spot)
            found.append((detail, (spot[0] + 1.0, spot[1] + 1.0)))
        elif detail.needed:
            later.append(detail)
    return found, later


def _in_paper(
    details: Sequence[Detail], free: Sequence[Box]
) -> tuple[list[tuple[Detail, tuple[float, float]]], list[Detail]]:
    """Details with their places in free boxes of paper, from the left; and those that found none."""
    boxes = [list(box) for box in free]
    found: list[tuple[Detail, tuple[float, float]]] = []
    rest: list[Detail] = []
    for detail in details:
        wide, tall = detail.slot
        box = next((b for b in boxes if b[2] - b[0] >= wide and b[3] - b[1] >= tall), None)
        if box is None:
            rest.append(detail)
            continue
        found.append((detail, (box[0], box[1])))
        box[0] += wide + 1.0
    return found, rest


def _frame(paint: Paint, page: tuple[float, float], columns: Sequence[Box]) -> None:
    """The sheet's border, and a line at the left of the last column down to the title block."""
    inner = _inner(page)
    paint.pen(0.7)
    paint.rect(inner)
    paint.pen(0.25)
    for x0, _, _, y1 in columns[-1:]:
        paint.line(x0, inner[1], x0, y1)


def _second(
    paint: Paint,
    work: Work,
    steps: Sequence[Step],
    page: tuple[float, float],
    over: Sequence[Block],
    later: Sequence[Detail],
    layout: Layout,
) -> None:
    """The second side: the rest of the words in columns, and the details that found no room on the first."""
    x0, y0, x1, y1 = _inner(page)
    paint.page(*page)
    paint.bookmark("Shop drawing, second side")
    _frame(paint, page, ())
    width = _width(layout.columns[-1])
    columns = [(x1 - width, y0 + BLOCK, x1, y1)]
    columns += [(x, y0, x + width, y1) for x in (x0, x0 + width + 3) if over and x + width <= x1 - width - 1]
    kept, left = _filled(over, columns[1:] + columns[:1] if len(columns) > 1 else columns)
    title_block(paint, work, (x1 - width, y0, x1, y0 + BLOCK), layout.scale, (2, _SIDES))
    for block, box in kept:
        block.draw(box)
    free = [box for box in _below(kept, columns) if box[3] - box[1] > 20]
    if not kept:
        free = [(x0 + 2, y0 + 2, x1 - width - 2, y1 - 2), (x1 - width + 1, y0 + BLOCK + 1, x1 - 1, y1 - 1)]
    boxes = list(free)
    for detail in later:
        wide, tall = detail.slot
        fitting = [b for b in boxes if b[2] - b[0] >= wide and b[3] - b[1] >= tall]
        if fitting:
            box = fitting[0]
            draw_detail(paint, work, steps, detail, (box[0], box[3] - tall))
            boxes.remove(box)
            boxes.append((box[0] + wide + 1.0, box[3] - tall, box[2], box[3]))
            boxes.append((box[0], box[1], box[2], box[3] - tall - 1.0))
    if left:
        paint.fill(0)
        words = "More steps than two sides hold: the rest is in the cut sheet."
        paint.text(x0 + 3, y0 + 3, words, size(NUMBER), bold=True)
    paint.end_page()
