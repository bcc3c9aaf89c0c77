from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely
from shapely import MultiPolygon, Point, box

from cutout import check
from cutout.check.boards import glue_lines, movement_finding
from cutout.check.loose_piece import loose_pieces
from cutout.finding import Finding, Kind
from cutout.geom.outline import Outline, from_region
from cutout.kit import Blade, Kit, drills, wood
from cutout.pattern import Keep, Panel, Pattern, Zone, cut_pattern
from tests.figures import annulus
from tests.kits import kit_of
from tests.telling import remedy, text

KIT = kit_of("scroll-medium")
PANEL = Panel(300, 200, 10.0, 0.0)


def pattern(figure: shapely.Geometry, keep: Keep = "panel", panel: Panel = PANEL) -> Pattern:
    return cut_pattern(Outline(from_region(figure), 1.0), panel, keep, KIT.blade.kerf)


def found(made: Pattern, kind: Kind, kit: Kit = KIT) -> list[Finding]:
    return [f for f in check.run(made, kit) if f.kind == kind]


def test_the_middle_of_a_ring_drops_out() -> None:
    (f,) = found(pattern(annulus(150, 100, 60, 40)), "loose piece")
    assert f.severity == "stop"
    assert f.size == pytest.approx(80, abs=0.1)
    assert math.hypot(f.at[0] - 150, f.at[1] - 100) < 40
    assert "80 x 80 mm" in text(f)


def test_a_cut_right_across_leaves_two_pieces_and_one_is_loose() -> None:
    made = pattern(box(-10, 80, 310, 120))
    assert [p.area for p in loose_pieces(made)] == [pytest.approx(80 * 300)]
    assert found(made, "loose piece")[0].severity == "stop"


def test_two_figures_are_two_pieces_but_nothing_drops_out() -> None:
    pair = MultiPolygon([box(50, 50, 100, 100), box(150, 50, 180, 100)])
    (f,) = found(pattern(pair, "figure"), "loose piece")
    assert f.severity == "care"
    assert f.size == pytest.approx(50)
    assert len(found(pattern(pair, "both"), "loose piece")) == 1
    assert found(pattern(box(50, 50, 100, 100), "both"), "loose piece") == []


def test_specks_of_waste_and_of_wood() -> None:
    waste = pattern(MultiPolygon([box(50, 50, 100, 100), box(150, 50, 151.5, 51)]))
    (f,) = found(waste, "speck")
    assert (f.size, f.limit) == (pytest.approx(1.5), 2.0)
    assert f.opening is not None
    (g,) = found(pattern(annulus(150, 100, 60, 0.8)), "speck")
    assert g.opening is None
    assert found(pattern(annulus(150, 100, 60, 0.8)), "loose piece") == []


def test_each_side_the_opening_comes_too_near() -> None:
    made = pattern(box(4, 50, 100, 193))
    near = found(made, "too near the edge")
    assert {text(f).split("panel's ")[1].split(" edge")[0]: round(f.size or 0, 6) for f in near} == {
        "left": 4.0,
        "top": 7.0,
    }
    assert all(f.severity == "care" and f.limit == 10 for f in near)
    assert found(pattern(box(10.01, 50, 100, 150)), "too near the edge") == []
    (open_side,) = found(pattern(box(-5, 50, 100, 150)), "too near the edge")
    assert "reaches the panel's left edge" in text(open_side)


def test_a_figure_may_lie_near_the_edge() -> None:
    assert found(pattern(box(2, 50, 100, 150), "figure"), "too near the edge") == []


def test_keep_out_zones_are_named() -> None:
    hinge = Zone("upper hinge", MultiPolygon([box(0, 140, 40, 180)]))
    panel = replace(PANEL, zones=(hinge,))
    (f,) = found(pattern(box(30, 50, 100, 150), panel=panel), "too near the edge")
    assert f.severity == "stop"
    assert "10 mm into the upper hinge" in text(f)
    assert found(pattern(box(45, 50, 100, 150), panel=panel), "too near the edge") == []


