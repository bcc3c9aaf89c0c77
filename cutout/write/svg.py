"""The pattern as SVG at true size, and what SVG files are put together from."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape

import numpy as np
import shapely

from cutout.draw.shapes import waste_rings
from cutout.geom.curve import Arc, Cubic, FloatArray, Line, Segment
from cutout.geom.outline import Outline, Ring
from cutout.saw.model import Hole
from cutout.write.work import Work

INK = "#000000"
_WASTE = "#d9d9d9"


def pattern_svg(work: Work) -> bytes:
    """The panel in true millimetres: waste filled, cut lines, holes and legs, each in a group of its own."""
    panel = work.pattern.panel
    flip = panel.height
    rings = ring_path(waste_rings(work.pattern), flip)
    parts = [
        head(work.title, 0.0, 0.0, panel.width, panel.height),
        f'<g id="panel-edge" fill="none" stroke="{INK}" stroke-width="0.2" stroke-dasharray="6 2">'
        f'<rect x="0" y="0" width="{number(panel.width)}" height="{number(panel.height)}"/></g>',
        f'<g id="waste"><path fill="{_WASTE}" fill-rule="evenodd" d="{rings}"/></g>',
        f'<g id="holes" fill="none" stroke="{INK}" stroke-width="0.2">',
        *(_hole(hole, flip) for hole in work.plan.holes),
        "</g>",
        f'<g id="cut-legs" fill="none" stroke="{INK}" stroke-width="0.15" stroke-dasharray="2 1">',
        *(f'<path id="leg-{leg.order}" d="{polyline_path(leg.path, flip)}"/>' for leg in work.plan.legs),
        "</g>",
        "</svg>\n",
    ]
    return "\n".join(parts).encode("utf-8")


def outline_svg(outline: Outline) -> bytes:
    """An outline in mm by itself, black, curves kept; its own lower left at the drawing's."""
    x0, y0, x1, y1 = outline.bounds
    top = head("outline", x0, 0.0, x1 - x0, y1 - y0)
    return f'{top}\n<path fill-rule="evenodd" d="{ring_path(outline.rings, y1)}"/>\n</svg>\n'.encode()


def ring_path(rings: Iterable[Ring], flip: float) -> str:
    """SVG path data of closed rings; y up becomes y down as `flip` - y. Arcs and cubics stay curves."""
    return "".join(
        _move(ring.segments[0].start, flip) + "".join(_run(s, flip) for s in ring.segments) + "Z"
        for ring in rings
        if ring.segments
    )


def polyline_path(path: FloatArray, flip: float) -> str:
    """SVG path data of an open polyline (n, 2)."""
    if len(path) == 0:
        return ""
    xy = np.column_stack([path[:, 0], flip - path[:, 1]])
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in xy.tolist())


def polygon_path(region: shapely.Geometry, flip: float) -> str:
    """SVG path data of a polygonal region, for even-odd filling."""
    lines = shapely.get_parts(shapely.boundary(shapely.get_parts(region)))
    rings = shapely.get_parts(lines)
    return "".join(polyline_path(shapely.get_coordinates(r)[:-1], flip) + "Z" for r in rings)


def number(value: float) -> str:
    """A coordinate in mm to 0.0001, shortest form."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def head(title: str, x: float, y: float, width: float, height: float) -> str:
    """The start of a document whose numbers are millimetres."""
    size = f'width="{number(width)}mm" height="{number(height)}mm"'
    view = " ".join(number(v) for v in (x, y, width, height))
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} viewBox="{view}">\n'
        f"<title>{escape(printable(title))}</title>"
    )


def printable(text: str) -> str:
    """The text without characters XML forbids."""
    return "".join(c for c in text if c >= " " and not 0xD800 <= ord(c) <= 0xDFFF and c not in "\ufffe\uffff")


def _hole(hole: Hole, flip: float) -> str:
    x, y = hole.at[0], flip - hole.at[1]
    arm = min(1.5, hole.diameter / 4)
    return (
        f'<g id="hole-{hole.id}"><circle cx="{number(x)}" cy="{number(y)}" r="{number(hole.diameter / 2)}"/>'
        f'<path d="M{number(x - arm)} {number(y)}h{number(2 * arm)}'
        f'M{number(x)} {number(y - arm)}v{number(2 * arm)}"/></g>'
    )


def _move(z: complex, flip: float) -> str:
    return f"M{number(z.real)} {number(flip - z.imag)}"


def _point(z: complex, flip: float) -> str:
    return f"{number(z.real)} {number(flip - z.imag)}"


def _run(segment: Segment, flip: float) -> str:
    match segment:
        case Line(_, end):
            return f"L{_point(end, flip)}"
        case Arc(_, end, bulge):
            radius, large = number(segment.radius), int(abs(bulge) > 1)
            return f"A{radius} {radius} 0 {large} {int(bulge < 0)} {_point(end, flip)}"
        case Cubic(_, c1, c2, end):
            return f"C{_point(c1, flip)} {_point(c2, flip)} {_point(end, flip)}"
