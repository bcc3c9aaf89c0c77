"""The router against facts from outside the project; the source stands beside each."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.math import bulge_to_arc
from shapely import Polygon, box

from cutout.geom import curve
from cutout.geom.arcfit import fit_rings
from cutout.geom.curve import Arc
from cutout.geom.outline import Outline, from_region
from cutout.kit import Bit, bit, bits, chip_load, feeds, machine, wood
from cutout.pattern import Panel, cut_pattern
from cutout.route import Pass, Settings, tool_path
from cutout.route.walk import walk
from cutout.write.dxf import router_dxf
from cutout.write.gcode import router_ngc
from tests.figures import wavy
from tests.kits import KIT


def pattern(region, keep="panel"):
    return cut_pattern(Outline(from_region(region), 1.0), Panel(400.0, 300.0, 18.0), keep, 1.28)


def leaf() -> Polygon:
    """An invented silhouette: a wavy leaf round (200, 150)."""
    return wavy(90.0, [(3, 2 / 9, 0.0), (8, 1 / 18, -math.pi / 2)], 200 + 150j, 2000)


@pytest.fixture(scope="module")
def routed(make_work):
    pat = pattern(leaf())
    path = tool_path(pat, KIT)
    fixed = {"kit": KIT, "before": pat, "pattern": pat, "router": path, "findings": ()}
    return lambda **fields: make_work(**{**fixed, **fields})


@pytest.mark.parametrize("name", sorted(bits()))
def test_inside_corners_get_the_radius_of_the_bit(name):
    """Geometry: a round bit leaves every inside corner with half its diameter, here to 0.01 mm.

    Looked at on what the path cuts: a circle through the round of a swept square corner.
    """
    kit = replace(KIT, bit=bit(name))
    path = tool_path(pattern(box(100, 80, 300, 220)), kit)
    (outline,) = [p for p in path.passes if p.purpose == "outline"]
    swept = shapely.buffer(shapely.LinearRing(outline.ring.points(1e-4)), kit.bit.radius, quad_segs=400)
    xy = shapely.get_coordinates(swept)
    r = kit.bit.diameter / 2
    centre = np.array([100 + r, 80 + r])
    round_ = xy[(xy[:, 0] < 100 + 0.7 * r) & (xy[:, 1] < 80 + 0.7 * r)]
    assert len(round_) > 20
    assert np.abs(np.hypot(*(round_ - centre).T) - r).max() < 0.01


@pytest.mark.parametrize("keep", ["panel", "figure"])
def test_hand_fed_directions(keep):
    """woodcraft.com, router feed direction: an outside edge counter-clockwise, an opening clockwise, from above."""
    window = Polygon(box(100, 80, 300, 220).exterior, [box(170, 120, 230, 180).exterior.coords])
    passes = tool_path(pattern(window, keep), KIT).passes
    areas = {p.side: Polygon(p.ring.points()).exterior.is_ccw for p in passes}
    assert areas == {"inside": False, "outside": True}


FREE = replace(machine("plain"), feed=1e6)
"""A machine that feeds as fast as anybody could ask for, so that the charts alone decide."""


def test_feed_is_speed_times_flutes_times_chip_load():
    """Cutter makers' formula: 18000 rpm x 2 flutes x 0.007 in = 252 in/min = 6401 mm/min."""
    own = Bit("own", "straight bit", 6.35, "the formula's worked example", chip_load=0.007 * 25.4)
    driven = feeds(own, wood("white-pine"), FREE, 3.0)
    assert driven.feed == pytest.approx(6400.8)
    assert driven.feed / 25.4 == pytest.approx(252)


@pytest.mark.parametrize(("name", "feed"), [("1/8in", 2743), ("1/4in", 5486)])
def test_hardwood_starts_at_the_lower_of_the_charts_middles(name, feed):
    """Charts A (asttooling.com) and B, hardwood, 18,000 rpm: 1/8 in .002-.004 and .003-.005, 1/4 in .005-.007."""
    assert feeds(bit(name), wood("red-oak"), FREE, 1.0).feed == pytest.approx(feed, abs=1)


