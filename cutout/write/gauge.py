"""The test card: what the printer does to sizes, and what the user's own saw does in scrap."""

from __future__ import annotations

import math

from cutout.draw.fonts import PT
from cutout.draw.looks import SOLID, Look
from cutout.draw.paint import Paint
from cutout.draw.scene import Disc, Run, arrow_head
from cutout.gauge.card import (
    DOT,
    HEIGHT,
    LINE,
    LINE_GREY,
    MARK,
    RIM,
    SCRAP,
    SQUARE,
    WIDTH,
    Card,
    card_for,
    cells,
    cuts,
    dots,
    mark_boxes,
    word,
)
from cutout.kit import Kit, Paper
from cutout.units import MM_PER_INCH, Units, format_length
from cutout.write.cautions import cautions
from cutout.write.cutsheet.flow import Flow
from cutout.write.template.front import check_page, safety

_BLANK = "." * 22
"""Room to write a measure by hand."""
_SMALL = 7.0
"""Size of type on the card (pt): it stands close to what it names."""


def gauge_pdf(kit: Kit, paper: Paper, units: Units) -> bytes:
    """The test card as a PDF at 1:1 on the paper: check squares, the card to saw, what to do with it.

    The arcs reach on both sides of the turning radius the kit expects of its blade. Same kit, same bytes.
    Raises KitError for paper too small for the card.
    """
    card = card_for(kit.blade.turning_radius, paper)
    paint = Paint("test card")
    page = (paper.width, paper.height or max(paper.width, 300.0))
    flow = Flow(paint, page)
    flow.new_page()
    check_page(paint, flow, "Test card: printer, kerf, turning radius", units)
    safety(flow, cautions(kit))
    flow.close()
    paint.page(*page)
    draw_card(paint, card, page, kit, units)
    paint.end_page()
    flow.new_page()
    _what_to_do(flow, kit, units)
    _by_hand(flow, units)
    _where_to_enter(flow, kit, units)
    flow.close()
    return paint.bytes()


def draw_card(paint: Paint, card: Card, page: tuple[float, float], kit: Kit, units: Units) -> None:
    """The card itself, in the middle of a page of this size (mm)."""
    paint.canvas.saveState()
    ox, oy = (page[0] - WIDTH) / 2, (page[1] - HEIGHT) / 2
    paint.canvas.translate(ox * PT, oy * PT)
    _edges(paint)
    for corner, box in enumerate(mark_boxes()):
        _mark(paint, (box[0], box[1]), word(card, corner))
    paint.draw(Disc(SOLID, (x, y), DOT / 2) for x, y in dots(card.ladder).tolist())
    for cut in cuts(card.ladder):
        look = Look(name="line", width=LINE, ink=LINE_GREY)
        paint.draw(Run(look, (trail.points(0.1),)) for trail in cut.trails)
        paint.fill(0)
        paint.text(cut.label.real, cut.label.imag, _label(cut.kind, cut.radius, units), _SMALL)
    _middle(paint, card, kit, units)
    paint.canvas.restoreState()


def _edges(paint: Paint) -> None:
    """Where the scrap's edges lie: the saw comes in over them."""
    paint.pen(0.4, 0.45, (7, 2.5))
    x0, y0, x1, y1 = -SCRAP, -SCRAP, WIDTH + SCRAP, HEIGHT + SCRAP
    for line in ((x0, y0, x1, y0), (x1, y0, x1, y1), (x1, y1, x0, y1), (x0, y1, x0, y0)):
        paint.line(*line)


def _mark(paint: Paint, corner: tuple[float, float], value: int) -> None:
    """One mark: a black square with four by four cells in it."""
    x, y = corner
    paint.fill(0)
    paint.rect((x, y, x + MARK, y + MARK), stroke=False, fill=True)
    side = (MARK - 2 * RIM) / 4
    black = cells(value)
    paint.fill(1)
    for row in range(4):
        for column in range(4):
            if not black[row, column]:
                left, low = x + RIM + column * side, y + RIM + (3 - row) * side
                paint.rect((left, low, left + side, low + side), stroke=False, fill=True)


def _label(kind: str, radius: float, units: Units) -> str:
    words = {
        "along": "along the grain",
        "across": "across the grain",
        "turned": "turn the blade here",
        "met": "from both sides",
    }
    return words.get(kind) or f"R {format_length(radius, units)}"


