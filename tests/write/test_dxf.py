"""The drawing for machines: layers, units, versions, bytes that stay the same."""

from __future__ import annotations

import io
import math

import ezdxf
import pytest
import shapely
from ezdxf import path as dxf_path
from shapely import Polygon

from cutout.errors import WriteError
from cutout.route import tool_path
from cutout.write.dxf import CUT_LINE, NOTES, PANEL, TOOL_PATH, drill_layer, router_dxf


@pytest.fixture(scope="module")
def routed(make_work):
    work = make_work()
    path = tool_path(work.pattern, work.kit)
    return lambda **fields: make_work(router=path, **fields)


def opened(data: bytes):
    doc = ezdxf.read(io.StringIO(data.decode("utf-8")))
    return doc, doc.modelspace()


def polygons(space, layer):
    """Closed polylines of a layer, their bulges drawn out by ezdxf."""
    found = []
    for entity in space.query(f'LWPOLYLINE POLYLINE[layer=="{layer}"]'):
        assert entity.is_closed
        found.append(Polygon([(v.x, v.y) for v in dxf_path.make_path(entity).flattening(4e-5)]))
    return found


@pytest.mark.parametrize("version", ["R2010", "R12"])
@pytest.mark.parametrize("units", ["mm", "in"])
def test_every_layer_holds_what_its_name_says(routed, version, units):
    work = routed(dxf_version=version, units=units)
    _, space = opened(router_dxf(work))
    scale = 1.0 if units == "mm" else 25.4
    (panel,) = polygons(space, PANEL)
    assert panel.area * scale**2 == pytest.approx(work.pattern.panel.polygon.area, rel=1e-9)
    cut = shapely.union_all(polygons(space, CUT_LINE))
    assert cut.area * scale**2 == pytest.approx(work.pattern.outline.region(1e-4).area, rel=2e-4)
    path = polygons(space, TOOL_PATH)
    assert len(path) == len(work.router.passes)
    for drawn, p in zip(path, work.router.passes, strict=True):
        assert drawn.area * scale**2 == pytest.approx(abs(p.ring.area), abs=0.01 * p.ring.length)
        assert drawn.exterior.is_ccw == (p.side == "outside")
    circles = sorted((c.dxf.radius * 2 * scale for c in space.query("CIRCLE")), reverse=True)
    assert circles == pytest.approx(sorted((h.diameter for h in work.plan.holes), reverse=True))
    assert {c.dxf.layer for c in space.query("CIRCLE")} == {"drill_8mm", "drill_3mm"}
    assert space.query(f'TEXT[layer=="{NOTES}"]')


@pytest.mark.parametrize(
    ("diameter", "units", "name"),
    [
        (8.0, "mm", "drill_8mm"),
        (4.5, "mm", "drill_4_5mm"),
        (7.9375, "in", "drill_5-16in"),
        (8.0, "in", "drill_8mm"),
    ],
)
def test_one_layer_for_each_drill_with_a_name_any_version_takes(diameter, units, name):
    assert drill_layer(diameter, units) == name


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_audit_is_clean(routed, version):
    doc, _ = opened(router_dxf(routed(dxf_version=version)))
    audit = doc.audit()
    assert not audit.errors
    assert not audit.fixes


def test_curves_are_bulges_not_dust(routed):
    """A round window is three or four arcs, where a polyline as close would take a dozen points and more."""
    _, space = opened(router_dxf(routed()))
    counts = sorted(len(e) for e in space.query(f'LWPOLYLINE[layer=="{CUT_LINE}"]'))
    assert counts[0] <= 4
    assert any(abs(b) > 0.1 for e in space.query("LWPOLYLINE") for *_, b in e.get_points("xyb"))


def test_the_old_version_says_its_unit_in_a_note_and_uses_what_it_knows(routed):
    data = router_dxf(routed(dxf_version="R12", units="in"))
    _, space = opened(data)
    assert any("inches" in t.dxf.text for t in space.query("TEXT"))
    assert not space.query("LWPOLYLINE")
    assert b"$INSUNITS" not in data


def test_same_job_same_bytes(routed):
    assert router_dxf(routed()) == router_dxf(routed())


def test_titles_in_any_script_are_written(routed):
    _, space = opened(router_dxf(routed(title="Reiher im Röhricht, 鷺")))
    assert any("Röhricht" in t.dxf.text for t in space.query("TEXT"))


def test_an_unknown_version_is_one_sentence(routed):
    with pytest.raises(WriteError, match="use R2010 or R12"):
        router_dxf(routed(dxf_version="R14"))


def test_what_ezdxf_is_told_for_the_moment_is_put_back(routed):
    import logging

    before = ezdxf.options.write_fixed_meta_data_for_testing, logging.getLogger("ezdxf").level
    router_dxf(routed(dxf_version="R12"))
    assert (ezdxf.options.write_fixed_meta_data_for_testing, logging.getLogger("ezdxf").level) == before


def test_the_window_keeps_its_radius(routed):
    """The round window of the invented job, 22 mm: three arcs of that radius or the two it was drawn with."""
    _, space = opened(router_dxf(routed()))
    window = min(space.query(f'LWPOLYLINE[layer=="{CUT_LINE}"]'), key=len)
    points = list(window.get_points("xyb"))
    for (x0, y0, b), (x1, y1, _) in zip(points, points[1:] + points[:1], strict=True):
        assert math.dist((x0, y0), (x1, y1)) * (1 + b * b) / (4 * abs(b)) == pytest.approx(22.0, abs=0.01)
