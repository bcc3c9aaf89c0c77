"""DXF as drawing programs leave it: ten drawings made with ezdxf in each version it writes, their areas known.

Every drawing is invented. Each shows one habit: units left out, gaps, blocks in blocks, splines, arcs in any order,
entities on the underside, hatching instead of lines, construction lines, doubles. R12 knows neither SPLINE nor
ELLIPSE nor HATCH nor light polylines: it gets what R12 has in their place.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Callable
from typing import Any

import ezdxf
import numpy as np
import pytest
from ezdxf.math import BSpline, Matrix44
from ezdxf.render.forms import circle as polygon_of_circle
from shapely import Polygon

from cutout.read.dxf import read_dxf
from cutout.read.options import ReadOptions

VERSIONS = ("R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018")
Draw = Callable[[Any, Any], float]
"""Draws into a document and its model space; returns the area in drawing units squared."""


def polyline(doc: Any, space: Any, points: Any, closed: bool = True, **attribs: Any) -> None:
    """x, y, bulge points as what the version knows."""
    add = space.add_polyline2d if doc.dxfversion == "AC1009" else space.add_lwpolyline
    add([(*p, 0.0)[:3] for p in points], format="xyb", close=closed, dxfattribs=attribs)


def loose_lines(doc: Any, space: Any) -> float:
    """A hexagon of single lines, in any order and direction, with gaps of up to half a unit between them."""
    rng = random.Random(4)
    corners = [80 * np.exp(1j * math.pi * k / 3) + 100 + 100j for k in range(6)]
    sides = []
    for a, b in zip(corners, corners[1:] + corners[:1], strict=True):
        off = 0.24 * (b - a) / abs(b - a)
        ends = [a + off, b - off]
        rng.shuffle(ends)
        sides.append(ends)
    rng.shuffle(sides)
    for a, b in sides:
        space.add_line((a.real, a.imag), (b.real, b.imag))
    return 3 * math.sqrt(3) / 2 * 80**2


def bulges(doc: Any, space: Any) -> float:
    """A slot with round ends, a round window in it drawn as two half circles."""
    polyline(doc, space, [(0, 0), (100, 0, 1), (100, 50), (0, 50, 1)])
    polyline(doc, space, [(40, 25, 1), (60, 25, 1)])
    return 5000 + math.pi * 25**2 - math.pi * 10**2


def splines(doc: Any, space: Any) -> float:
    """A closed leaf of two splines that meet at both tips, written as control points."""
    upper = [(0, 0, 0), (30, 55, 0), (80, 60, 0), (140, 10, 0), (150, 0, 0)]
    lower = [(150, 0, 0), (120, -50, 0), (60, -45, 0), (20, -20, 0), (0, 0, 0)]
    drawn = []
    for points in (upper, lower):
        curve = BSpline(points, order=4)
        drawn += [(p.x, p.y) for p in curve.approximate(4000)]
        if doc.dxfversion == "AC1009":
            space.add_polyline3d([*curve.approximate(2000)])
        else:
            space.add_spline().apply_construction_tool(curve)
    return float(Polygon(drawn).area)


def blocks(doc: Any, space: Any) -> float:
    """A petal in a block in a block, inserted turned, scaled and mirrored: four petals of different size."""
    petal = doc.blocks.new("PETAL")
    polyline(doc, petal, [(0, 0, 0.5), (40, 0, 0.5)])
    pair = doc.blocks.new("PAIR")
    pair.add_blockref("PETAL", (0, 5), dxfattribs={"rotation": 30})
    pair.add_blockref("PETAL", (0, -5), dxfattribs={"rotation": -30, "yscale": -1})
    space.add_blockref("PAIR", (100, 100), dxfattribs={"rotation": 90})
    space.add_blockref("PAIR", (300, 100), dxfattribs={"xscale": -2, "yscale": 2, "rotation": 12})
    theta = 4 * math.atan(0.5)
    radius = 20 / math.sin(theta / 2)
    one = radius**2 * (theta - math.sin(theta))
    return 2 * one + 2 * 4 * one


def arcs_and_lines(doc: Any, space: Any) -> float:
    """A plate with rounded corners from eight pieces, shuffled, some arcs drawn from the underside."""
    x, y, r = 120, 80, 15
    pieces: list[Callable[[], Any]] = [
        lambda: space.add_line((r, 0), (x - r, 0)),
        lambda: space.add_line((x, y - r), (x, r)),
        lambda: space.add_line((r, y), (x - r, y)),
        lambda: space.add_line((0, y - r), (0, r)),
        lambda: space.add_arc((x - r, r), r, 270, 360),
        lambda: space.add_arc((x - r, y - r), r, 0, 90),
        lambda: space.add_arc((-r, y - r), r, 0, 90, dxfattribs={"extrusion": (0, 0, -1)}),
        lambda: space.add_arc((r, r), r, 180, 270),
    ]
    random.Random(7).shuffle(pieces)
    for piece in pieces:
        piece()
    return x * y - (4 - math.pi) * r**2


def ellipses(doc: Any, space: Any) -> float:
    """A tilted oval with an oval hole."""
    for axes in ((60, 35), (20, 8)):
        tilt = math.radians(25)
        if doc.dxfversion == "AC1009":
            turn = Matrix44.chain(Matrix44.scale(axes[0], axes[1], 1), Matrix44.z_rotate(tilt))
            points = [*turn.transform_vertices([*polygon_of_circle(3000)])]
            polyline(doc, space, [(p.x, p.y) for p in points])
        else:
            along = (axes[0] * math.cos(tilt), axes[0] * math.sin(tilt))
            space.add_ellipse((0, 0), along, axes[1] / axes[0])
    return math.pi * (60 * 35 - 20 * 8)


def hatched(doc: Any, space: Any) -> float:
    """A figure that is only filled, with no line round it; R12 fills with SOLID, whose last corners are swapped."""
    if doc.dxfversion == "AC1009":
        space.add_solid([(0, 0), (90, 0), (0, 70), (90, 70)])
        return 6300
    fill = space.add_hatch()
    fill.paths.add_polyline_path([(0, 0, 0), (90, 0, 0.3), (90, 70, 0), (0, 70, 0)], is_closed=True)
    fill.paths.add_polyline_path([(20, 20), (40, 20), (40, 40), (20, 40)], is_closed=True)
    theta = 4 * math.atan(0.3)
    radius = 35 / math.sin(theta / 2)
    return 6300 + radius**2 / 2 * (theta - math.sin(theta)) - 400


def on_many_layers(doc: Any, space: Any) -> float:
    """A figure among text, points, construction lines, a frozen layer and one that is off."""
    doc.layers.add("hidden").off()
    doc.layers.add("cold").freeze()
    polyline(doc, space, [(0, 0), (70, 10), (90, 80), (-5, 60)])
    polyline(doc, space, [(200, 0), (300, 0), (300, 100)], layer="hidden")
    space.add_circle((400, 0), 30, dxfattribs={"layer": "cold"})
    space.add_point((5, 5))
    space.add_text("not to be cut", height=5)
    if doc.dxfversion != "AC1009":
        space.add_xline((0, 0), (1, 1))
        space.add_mtext("nor this")
    return float(Polygon([(0, 0), (70, 10), (90, 80), (-5, 60)]).area)


def doubled(doc: Any, space: Any) -> float:
    """Everything drawn twice, no polyline flagged as closed, points repeated, and pieces without length."""
    points = [(0, 0), (60, 0), (60, 0), (60, 40), (30, 70), (0, 40), (0, 0)]
    for _ in range(2):
        polyline(doc, space, points, closed=False)
    space.add_line((10, 10), (10, 10))
    return float(Polygon(points).area)


def lifted(doc: Any, space: Any) -> float:
    """Drawn in space, each piece at its own height, one on the underside; seen from above it is a kite."""
    space.add_line((0, 0, 5), (50, -30, 5))
    space.add_line((50, -30, -2), (140, 0, 7))
    space.add_polyline3d([(140, 0, 1), (50, 30, 2), (0, 0, 3)])
    polyline(doc, space, [(-60, -5), (-45, -5), (-45, 8), (-60, 8)], extrusion=(0, 0, -1))
    return float(Polygon([(0, 0), (50, -30), (140, 0), (50, 30)]).area) - 15 * 13


FILES: tuple[Draw, ...] = (
    loose_lines,
    bulges,
    splines,
    blocks,
    arcs_and_lines,
    ellipses,
    hatched,
    on_many_layers,
    doubled,
    lifted,
)


def file_of(draw: Draw, version: str, units: int) -> tuple[bytes, float]:
    doc = ezdxf.new(version, units=units)
    area = draw(doc, doc.modelspace())
    text = io.StringIO()
    doc.write(text)
    return text.getvalue().encode(doc.output_encoding, "dxfreplace"), area


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("draw", FILES, ids=lambda f: f.__name__)
def test_what_other_programs_draw_goes_through(draw: Draw, version: str) -> None:
    """Units unset, as R12 always has them: the width on the wood says the scale. Area within a thousandth."""
    data, area = file_of(draw, version, 0)
    drawn = read_dxf(data, "drawing.dxf", ReadOptions(dxf_units=1.0))
    x0, _, x1, _ = drawn.bounds
    found = read_dxf(data, "drawing.dxf", ReadOptions(width=x1 - x0))
    assert found.scale is None
    assert found.region().area == pytest.approx(area, rel=1e-3 if draw is not loose_lines else 2e-2)
    assert found.region().is_valid


@pytest.mark.parametrize(("unit", "mm"), [(1, 25.4), (4, 1.0), (5, 10.0)])
@pytest.mark.parametrize("version", VERSIONS[1:])
def test_units_in_the_header_count_in_every_version(version: str, unit: int, mm: float) -> None:
    data, area = file_of(bulges, version, unit)
    found = read_dxf(data, "drawing.dxf", ReadOptions())
    assert found.scale == pytest.approx(mm)
    assert found.region().area == pytest.approx(area, rel=1e-3)


def test_gaps_of_half_a_millimetre_are_closed_and_said() -> None:
    data, _ = file_of(loose_lines, "R2010", 4)
    (note,) = [n for n in read_dxf(data, "drawing.dxf", ReadOptions()).notes if n.kind == "gap"]
    assert note.text == "6 gaps were closed, the widest {}."
    assert 0 < note.lengths[0] < 1