def _middle(paint: Paint, card: Card, kit: Kit, units: Units) -> None:
    """The check square, and room to write what the photograph can't say."""
    x, y, side = SQUARE
    paint.pen(0.2)
    paint.rect((x, y, x + side, y + side))
    paint.fill(0)
    size = format_length(side, "mm") if units == "mm" else f"{side / MM_PER_INCH:.3f} in"
    paint.text(x + side / 2, y + side - 7, f"{size} each side", _SMALL, align="centre")
    paint.text(x + side / 2, y + side - 14, card.title, 10, bold=True, align="centre")
    paint.draw([arrow_head(x + side / 2, y + 30, math.pi / 2)])
    paint.pen(0.3)
    paint.line(x + side / 2, y + 10, x + side / 2, y + 28)
    paint.text(x + side / 2 + 3, y + 18, "grain", _SMALL)
    for n, what in enumerate(("wood", "thickness", "blade", "minutes of sawing", "date")):
        paint.text(x - 2, y - 7 - 5.5 * n, f"{what} {'.' * (44 - len(what))}", 8)


def _what_to_do(flow: Flow, kit: Kit, units: Units) -> None:
    blade = kit.blade
    flow.text("What your own saw does", 14, bold=True)
    flow.text(
        f"Blade: {blade.title}. Expected: kerf {_fine(blade.kerf, units)}, turning radius "
        f"{format_length(blade.turning_radius, units)} ({_basis(kit)}). Your saw, wood and hand decide: measure.",
        9,
    )
    flow.heading("1. Saw the card")
    steps = (
        "Glue the whole sheet flat on scrap a little larger, of the same wood and thickness as the panel, its arrow "
        "along the grain. On smaller scrap the dashed lines lie on its edges.",
        "Saw every pale line from the edge to its end, at your usual pace and without twisting the saw: first the "
        "two slots, then the arcs, the largest first. Stop where the blade binds or burns. Let it stand still, and "
        "back out.",
        '"Turn the blade here": saw in to the corner, turn on the spot if your saw can, and go on. "From both '
        'sides": saw to the point from the one side, then from the other. The wedge falls out.',
        "Blow the dust out of the slots. Write down wood, thickness, blade and the minutes of sawing.",
    )
    for n, step in enumerate(steps, start=1):
        flow.text(step, 9, indent=6, mark=f"{n}.")
    flow.heading("2. Photograph it")
    shots = (
        "Lay it on something dark, or the light shows through the slots. Daylight from a window, no flash, no "
        "glare on the paper.",
        "From above, the whole paper in the picture and as large as it goes, all four marks sharp.",
        "Then: cutout gauge photo.jpg --minutes 12 --wood red-oak --thickness 18mm --keep. It says what it read, how "
        "sure it is, and what it could not read and why, and keeps the values for later jobs.",
    )
    for n, step in enumerate(shots, start=1):
        flow.text(step, 9, indent=6, mark=f"{n}.")


def _by_hand(flow: Flow, units: Units) -> None:
    flow.heading("Without a camera")
    steps = (
        "Kerf: find the widest drill shank, feeler gauge or key that just slides into the slot, at three places, and "
        "measure it with callipers. The middle value is your kerf.",
        "Turning radius: that of the tightest arc whose slot stayed on its line, where the blade neither bound, "
        "burnt nor widened the slot, with every larger one as good.",
    )
    for step in steps:
        flow.text(step, 9, indent=6, mark="-")
    flow.text(f"turning radius {_BLANK} {units}     kerf {_BLANK} {units}", 9)


def _fine(length: float, units: Units) -> str:
    """A small length as callipers show it: to 0.1 mm or 0.001 in."""
    return f"{length / MM_PER_INCH:.3f} in" if units == "in" else format_length(length, "mm")


def _basis(kit: Kit) -> str:
    return {
        "measured": "measured by you",
        "catalogue": "from a catalogue",
        "formula": "worked out from width, body and kerf",
    }[kit.blade.radius_from]


def _where_to_enter(flow: Flow, kit: Kit, units: Units) -> None:
    sample = "3/8in" if units == "in" else "9mm"
    slot = "0.05in" if units == "in" else "1.3mm"
    flow.heading("Where values found by hand go")
    flow.text(f"On the command line: --turning-radius {sample} --kerf {slot}", 9)
    flow.text(f'In the job file, under [saw]: turning_radius = "{sample}" and kerf = "{slot}"', 9)
    flow.text(
        "A radius you measured always goes before the formula. Measure again for another blade, wood or thickness "
        "(thick hardwood lets a blade turn less than thin softwood).",
        9,
    )
