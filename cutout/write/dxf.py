"""A drawing for a machine's own program: the pattern and the bit's path, true to size.

Group codes, bulges and header variables as in the published DXF reference.
"""

from __future__ import annotations

import io
import logging
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import shapely
from shapely import affinity, box

from cutout.errors import WriteError
from cutout.geom.arcfit import fit_rings
from cutout.geom.curve import Arc, Cubic
from cutout.geom.outline import Ring, from_region
from cutout.pattern import Pattern
from cutout.units import MM_PER_INCH, Units, format_length, format_size
from cutout.write.work import Work

if (
    TYPE_CHECKING
):  # The library takes a seventh of the time all else takes to load: only where a DXF is written.
    from ezdxf.document import Drawing
    from ezdxf.layouts import Modelspace

    from cutout.nest import Layout

CUT_LINE, TOOL_PATH, PANEL, NOTES = "cut_line", "tool_path", "panel", "notes"
_COLOURS = {CUT_LINE: 7, TOOL_PATH: 4, PANEL: 8, NOTES: 2}
_DRILL_COLOUR = 6  # magenta, by the numbers of the format
_VERSIONS = ("R2010", "R12")
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
    if work.job.router.dxf not in _VERSIONS:
        raise WriteError(f'DXF version "{work.job.router.dxf}" can\'t be written: use R2010 or R12.')
    with _still():
        doc = _empty(work)
        _draw(doc.modelspace(), work, 1.0 if work.units == "mm" else 1 / MM_PER_INCH)
        return _bytes(doc)


def layout_dxf(layout: Layout) -> bytes:
    """Pieces on boards as closed lines and arcs, one board below the other with its edge; mm. Raises WriteError."""
    import ezdxf

    with _still():
        doc = ezdxf.new("R2010", setup=False, units=4)
        for name, colour in _COLOURS.items():
            doc.layers.add(name, color=colour)
        space = doc.modelspace()
        for number in range(layout.boards):
            up = -number * (layout.board.width + _APART)
            edge = box(0.0, up, layout.board.length, up + layout.board.width)
            _closed(space, PANEL, from_region(edge), 1.0)
            rings = from_region(affinity.translate(layout.placed(number), 0.0, up))
            _closed(space, CUT_LINE, fit_rings([ring.points(_FINE) for ring in rings], _FIT), 1.0)
        return _bytes(doc)


def _draw(space: Modelspace, work: Work, scale: float) -> None:
    _closed(space, PANEL, from_region(work.pattern.panel.polygon), scale)
    _closed(space, CUT_LINE, _cut_line(work.pattern), scale)
    _closed(space, TOOL_PATH, (p.ring for p in work.router.passes), scale)
    for (x, y), diameter in _drilled(work):
        layer = drill_layer(diameter, work.units)
        space.add_circle((x * scale, y * scale), diameter / 2 * scale, dxfattribs={"layer": layer})
    _notes(space, work, scale)


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


def _empty(work: Work) -> Drawing:
    """A drawing with our layers and nothing in it that changes from run to run; R12 holds no unit."""
    import ezdxf

    unit = 0 if work.job.router.dxf == "R12" else 4 if work.units == "mm" else 1
    doc = ezdxf.new(work.job.router.dxf, setup=False, units=unit)
    for name, colour in _COLOURS.items():
        doc.layers.add(name, color=colour)
    for name in dict.fromkeys(
        drill_layer(size, work.units) for size in sorted({d for _, d in _drilled(work)})
    ):
        doc.layers.add(name, color=_DRILL_COLOUR)
    return doc


def _closed(space: Modelspace, layer: str, rings: Iterable[Ring], scale: float) -> None:
    """Closed polylines whose arcs are bulges; R12 gets the older POLYLINE."""
    for ring in rings:
        points = [
            (s.start.real * scale, s.start.imag * scale, s.bulge if isinstance(s, Arc) else 0.0)
            for s in ring.segments
        ]
        attribs = {"layer": layer}
        if space.doc.dxfversion > "AC1009":
            space.add_lwpolyline(points, format="xyb", close=True, dxfattribs=attribs)
        else:
            space.add_polyline2d(points, format="xyb", close=True, dxfattribs=attribs)


def _notes(space: Modelspace, work: Work, scale: float) -> None:
    panel, bit, units = work.pattern.panel, work.kit.bit, work.units
    lines = [
        f"{work.title}: all lengths in {'millimetres' if units == 'mm' else 'inches'}, scale 1:1",
        f"panel {format_size(panel.width, panel.height, units)}, {format_length(panel.thickness, units)} thick, "
        "seen from the show face",
        f"tool path: middle of a {bit.title}, in cutting order; cut line: the finished edge",
        "Start slower than the bit allows; your machine's manual decides.",
    ]
    for n, line in enumerate(lines):
        at = (0.0, -(n + 1) * 1.8 * _TEXT * scale)
        space.add_text(line, height=_TEXT * scale, dxfattribs={"layer": NOTES, "insert": at})
    for cut in work.router.passes:
        start = cut.ring.segments[0].start
        at = (start.real * scale, start.imag * scale)
        space.add_text(str(cut.order), height=_TEXT * scale, dxfattribs={"layer": NOTES, "insert": at})


def _bytes(doc: Drawing) -> bytes:
    """The file. Raises WriteError when ezdxf's audit finds a fault."""
    faults = doc.audit().errors
    if faults:
        raise WriteError(f"router.dxf would be faulty: {faults[0].message}.")
    if doc.dxfversion > "AC1009":
        # The library goes through a set here, whose order changes from run to run.
        for kind in sorted(doc.entitydb.dxf_types_in_use()):
            doc.classes.add_class(kind)
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue().encode(doc.output_encoding, "dxfreplace")


@contextmanager
def _still() -> Iterator[None]:
    """Hold the dates and GUIDs still that ezdxf writes, so that the same job gives the same bytes, and
    its warning that R12 holds no unit, which the notes in the drawing make up for."""
    import ezdxf

    log = logging.getLogger("ezdxf")
    before = ezdxf.options.write_fixed_meta_data_for_testing, log.level
    ezdxf.options.write_fixed_meta_data_for_testing = True
    log.setLevel(logging.ERROR)
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing, level = before
        log.setLevel(level)
