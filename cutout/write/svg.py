"""The pattern as SVG at true size."""

from __future__ import annotations

from dataclasses import replace

from cutout.draw.looks import CROSS, EDGE_FINE, LEG_SMALL, WASTE_SMALL
from cutout.draw.scene import Area, Disc, Item, Layer, Run, plus, rectangle
from cutout.draw.shapes import waste_rings
from cutout.draw.svg import head, layers_svg, ring_path
from cutout.geom.outline import Outline
from cutout.saw.model import Hole
from cutout.write.work import Work


def pattern_svg(work: Work) -> bytes:
    """The panel in true millimetres: waste filled, holes and legs, each in a group of its own."""
    panel = work.pattern.panel
    box = (0.0, 0.0, panel.width, panel.height)
    layers = (
        Layer("panel-edge", (rectangle(EDGE_FINE, box),)),
        Layer("waste", (Area(WASTE_SMALL, waste_rings(work.pattern)),)),
        Layer("holes", tuple(item for hole in work.plan.holes for item in _hole(hole))),
        Layer("cut-legs", tuple(Run(LEG_SMALL, (leg.path,), f"leg-{leg.order}") for leg in work.plan.legs)),
    )
    top = head(work.title, 0.0, 0.0, panel.width, panel.height)
    return f"{top}\n{layers_svg(layers, panel.height, 'id')}\n</svg>\n".encode()


def outline_svg(outline: Outline) -> bytes:
    """An outline in mm by itself, black, curves kept; its own lower left at the drawing's."""
    x0, y0, x1, y1 = outline.bounds
    top = head("outline", x0, 0.0, x1 - x0, y1 - y0)
    return f'{top}\n<path fill-rule="evenodd" d="{ring_path(outline.rings, y1)}"/>\n</svg>\n'.encode()


def _hole(hole: Hole) -> tuple[Item, ...]:
    """Its rim, and a cross at its centre that carries its number."""
    cross = plus(CROSS, hole.at, min(1.5, hole.diameter / 4))
    return Disc(CROSS, hole.at, hole.diameter / 2), replace(cross, id=f"hole-{hole.id}")
