"""The test card: what the printer does to sizes, and what the user's own saw does in scrap."""

from __future__ import annotations

import math

import numpy as np

from cutout.draw.box import Box
from cutout.draw.paint import Paint
from cutout.kit import Kit, Paper
from cutout.units import MM_PER_INCH, Units, format_length
from cutout.write.cautions import cautions
from cutout.write.cutsheet.flow import Flow
from cutout.write.template.front import check_page, safety

_RADII: dict[Units, tuple[float, ...]] = {
    "mm": (80, 60, 50, 40, 30, 25, 20, 16, 12, 10, 8, 6, 5, 4, 3, 2, 1.5, 1),
    "in": tuple(MM_PER_INCH * r for r in (3, 2.5, 2, 1.5, 1.25, 1, 3 / 4, 5 / 8, 1 / 2, 3 / 8, 5 / 16, 1 / 4))
    + tuple(MM_PER_INCH * r for r in (3 / 16, 1 / 8, 1 / 16, 3 / 64)),
}
"""Steps of the ladder (mm), largest first: each about a fifth to a quarter tighter than the one before."""

_LEAD = 12.0
"""Straight run from the edge of the scrap to where an arc begins (mm)."""

_GUIDE = 1.0
"""How far beside an arc its two guide lines run (mm); a kerf that leaves them did not follow."""

_BLANK = "." * 22


def gauge_pdf(kit: Kit, paper: Paper, units: Units) -> bytes:
    """The test card as a PDF at 1:1 on the paper: check squares, kerf test, a ladder of arcs.

    The arcs reach from about twice to a third of the turning radius the kit expects of its blade.
    Same kit, same bytes.
    """
    paint = Paint("test card")
    page = (paper.width, paper.height or max(paper.width, 300.0))
    flow = Flow(paint, page)
    flow.new_page()
    check_page(paint, flow, "Test card: printer, kerf, turning radius", units)
    safety(flow, cautions(kit))
    flow.new_page()
    _blade(flow, kit, units)
    _kerf_test(paint, flow, kit, units)
    _arc_test(paint, flow, kit, units)
    _where_to_enter(flow, units)
    flow.close()
    return paint.bytes()


def ladder(kit: Kit, units: Units, widest: float = math.inf) -> tuple[float, ...]:
    """Radii (mm) to saw, largest first, on both sides of what the kit expects; none wider than `widest` across."""
    expected = kit.blade.turning_radius
    top, bottom = max(2 * expected, 6.0), max(0.35 * expected, 1.0)
    return tuple(r for r in _RADII[units] if bottom - 1e-9 <= r <= top + 1e-9 and 2 * r <= widest)


def _blade(flow: Flow, kit: Kit, units: Units) -> None:
    blade = kit.blade
    flow.text("What your own saw does", 14, bold=True)
    flow.text(
        f"Blade: {blade.title}. Expected: kerf {_fine(blade.kerf, units)}, turning radius "
        f"{format_length(blade.turning_radius, units)} ({_basis(kit)}). Your saw, wood and hand decide: measure.", 9,
    )  # fmt: skip
    flow.text(
        "Glue this page on a piece of scrap of the same wood and thickness as the panel, its heavy dashed lines "
        "on the scrap's edge. Cut it apart where you need to.", 9,
    )  # fmt: skip


def _fine(length: float, units: Units) -> str:
    """A small length as callipers show it: to 0.1 mm or 0.001 in."""
    return f"{length / MM_PER_INCH:.3f} in" if units == "in" else format_length(length, "mm")


def _basis(kit: Kit) -> str:
    return {
        "measured": "measured by you",
        "catalogue": "from a catalogue",
        "formula": "worked out from width, body and kerf",
    }[kit.blade.radius_from]


def _kerf_test(paint: Paint, flow: Flow, kit: Kit, units: Units) -> None:
    flow.heading("1. Kerf")
    steps = (
        "Saw straight up the line below, without forcing, to its end.",
        "Find the widest drill shank, feeler gauge or key that just slides into the slot, at three places, "
        "and measure it with callipers. The middle value is your kerf.",
        "Or measure a narrow strip's width, saw it in two along its length, measure both parts: the kerf is what "
        "is missing.",
    )
    for n, step in enumerate(steps, start=1):
        flow.text(step, 9, indent=6, mark=f"{n}.")

    def draw(box: Box) -> None:
        x0, y0, x1, y1 = box
        _scrap_edge(paint, x0, y0, min(60.0, x1 - x0))
        paint.pen(0.2)
        paint.line(x0 + 12, y0, x0 + 12, y1 - 2)
        paint.line(x0 + 9, y1 - 2, x0 + 15, y1 - 2)
        paint.fill(0)
        words = f"kerf {_BLANK} {units}"
        paint.text(min(x0 + 24, x1 - 40), y0 + 8, words, 9)

    flow.space(2)
    flow.block(28.0, draw)


