"""DXF drawings whose areas are known; drawings are written with ezdxf."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from typing import Any

import ezdxf
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from cutout.errors import ReadError
from cutout.geom.curve import Arc, Cubic, Line
from cutout.geom.outline import Outline
from cutout.read.dxf import read_dxf
from cutout.read.options import ReadOptions
from cutout.say.source import sentence

Draw = Callable[[Any], Any]


def written(draw: Draw, version: str = "R2010", units: int = 4) -> bytes:
    drawing = ezdxf.new(version, units=units)
    draw(drawing)
    text = io.StringIO()
    drawing.write(text)
    return text.getvalue().encode()


def read(draw: Draw, version: str = "R2010", units: int = 4, **options: Any) -> Outline:
    return read_dxf(written(draw, version, units), "drawing.dxf", ReadOptions(**options))


def notes(found: Outline, kind: str) -> list[str]:
    return [sentence(n, "mm") for n in found.notes if n.kind == kind]


def slot(drawing: Any) -> None:
    """100 x 50 with half discs on both ends."""
    drawing.modelspace().add_lwpolyline(
        [(0, 0, 0), (100, 0, 1), (100, 50, 0), (0, 50, 1)], format="xyb", close=True
    )


SLOT = 100 * 50 + math.pi * 25**2


def test_bulges_are_arcs() -> None:
    """bulge = tan(angle / 4), positive counter-clockwise: 1 is a half circle (DXF reference, LWPOLYLINE)."""
    (ring,) = read(slot).rings
    assert sorted(type(s).__name__ for s in ring.segments) == ["Arc", "Arc", "Line", "Line"]
    assert ring.polygon(1e-4).area == pytest.approx(SLOT, rel=1e-5)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010", "R2018"])
def test_old_and_new_versions(version: str) -> None:
    def draw(drawing: Any) -> None:
        points = [(0, 0, 0, 0, 0), (40, 0, 0, 0, 0.5), (40, 30, 0, 0, 0)]
        drawing.modelspace().add_polyline2d(points, format="xyseb", close=True)

    found = read(draw, version, dxf_units=1.0)
    # Triangle and a segment of bulge 1/2: r = c(1 + b^2)/(4b), angle 4 atan b.
    radius, angle = 30 * 1.25 / 2, 4 * math.atan(0.5)
    expected = 600 + radius**2 / 2 * (angle - math.sin(angle))
    assert found.region(1e-4).area == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("code", "scale"), [(1, 25.4), (2, 304.8), (4, 1.0), (5, 10.0), (6, 1000.0)])
def test_units_from_the_header(code: int, scale: float) -> None:
    """$INSUNITS 1 inch, 2 feet, 4 mm, 5 cm, 6 m (DXF reference, header variables)."""
    assert read(slot, units=code, speck=0).scale == scale


def test_units_asked_for() -> None:
    with pytest.raises(ReadError, match="mm or inches"):
        read(slot, units=0)
    assert read(slot, units=0, dxf_units=25.4).scale == 25.4
    assert read(slot, units=0, width=300.0).scale is None
    assert read(slot, units=4, dxf_units=25.4).scale == 1.0


def test_loose_pieces_are_chained_whatever_their_order_and_direction() -> None:
    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        space.add_line((0, 50), (0, 0))
        space.add_arc((100, 25), 25, -90, 90)
        space.add_line((100, 50), (0, 50))
        space.add_line((100, 0), (0, 0))

    found = read(draw)
    (ring,) = found.rings
    assert found.notes == () and len(ring.segments) == 5
    assert ring.polygon(1e-4).area == pytest.approx(5000 + math.pi * 625 / 2, rel=1e-5)


def test_gaps_open_ends_and_doubles_are_said() -> None:
    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        space.add_line((0, 0), (50, 0))
        space.add_line((50.1, 0), (50, 50))
        space.add_line((50, 50), (0, 0))
        space.add_line((50, 50), (0, 0))
        space.add_line((80, 80), (90, 90))
        space.add_text("note")

    found = read(draw)
    assert notes(found, "gap") == ["1 gap was closed, the widest 0.1 mm."]
    assert notes(found, "doubles") == ["1 line repeats another one and was left out."]
    assert len(notes(found, "left out")) == 2
    assert found.region().area == pytest.approx(1250, rel=0.01)


def test_gap_limit_is_measured_on_the_wood() -> None:
    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        space.add_lwpolyline([(0, 0), (10, 0), (10, 10), (0.2, 0.2)])

    assert len(read(draw).rings) == 1
    with pytest.raises(ReadError, match="nearest loose ends"):
        read(draw, width=200.0)


def test_blocks_are_drawn_where_they_are_inserted() -> None:
    def draw(drawing: Any) -> None:
        block = drawing.blocks.new("LEAF")
        block.add_circle((0, 0), 5)
        inner = drawing.blocks.new("TWIG")
        inner.add_blockref("LEAF", (20, 0), {"xscale": 2})
        space = drawing.modelspace()
        space.add_blockref("LEAF", (0, 0))
        space.add_blockref("TWIG", (100, 0), {"rotation": 90})
        space.add_blockref("LEAF", (0, 100), {"column_count": 3, "column_spacing": 30})

    found = read(draw)
    assert len(found.rings) == 5
    assert found.region(1e-4).area == pytest.approx(math.pi * 25 * (1 + 2 + 3), rel=1e-4)
    assert found.bounds == pytest.approx((-5, -5, 105, 105), abs=0.011)


def test_hidden_layers_and_entities() -> None:
    def draw(drawing: Any) -> None:
        drawing.layers.add("off").off()
        drawing.layers.add("cold").freeze()
        space = drawing.modelspace()
        space.add_circle((0, 0), 50, {"layer": "off"})
        space.add_circle((0, 0), 40, {"layer": "cold"})
        space.add_circle((0, 0), 30, {"invisible": 1})
        space.add_circle((0, 0), 20)
        block = drawing.blocks.new("B")
        block.add_circle((0, 0), 60)
        space.add_blockref("B", (0, 0), {"layer": "off"})

    found = read(draw)
    assert found.region(1e-4).area == pytest.approx(math.pi * 400, rel=1e-4)
    assert notes(found, "hidden") == ["4 entities on layers that are off or frozen, or invisible, left out."]


def test_splines_and_ellipses_are_cubics() -> None:
    def draw(drawing: Any) -> None:
        drawing.modelspace().add_ellipse((0, 0), (30, 0), 0.5)
        drawing.modelspace().add_spline([(100, 0), (120, 20), (140, 0), (120, -20), (100, 0)])

    found = read(draw)
    assert {type(s) for r in found.rings for s in r.segments} == {Cubic}
    assert max(r.polygon(1e-4).area for r in found.rings) == pytest.approx(math.pi * 30 * 15, rel=2e-5)


def test_underside_entities_are_mirrored() -> None:
    """Extrusion (0, 0, -1) turns x over (DXF reference, object coordinate systems)."""

    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        down = {"extrusion": (0, 0, -1)}
        space.add_arc((50, 0), 20, 0, 180, dxfattribs=down)
        space.add_line((-70, 0), (-30, 0))

    (ring,) = read(draw).rings
    box = ring.polygon(1e-3).bounds
    assert box == pytest.approx((-70, 0, -30, 20), abs=1e-3)


def test_nesting_overlap_and_repeats() -> None:
    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        space.add_circle((0, 0), 30)
        space.add_circle((0, 0), 20)
        space.add_circle((0, 0), 20)
        space.add_lwpolyline([(100, 0), (110, 0), (110, 10), (100, 10)], close=True)
        space.add_lwpolyline([(105, 0), (115, 0), (115, 10), (105, 10)], close=True)

    found = read(draw)
    assert found.region(1e-4).area == pytest.approx(math.pi * 500 + 150, rel=1e-4)
    assert notes(found, "crossing") and notes(found, "doubles")


def test_touching_outlines_stay_two() -> None:
    def draw(drawing: Any) -> None:
        space = drawing.modelspace()
        space.add_lwpolyline([(0, 0), (10, 0), (10, 10), (0, 10)], close=True)
        space.add_lwpolyline([(10, 10), (20, 10), (20, 20), (10, 20)], close=True)

    assert read(draw).region().area == pytest.approx(200)


def test_hatches_serve_where_nothing_else_is_drawn() -> None:
    def draw(drawing: Any) -> None:
        hatch = drawing.modelspace().add_hatch()
        hatch.paths.add_polyline_path([(0, 0), (10, 0), (10, 10)], is_closed=True)

    assert read(draw).region().area == pytest.approx(50)


@pytest.mark.parametrize(
    ("draw", "says"),
    [
        (lambda d: None, "nothing in the drawing"),
        (lambda d: d.modelspace().add_text("x"), "only TEXT"),
        (lambda d: d.modelspace().add_line((0, 0), (9, 9)), "no closed outline"),
        (lambda d: d.layers.get("0").off() or d.modelspace().add_circle((0, 0), 9), "off or frozen"),
        (lambda d: d.layout("Layout1").add_circle((0, 0), 9), "layout sheet"),
        (lambda d: d.modelspace().add_circle((0, 0), 0.5), "less than 2 mm"),
    ],
)
def test_nothing_to_cut(draw: Draw, says: str) -> None:
    with pytest.raises(ReadError, match=says):
        read(draw)


@settings(max_examples=40, deadline=None)
@given(cut=st.integers(0, 50), junk=st.binary(max_size=30), at=st.integers(0, 100_000))
def test_damaged_files_are_read_or_refused(cut: int, junk: bytes, at: int) -> None:
    """Bytes dropped and strewn in: an outline or a ReadError, nothing else."""
    whole = written(slot, "R2000")
    data = whole[: at % len(whole)] + junk + whole[at % len(whole) + cut :]
    try:
        found = read_dxf(data, "damaged.dxf", ReadOptions(width=100.0))
    except ReadError as error:
        assert "\n" not in str(error)
    else:
        assert found.rings


CORNERS = st.lists(
    st.tuples(st.integers(1, 60), st.integers(0, 359)), min_size=3, max_size=12, unique_by=lambda c: c[1]
)


@settings(max_examples=30, deadline=None)
@given(
    corners=CORNERS,
    order=st.randoms(use_true_random=False),
)
def test_any_order_of_lines_gives_the_same_region(corners: list[tuple[int, int]], order: Any) -> None:
    """A star-shaped polygon cut into lines, shuffled and turned about."""
    by_angle = sorted(corners, key=lambda c: c[1])
    points = [(10 * r * math.cos(math.radians(a)), 10 * r * math.sin(math.radians(a))) for r, a in by_angle]
    polygon = shapely.Polygon(points)
    if not polygon.is_valid or polygon.area < 100:
        return
    lines = list(zip(points, points[1:] + points[:1], strict=True))
    order.shuffle(lines)

    def draw(drawing: Any) -> None:
        for a, b in lines:
            turned = order.random() < 0.5
            drawing.modelspace().add_line(b if turned else a, a if turned else b)

    region = read(draw, speck=0.0).region()
    assert region.symmetric_difference(polygon).area < 1e-6 * polygon.area


def test_lines_and_arcs_only_where_drawn_so() -> None:
    (ring,) = read(lambda d: d.modelspace().add_circle((5, 5), 10)).rings
    assert all(isinstance(s, Arc) for s in ring.segments)
    (ring,) = read(lambda d: d.modelspace().add_lwpolyline([(0, 0), (9, 0), (9, 9)], close=True)).rings
    assert all(isinstance(s, Line) for s in ring.segments)
