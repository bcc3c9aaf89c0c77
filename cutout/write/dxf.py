"""A drawing for a machine's own program: the pattern and the bit's path, true to size.

Group codes, bulges and header variables as in the published DXF reference.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import shapely
from shapely import affinity, box

from cutout.errors import WriteError
from cutout.geom.arcfit import fit_rings
from cutout.geom.curve import Arc, Cubic
from cutout.geom.outline import Ring, from_region
from cutout.pattern import Pattern
from cutout.units import MM_PER_INCH, Units, format_length, format_size
from cutout.write.dxf_file import INCHES, MM, NO_UNIT, VERSIONS, DxfFile
from cutout.write.work import Work

if TYPE_CHECKING:
    from cutout.nest import Layout

CUT_LINE, TOOL_PATH, PANEL, NOTES = "cut_line", "tool_path", "panel", "notes"
_COLOURS = {CUT_LINE: 7, TOOL_PATH: 4, PANEL: 8, NOTES: 2}
_DRILL_COLOUR = 6  # magenta, by the numbers of the format
_FIT, _FINE = 0.01, 0.001
"""Arcs lie this near to the outline (mm), the working resolution; and the points they are fitted to."""
_FEWEST = 3
"""Lines and arcs a fit makes of a ring at least: none turns by half a circle."""
_APART = 50.0
"""Between two boards of a layout, mm."""
_TEXT = 4.0
"""Height of the notes, mm."""


def router_dxf(work: Work) -> bytes:
    """The drawing as the bytes of a DXF file of `work.job.router.dxf`, in `work.units`. Raises WriteError."""
    if work.job.router.dxf not in VERSIONS:
        raise WriteError(f'DXF version "{work.job.router.dxf}" can\'t be written: use R2010 or R12.')
    drawing = _empty(work)
    _draw(drawing, work, 1.0 if work.units == "mm" else 1 / MM_PER_INCH)
    return drawing.data()


def layout_dxf(layout: Layout) -> bytes:
    """Pieces on boards as closed lines and arcs, one board below the other with its edge; mm."""
    drawing = DxfFile("R2010", MM)
    for name, colour in _COLOURS.items():
        drawing.layer(name, colour)
    for number in range(layout.boards):
        up = -number * (layout.board.width + _APART)
        edge = box(0.0, up, layout.board.length, up + layout.board.width)
        _closed(drawing, PANEL, from_region(edge), 1.0)
        rings = from_region(affinity.translate(layout.placed(number), 0.0, up))
        _closed(drawing, CUT_LINE, fit_rings([ring.points(_FINE) for ring in rings], _FIT), 1.0)
    return drawing.data()


def _draw(drawing: DxfFile, work: Work, scale: float) -> None:
    _closed(drawing, PANEL, from_region(work.pattern.panel.polygon), scale)
    _closed(drawing, CUT_LINE, _cut_line(work.pattern), scale)
    _closed(drawing, TOOL_PATH, (p.ring for p in work.router.passes), scale)
    for (x, y), diameter in _drilled(work):
        drawing.circle(drill_layer(diameter, work.units), x * scale, y * scale, diameter / 2 * scale)
    _notes(drawing, work, scale)


def drill_layer(diameter: float, units: Units) -> str:
    """The layer of the holes one drill makes, like drill_8mm or drill_5-16in: a name any version takes.

    A drill that is no even fraction of an inch is called by its millimetres.
    """
    parts = diameter / MM_PER_INCH * 64
    size = (
        format_length(diameter, units if abs(parts - round(parts)) < 1e-3 else "mm")
        .replace(" ", "")
        .replace(".", "_")
        .replace("/", "-")
    )
    return f"drill_{size}"


def _drilled(work: Work) -> list[tuple[tuple[float, float], float]]:
    """Every hole that a drill makes: those of the saw plan, and those the size of a bit in the router's path."""
    own = [(p.ring.segments[0].start, p.bit.diameter) for p in work.router.passes if p.drilled]
    return [
        *((hole.at, hole.diameter) for hole in work.plan.holes),
        *(((z.real, z.imag), size) for z, size in own),
    ]


def _cut_line(pattern: Pattern) -> tuple[Ring, ...]:
    """The outline as lines and arcs, cut off at the panel's edge where it sticks out."""
    rings = pattern.outline.rings
    if not rings:
        # Everything was too small to be sawn, which is a finding; the file then holds the panel alone.
        return ()
    x0, y0, x1, y1 = pattern.outline.bounds
    if x0 < 0 or y0 < 0 or x1 > pattern.panel.width or y1 > pattern.panel.height:
        rings = from_region(shapely.intersection(pattern.outline.region(_FINE), pattern.panel.polygon))
    fitted = iter(fit_rings([ring.points(_FINE) for ring in rings if not _at_most(ring, _FEWEST)], _FIT))
    return tuple(ring if _at_most(ring, _FEWEST) else _drawn(ring, next(fitted)) for ring in rings)


def _drawn(ring: Ring, fitted: Ring) -> Ring:
    """The ring itself where it is made of few lines and arcs, else the lines and arcs fitted to it."""
    return ring if _at_most(ring, len(fitted.segments)) else fitted


def _at_most(ring: Ring, number: int) -> bool:
    """Whether a ring is made of no more than so many lines and arcs."""
    return len(ring.segments) <= number and not any(isinstance(s, Cubic) for s in ring.segments)


def _empty(work: Work) -> DxfFile:
    """A drawing with our layers and nothing in it that changes from run to run."""
    unit = NO_UNIT if work.job.router.dxf == "R12" else MM if work.units == "mm" else INCHES
    drawing = DxfFile(work.job.router.dxf, unit)
    for name, colour in _COLOURS.items():
        drawing.layer(name, colour)
    for name in dict.fromkeys(
        drill_layer(size, work.units) for size in sorted({d for _, d in _drilled(work)})
    ):
        drawing.layer(name, _DRILL_COLOUR)
    return drawing


def _closed(drawing: DxfFile, layer: str, rings: Iterable[Ring], scale: float) -> None:
    """Closed polylines whose arcs are bulges."""
    for ring in rings:
        drawing.closed(
            layer,
            [
                (s.start.real * scale, s.start.imag * scale, s.bulge if isinstance(s, Arc) else 0.0)
                for s in ring.segments
            ],
        )


def _notes(drawing: DxfFile, work: Work, scale: float) -> None:
    panel, bit, units = work.pattern.panel, work.kit.bit, work.units
    lines = [
        f"{work.title}: all lengths in {'millimetres' if units == 'mm' else 'inches'}, scale 1:1",
        f"panel {format_size(panel.width, panel.height, units)}, {format_length(panel.thickness, units)} thick, "
        "seen from the show face",
        f"tool path: middle of a {bit.title}, in cutting order; cut line: the finished edge",
        "Start slower than the bit allows; your machine's manual decides.",
    ]
    for n, line in enumerate(lines):
        drawing.text(NOTES, line, 0.0, -(n + 1) * 1.8 * _TEXT * scale, _TEXT * scale)
    for cut in work.router.passes:
        start = cut.ring.segments[0].start
        drawing.text(NOTES, str(cut.order), start.real * scale, start.imag * scale, _TEXT * scale)