def _arc_test(paint: Paint, flow: Flow, kit: Kit, units: Units) -> None:
    flow.heading("2. Turning radius")
    x0, _, x1, _ = flow.column
    radii = ladder(kit, units, x1 - x0 - 2 * _GUIDE)
    steps = (
        "Saw in from the edge along each line, the largest arc first, at your usual pace and without twisting "
        "the saw. Stop where the arc ends, let the blade stop, and back out.",
        "Tick an arc if the kerf stayed between the two fine lines, and the blade neither bound, burnt nor "
        "widened its slot.",
        "Your turning radius is that of the tightest arc you ticked, with every larger one ticked too.",
    )
    for n, step in enumerate(steps, start=1):
        flow.text(step, 9, indent=6, mark=f"{n}.")
    flow.space(2)
    for row in _rows(radii, x1 - x0):
        flow.block(_LEAD + max(row) + 10.0, lambda box, row=row: _arc_row(paint, box, row, units))  # type: ignore[misc]
        flow.space(3)


def _cell(radius: float) -> float:
    """Width of paper (mm) an arc takes with its label."""
    return max(2 * radius + 2 * _GUIDE, 15.0) + 5.0


def _rows(radii: tuple[float, ...], width: float) -> list[list[float]]:
    rows: list[list[float]] = []
    used = 0.0
    for radius in radii:
        if not rows or used + _cell(radius) - 5.0 > width:
            rows.append([])
            used = 0.0
        rows[-1].append(radius)
        used += _cell(radius)
    return rows


def _arc_row(paint: Paint, box: Box, row: list[float], units: Units) -> None:
    x, base = box[0], box[1]
    _scrap_edge(paint, x, base, min(sum(_cell(r) for r in row), box[2] - box[0]))
    for radius in row:
        left = x + (_cell(radius) - 5.0) / 2 - radius
        for offset, width, grey in ((0.0, 0.25, 0.0), (_GUIDE, 0.1, 0.45), (-_GUIDE, 0.1, 0.45)):
            if radius + offset > 0.2:
                paint.pen(width, grey)
                paint.polyline(_test_cut(left, base, radius, radius + offset))
        end = left + 2 * radius
        paint.pen(0.25)
        paint.line(end - _GUIDE - 0.5, base + _LEAD, end + _GUIDE + 0.5, base + _LEAD)
        paint.fill(0)
        top = base + _LEAD + radius + _GUIDE + 1.5
        words = format_length(radius, units)
        paint.text(left + radius - 2, top + 0.6, words, 8, bold=True, align="centre")
        paint.pen(0.2)
        right = left + radius + 6.5
        paint.rect((right - 1.5, top, right + 1.5, top + 3))
        x += _cell(radius)


def _test_cut(left: float, base: float, radius: float, at: float) -> list[tuple[float, float]]:
    """Up from the edge and round half a circle; `at` is the radius of this line of the three."""
    angles = np.linspace(math.pi, 0.0, max(12, math.ceil(6 * math.sqrt(at) * 4)))
    cx, cy = left + radius, base + _LEAD
    arc = np.column_stack([cx + at * np.cos(angles), cy + at * np.sin(angles)])
    return [(cx - at, base), *((float(x), float(y)) for x, y in arc)]


def _scrap_edge(paint: Paint, x: float, y: float, length: float) -> None:
    paint.pen(0.5, 0.0, (7, 2.5))
    paint.line(x, y, x + length, y)


def _where_to_enter(flow: Flow, units: Units) -> None:
    sample = "3/8in" if units == "in" else "9mm"
    slot = "0.05in" if units == "in" else "1.3mm"
    flow.heading("3. Where the results go")
    flow.text(f"turning radius {_BLANK} {units}     kerf {_BLANK} {units}     blade {_BLANK}", 9)
    flow.text(f"On the command line: --turning-radius {sample} --kerf {slot}", 9)
    flow.text(f'In the job file, under [saw]: turning_radius = "{sample}" and kerf = "{slot}"', 9)
    flow.text(
        "A radius you measured always goes before the formula. Measure again for another blade, wood or thickness "
        "(thick hardwood lets a blade turn less than thin softwood).", 9,
    )  # fmt: skip