PUBLISHED = {
    "red-oak": {
        "1/8in": (0.002, 0.005),
        "1/4in": (0.005, 0.007),
        "3/8in": (0.006, 0.015),
        "1/2in": (0.007, 0.019),
    },
    "white-pine": {
        "1/8in": (0.003, 0.005),
        "1/4in": (0.005, 0.008),
        "3/8in": (0.006, 0.017),
        "1/2in": (0.007, 0.021),
    },
    "plywood": {"1/8in": (0.003, 0.005), "1/4in": (0.006, 0.009)},
    "mdf": {"1/8in": (0.004, 0.007), "1/4in": (0.012, 0.015)},
}
"""Least of charts A and B and most of them, in a tooth, as published."""


@pytest.mark.parametrize(("species", "name"), [(w, b) for w, row in PUBLISHED.items() for b in row])
def test_chip_load_lies_in_the_published_ranges(species, name):
    """Two bit makers' charts (A: asttooling.com; B: for solid wood); where they differ, in the lower one's band."""
    low, high = PUBLISHED[species][name]
    load = chip_load(bit(name), wood(species))
    assert low <= load.start / 25.4 <= high
    assert (load.least / 25.4, load.most / 25.4) == pytest.approx((low, high))
    if name in ("3/8in", "1/2in"):
        assert load.start / 25.4 == pytest.approx({"3/8in": 0.007, "1/2in": 0.008}[name])


@pytest.mark.parametrize(
    ("load", "diameter", "depth", "left"), [(0.020, 0.5, 1.0, 0.015), (0.018, 0.375, 1.125, 0.009)]
)
def test_deeper_turns_take_thinner_chips(load, diameter, depth, left):
    """Both charts: two diameters deep a quarter less, three diameters half; their own worked examples, in inches."""
    own = Bit("own", "a bit", diameter * 25.4, "the chart's worked example", chip_load=load * 25.4)
    driven = feeds(own, wood("white-pine"), FREE, depth * 25.4)
    assert driven.chip / 25.4 == pytest.approx(left)


def test_ramps_and_plunges_are_slower_by_what_is_published():
    """Chart B: ramp feed = feed / flutes. A slot bit's maker: 12000 and straight down 4000 mm/min, a third."""
    driven = feeds(bit("1/4in"), wood("red-oak"), FREE, 3.0)
    assert driven.ramp == pytest.approx(driven.feed / 2)
    assert driven.plunge == pytest.approx(driven.feed / 3)


@pytest.mark.parametrize(("degrees", "long"), [(3, 57.2), (2, 85.9), (5, 34.3)])
def test_length_of_a_ramp(degrees, long):
    """Arithmetic: 3 mm deep at 3 degrees takes 57.2 mm of path, at 2: 85.9, at 5: 34.3."""
    ring = from_region(box(0, 0, 300, 200))[0]
    cut = Pass(1, 1, "outside", ring, bit("6mm"), (-3.0,), ())
    steps = walk(cut, Settings(ramp=math.radians(degrees)))
    assert math.fsum(curve.length(s.run) for s in steps if s.z1 < s.z0) == pytest.approx(long, abs=0.1)


def test_the_wait_stands_after_the_start_of_the_spindle_and_before_the_wood(routed):
    """Users of open motion controllers: wait (G4) right after M3, before Z goes down; P in seconds (NISTIR 6556)."""
    lines = [line for line in router_ngc(routed()).decode("ascii").splitlines() if not line.startswith("(")]
    start = next(i for i, line in enumerate(lines) if "M3" in line)
    assert lines[start + 1] == "G4 P5"


def test_feeds_written_are_held_to_the_machine(routed):
    """And always with the words that send the reader to a lower feed and the machine's manual."""
    program = router_ngc(routed()).decode("ascii")
    assert "Start slower, your" in program
    limited = [float(f) for f in re.findall(r" F([\d.]+)", program)]
    assert max(limited) == 3000


