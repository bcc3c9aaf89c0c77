"""The router's drawing read by GDAL (through pyogrio), which shares no code with the library that wrote it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

os.environ["OGR_ARC_STEPSIZE"] = "0.1"  # degrees; GDAL's default strokes a bulge up to 0.28 mm off

import numpy as np
import pyogrio
import shapely
import skimage.data
from PIL import Image
from shapely import Polygon

from cutout.geom.outline import Outline
from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Panel, Placement, cut_pattern, place
from cutout.read import read
from cutout.read.options import ReadOptions
from cutout.route import tool_path
from cutout.write.dxf import router_dxf

INCH = 25.4


@pytest.fixture(scope="module")
def horse(tmp_path_factory) -> Outline:
    """The silhouette of skimage.data.horse(), read from a picture file."""
    file: Path = tmp_path_factory.mktemp("horse") / "horse.png"
    Image.fromarray((skimage.data.horse() * 255).astype(np.uint8)).save(file)
    return read(file, ReadOptions(width=300.0))


@pytest.fixture(scope="module")
def routed(horse, make_work):
    """Works of the horse on a 400 x 360 mm panel, by what is kept."""
    kit = Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood("white-pine"))
    panel = Panel(400.0, 360.0, 18.0)
    outline = place(horse, panel, Placement(width=300.0))
    patterns = {keep: cut_pattern(outline, panel, keep, kit.blade.kerf) for keep in ("panel", "figure")}
    paths = {keep: tool_path(pattern, kit) for keep, pattern in patterns.items()}

    def build(keep: str = "panel", **fields: object):
        pattern = patterns[keep]
        return make_work(kit=kit, before=pattern, pattern=pattern, router=paths[keep], **fields)

    return build


def closed(data: bytes, folder: Path, layer: str) -> Iterator[Polygon]:
    file = folder / "router.dxf"
    file.write_bytes(data)
    frame = pyogrio.raw.read(file)
    layers, geometry = frame[3][list(frame[0]["fields"]).index("Layer")], shapely.from_wkb(frame[2])
    for name, line in zip(layers, geometry, strict=True):
        if name == layer:
            assert shapely.is_closed(line) or line.geom_type == "Polygon"
            yield Polygon(shapely.get_coordinates(line)[:, :2])


@pytest.mark.parametrize("keep", ["panel", "figure"])
@pytest.mark.parametrize(
    ("version", "units", "scale"), [("R2010", "mm", 1.0), ("R12", "in", INCH), ("R2010", "in", INCH)]
)
def test_areas_are_the_patterns_within_a_thousandth(routed, tmp_path, keep, version, units, scale):
    """A drawing that opens a thousandth too large or small is no use to anyone."""
    work = routed(keep, dxf_version=version, units=units)
    data = router_dxf(work)
    cut = list(closed(data, tmp_path, "cut_line"))
    area = sum(p.area for p in cut) * scale**2
    assert area == pytest.approx(work.pattern.figure.area, rel=1e-3)
    panel = list(closed(data, tmp_path, "panel"))
    assert sum(p.area for p in panel) * scale**2 == pytest.approx(400 * 360, rel=1e-6)
    path = list(closed(data, tmp_path, "tool_path"))
    for drawn, p in zip(path, work.router.passes, strict=True):
        assert drawn.area * scale**2 == pytest.approx(abs(p.ring.area), abs=0.01 * p.ring.length)


def test_the_drawn_line_is_the_pattern_everywhere(routed, tmp_path):
    """Not only the area: neither strays more than 0.03 mm from the other, anywhere."""
    work = routed()
    edge = shapely.boundary(work.pattern.figure)
    drawn = shapely.union_all([p.exterior for p in closed(router_dxf(work), tmp_path, "cut_line")])
    assert shapely.difference(drawn, shapely.buffer(edge, 0.03)).length == 0
    assert shapely.difference(edge, shapely.buffer(drawn, 0.03)).length == 0


def test_the_bit_moved_along_the_drawn_path_cuts_the_waste_and_no_more(routed, tmp_path):
    work = routed()
    lines = [p.exterior for p in closed(router_dxf(work), tmp_path, "tool_path")]
    swept = shapely.union_all([shapely.buffer(line, 3.0, quad_segs=64) for line in lines])
    assert shapely.intersection(swept, shapely.buffer(work.pattern.keep, -0.03)).area < 1e-6
