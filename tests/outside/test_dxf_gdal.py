"""What `read_dxf` makes of drawings against GDAL, an independent reader of DXF.

GDAL strokes arcs itself; with a step of 0.1 degrees its areas are good to a few millionths. Splines it
strokes with a fixed, small number of points, so there the areas only agree to half a percent.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ezdxf
import pyogrio
import pytest
import shapely

from cutout.read.dxf import read_dxf
from cutout.read.options import ReadOptions


def bulged(space: Any) -> None:
    points = [(0, 0, 0.3), (80, 0, 0), (80, 60, -0.4), (40, 70, 1.0), (0, 60, 0)]
    space.add_lwpolyline(points, format="xyb", close=True)


def round_shapes(space: Any) -> None:
    space.add_circle((0, 0), 25)
    space.add_ellipse((100, 0), (30, 10), 0.4)


def free_form(space: Any) -> None:
    space.add_open_spline([(0, 0), (60, -40), (120, 10), (90, 80), (20, 60), (0, 0)], degree=3)


def loose_lines_and_arcs(space: Any) -> None:
    space.add_line((0, 0), (100, 0))
    space.add_arc((100, 25), 25, -90, 90)
    space.add_line((100, 50), (0, 50))
    space.add_arc((0, 25), 25, 90, 270)


def turned_blocks(space: Any) -> None:
    block = space.doc.blocks.new("PART")
    block.add_lwpolyline([(0, 0, 1), (20, 0, 0), (20, 10, 0), (0, 10, 0)], format="xyb", close=True)
    space.add_blockref("PART", (0, 0), {"rotation": 33, "xscale": 2, "yscale": 2})
    space.add_blockref("PART", (100, 0), {"xscale": -1, "rotation": 10})


@pytest.mark.parametrize(
    ("draw", "share", "reach"),
    [
        (bulged, 1e-4, 0.02),
        (round_shapes, 1e-4, 0.02),
        (free_form, 5e-3, 0.5),
        (loose_lines_and_arcs, 1e-4, 0.02),
        (turned_blocks, 1e-4, 0.02),
    ],
)
def test_areas_agree_with_gdal(
    draw: Callable[[Any], None], share: float, reach: float, tmp_path: Path
) -> None:
    drawing = ezdxf.new(units=4)
    draw(drawing.modelspace())
    text = io.StringIO()
    drawing.write(text)
    path = tmp_path / "drawing.dxf"
    path.write_text(text.getvalue())
    ours = read_dxf(path.read_bytes(), path.name, ReadOptions()).region(1e-4)
    pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": "0.1", "OGR_ARC_MAX_GAP": "0"})
    try:
        _, _, shapes, _ = pyogrio.raw.read(path, columns=[])
    finally:
        pyogrio.set_gdal_config_options({"OGR_ARC_STEPSIZE": None, "OGR_ARC_MAX_GAP": None})
    lines = shapely.set_precision(shapely.force_2d(shapely.from_wkb(shapes)), 1e-5)
    theirs = shapely.union_all(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))))
    assert ours.area == pytest.approx(theirs.area, rel=share)
    assert ours.bounds == pytest.approx(theirs.bounds, abs=reach)