@pytest.mark.parametrize(("units", "decimals", "slack"), [("mm", 4, 0.002), ("in", 5, 0.0002)])
def test_arcs_as_written_keep_the_limit_on_their_radii(routed, units, decimals, slack):
    """NISTIR 6556 (RS274/NGC) 3.5.3.2: the radii at start and end differ by 0.002 mm (0.0002 in) at most."""
    x = y = 0.0
    worst, count = 0.0, 0
    for line in router_ngc(routed(units=units)).decode("ascii").splitlines():
        if line.startswith("("):
            continue
        v = {k: float(n) for k, n in re.findall(r"([XYIJ])(-?\d+\.\d+)", line)}
        assert all(len(n) == decimals for n in re.findall(r"[XYZIJ]-?\d+\.(\d+)", line))
        if line.startswith(("G2 ", "G3 ")):
            count += 1
            worst = max(
                worst, abs(math.hypot(v["X"] - x - v["I"], v["Y"] - y - v["J"]) - math.hypot(v["I"], v["J"]))
            )
        x, y = v.get("X", x), v.get("Y", y)
    assert count > 100
    assert worst <= slack


def test_arcs_are_written_from_their_centre_and_never_as_a_full_turn(routed):
    """NISTIR 6556 3.5.3: I and J lead from the current point to the centre; the R form is badly conditioned."""
    program = router_ngc(routed()).decode("ascii")
    x = y = 0.0
    for line in (text for text in program.splitlines() if not text.startswith("(")):
        v = {k: float(n) for k, n in re.findall(r"([XYIJ])(-?\d+\.\d+)", line)}
        if line.startswith(("G2 ", "G3 ")):
            assert "I" in v
            assert "J" in v
            assert (v["X"], v["Y"]) != (x, y)
        assert not re.search(r"R\d", line)
        x, y = v.get("X", x), v.get("Y", y)


def test_bulge_of_a_quarter_circle():
    """Published DXF reference: bulge = tan(angle / 4), positive counter-clockwise; a quarter circle 0.41421356."""
    quarter = Arc(1 + 0j, 0 + 1j, math.tan(math.radians(90) / 4))
    assert quarter.bulge == pytest.approx(0.41421356, abs=1e-8)
    assert quarter.centre == pytest.approx(0j, abs=1e-12)
    xy = shapely.get_coordinates(box(0, 0, 50, 30).buffer(4, quad_segs=64))[:-1]
    bulges = [s.bulge for s in fit_rings([xy], 0.01)[0].segments if isinstance(s, Arc)]
    assert bulges == pytest.approx(
        4 * [math.tan(math.pi / 8) * (1 if Polygon(xy).exterior.is_ccw else -1)], abs=2e-3
    )


def test_bulges_written_turn_about_the_arcs_centres(routed):
    """The same by ezdxf's own arithmetic, on what is in the file, to 1e-9 of the bulge's meaning."""
    work = routed()
    space = ezdxf.read(io.StringIO(router_dxf(work).decode("utf-8"))).modelspace()
    lines = space.query('LWPOLYLINE[layer=="tool_path"]')
    for entity, p in zip(lines, work.router.passes, strict=True):
        for (x, y, bulge), s in zip(entity.get_points("xyb"), p.ring.segments, strict=True):
            assert complex(x, y) == pytest.approx(s.start, abs=1e-9)
            assert bulge == pytest.approx(s.bulge if isinstance(s, Arc) else 0.0, abs=1e-9)
            if isinstance(s, Arc):
                centre, _, _, radius = bulge_to_arc((x, y), (s.end.real, s.end.imag), bulge)
                assert math.dist(centre, (s.centre.real, s.centre.imag)) < 1e-6 * max(radius, 1)


@pytest.mark.parametrize(("units", "unit", "measurement"), [("mm", 4, 1), ("in", 1, 0)])
def test_units_in_the_header(routed, units, unit, measurement):
    """DXF reference: $INSUNITS 4 is millimetres, 1 inches; $MEASUREMENT 1 metric, 0 English."""
    doc = ezdxf.read(io.StringIO(router_dxf(routed(units=units)).decode("utf-8")))
    assert doc.header["$INSUNITS"] == unit
    assert doc.header["$MEASUREMENT"] == measurement


@pytest.mark.parametrize("units", ["mm", "in"])
def test_r12_has_neither_units_nor_light_polylines(routed, units):
    """DXF reference, ezdxf's documentation: R12 (AC1009) knows neither; the notes carry the unit instead."""
    data = router_dxf(routed(dxf_version="R12", units=units)).decode("utf-8")
    assert "AC1009" in data
    for word in ("$INSUNITS", "$MEASUREMENT", "LWPOLYLINE"):
        assert word not in data
    assert {"mm": "millimetres", "in": "inches"}[units] in data