def test_what_sticks_out_is_off_the_panel() -> None:
    (f,) = found(pattern(box(250, 50, 312, 150)), "off the panel")
    assert f.severity == "stop"
    assert f.size == pytest.approx(12)
    assert f.at[0] == pytest.approx(312)
    assert found(pattern(box(250, 50, 300, 150)), "off the panel") == []


def test_wood_too_thin_for_the_teeth() -> None:
    thin = pattern(box(100, 50, 200, 150), panel=Panel(300, 200, 3.0, None))
    (f,) = found(thin, "kit")
    assert f.severity == "care"
    assert (f.size, f.limit) == (3.0, pytest.approx(2 * 25.4 / 12))


def test_no_drill_that_lets_the_blade_in() -> None:
    small = replace(KIT, drills=drills("0.5mm"))
    (f,) = found(pattern(box(100, 50, 200, 150)), "kit", small)
    assert f.severity == "stop"
    assert found(pattern(box(100, 50, 200, 150)), "kit") == []


def test_a_blade_that_hardly_turns_is_said_to() -> None:
    wide = Blade("wide", "", "jigsaw", 20.0, 1.2, 1.5, 10, 300, "invented")
    stiff = replace(KIT, blade=wide, drills=drills("25mm"))
    said = [text(f) for f in found(pattern(Point(150, 100).buffer(60)), "kit", stiff)]
    assert any("turns no tighter" in t for t in said)


# Boards


def test_glue_lines_lie_evenly_along_the_grain() -> None:
    lines = glue_lines(Panel(300, 200, 18, math.pi / 2, board=88.9))
    assert [round(line.coords[0][0], 6) for line in sorted(lines, key=lambda g: g.coords[0][0])] == [
        round(150 - 88.9, 6),
        150.0,
        round(150 + 88.9, 6),
    ]
    assert all(line.length == pytest.approx(200) for line in lines)
    assert glue_lines(Panel(300, 200, 18, None, board=88.9)) == ()
    assert glue_lines(Panel(300, 200, 18, 0.0)) == ()
    assert glue_lines(Panel(80, 200, 18, math.pi / 2, board=88.9)) == ()
    (middle,) = glue_lines(Panel(300, 100, 18, 0.0, board=60))
    assert middle.coords[0][1] == pytest.approx(50)


def test_a_web_on_a_glue_line() -> None:
    board = replace(PANEL, width=300.0, grain=math.pi / 2, board=150.0)
    walls = shapely.union(box(100, 50, 147, 150), box(153, 50, 200, 150))
    (f,) = found(pattern(walls, panel=board), "glue line")
    assert f.severity == "care"
    assert f.size == pytest.approx(6)
    aside = shapely.union(box(80, 50, 117, 150), box(123, 50, 180, 150))
    assert found(pattern(aside, panel=board), "glue line") == []


def test_movement_against_the_reveal() -> None:
    panel = Panel(300, 500, 18, math.pi / 2)
    f = movement_finding(panel, wood("red-oak"), 4.0, 2.0)
    assert f is not None
    assert f.size == pytest.approx(4.43, rel=0.01)
    assert "2.2 mm on each side" in remedy(f)
    assert movement_finding(panel, wood("red-oak"), 4.0, 3.0) is None
    assert movement_finding(panel, wood("plywood"), 4.0, 0.1) is None
    assert movement_finding(panel, wood("ponderosa-pine"), 4.0, 0.1) is None


def test_a_sliver_of_wood_is_a_speck_and_no_loose_piece() -> None:
    crescent = Point(150, 100).buffer(60, 64).difference(box(140, 99.8, 144, 100.2))
    (f,) = found(pattern(crescent), "speck")
    assert f.size == pytest.approx(4)
    assert found(pattern(crescent), "loose piece") == []
