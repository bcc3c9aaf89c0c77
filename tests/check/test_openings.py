from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely
import shapely.affinity
from shapely import Point, Polygon, box

from cutout import check
from cutout.finding import Finding, Kind
from cutout.geom.outline import Outline, from_region
from cutout.kit import Kit, blade
from cutout.pattern import Keep, Panel, Pattern, cut_pattern
from tests.figures import circle, pinched_slit
from tests.kits import kit_of
from tests.telling import remedy, text

KIT = kit_of(wood_name="plywood")
FINE = replace(KIT, blade=blade("scroll-medium"))
PANEL = Panel(300, 300, 6.0, None)


def pattern(figure: shapely.Geometry | Outline, keep: Keep = "panel", kit: Kit = KIT) -> Pattern:
    outline = figure if isinstance(figure, Outline) else Outline(from_region(figure), 1.0)
    return cut_pattern(outline, PANEL, keep, kit.blade.kerf)


def found(made: Pattern, *kinds: Kind, kit: Kit = KIT) -> list[Finding]:
    return [f for f in check.run(made, kit) if f.kind in kinds]


# Corners and curves


def test_an_inside_corner_gets_a_hole_and_says_what_stays() -> None:
    triangle = Polygon([(60, 60), (240, 60), (150, 216)])
    corners = found(pattern(triangle), "tight corner")
    assert len(corners) == 3
    for f in corners:
        assert f.severity == "care"
        assert text(f) == "Inside corner of 60 degrees: the blade turns no tighter than 9.8 mm."
        assert remedy(f) == (
            "Needs a relief hole of 5 mm or cuts into it from both sides: the plan says which, "
            "and what stays for a file."
        )
        assert f.opening == 1
        assert (f.size, f.limit) == (None, pytest.approx(KIT.blade.turning_radius + KIT.blade.kerf / 2))


def wedge_in_a_slot(angle: float, room: float) -> Pattern:
    """A point of wood of `angle` degrees, pointing up into a wide opening that goes on `room` mm beyond it."""
    half = 60 * math.tan(math.radians(angle / 2))
    top = 120 + room
    point = Polygon([(150 - half, 60), (150, 120), (150 + half, 60)])
    return pattern(box(20, 60, 280, top).difference(point))


def points(made: Pattern, kit: Kit = KIT) -> list[Finding]:
    return [f for f in found(made, "tight corner", kit=kit) if text(f).startswith("Point of wood")]


@pytest.mark.parametrize("angle", [20.0, 60.0, 90.0, 120.0])
def test_a_point_of_wood_counts_only_where_the_blade_can_t_overshoot_it(angle: float) -> None:
    """The loop beyond a point of wood reaches as far as its circle's far side; 20 to 90 degrees: from geometry."""
    radius = KIT.blade.turning_radius
    centre = min(radius / math.sin(math.radians(angle / 2)), math.sqrt(3) * radius)
    needed = centre + radius + KIT.blade.kerf
    assert points(wedge_in_a_slot(angle, needed + 0.5)) == []
    (point,) = points(wedge_in_a_slot(angle, radius))
    assert point.severity == "care"
    assert point.size is None
    assert "no room to overshoot" in remedy(point)
    assert point.limit == pytest.approx(radius - KIT.blade.kerf / 2)


def test_room_for_the_loop_may_lie_aside_or_beyond_the_panel_s_edge() -> None:
    diamond = Polygon([(10, 150), (150, 10), (290, 150), (150, 290)])
    assert points(pattern(diamond, "figure")) == []


def test_a_finer_blade_finds_fewer_points_of_wood_hard() -> None:
    narrow = wedge_in_a_slot(60.0, 9.0)
    assert len(points(narrow)) == 1
    assert points(narrow, FINE) == []


def test_where_no_hole_fits_the_blade_comes_from_both_sides() -> None:
    arm = shapely.union(box(50, 100, 150, 200), Polygon([(149, 148), (250, 150), (149, 152)]))
    (tip,) = [f for f in found(pattern(arm), "tight corner") if f.at[0] > 200]
    assert tip.severity == "care"
    assert "from both sides" in remedy(tip)


def test_where_the_blade_itself_can_t_stand_is_a_stop() -> None:
    """A winding slot 2 mm wide: a blade 7.5 mm from front to back can't stand in its bends."""
    wide = replace(KIT, blade=blade("jigsaw"))
    slot = shapely.union_all(
        [box(50, 100, 110, 160), box(109, 130, 120, 132), box(118, 130, 120, 136), box(118, 134, 126, 136)]
    )
    stops = [
        f
        for f in found(pattern(slot, kit=wide), "tight corner", "tight curve", kit=wide)
        if f.severity == "stop"
    ]
    assert stops
    assert "finds no room" in text(stops[0])
    assert not [f for f in found(pattern(slot, kit=FINE), "tight corner", kit=FINE) if f.severity == "stop"]


@pytest.mark.parametrize("r", [5.0, 8.0, 10.1])
def test_the_radius_of_an_arc_is_exact(r: float) -> None:
    (curve,) = found(pattern(Outline((circle(150, 150, r),), 1.0)), "tight curve")
    assert curve.size == pytest.approx(r, abs=1e-9)
    assert curve.limit == pytest.approx(KIT.blade.turning_radius + KIT.blade.kerf / 2)


def test_a_curve_the_blade_follows_is_no_finding_on_either_side() -> None:
    inside = KIT.blade.turning_radius + KIT.blade.kerf / 2 + 0.01
    assert found(pattern(Outline((circle(150, 150, inside),), 1.0)), "tight curve") == []
    around = KIT.blade.turning_radius - KIT.blade.kerf / 2 + 0.01
    assert found(pattern(Outline((circle(150, 150, around),), 1.0), "figure"), "tight curve") == []
    assert len(found(pattern(Outline((circle(150, 150, around - 0.2),), 1.0), "figure"), "tight curve")) == 1


def test_a_curve_gets_the_drill_that_fills_it() -> None:
    (curve,) = found(pattern(Outline((circle(150, 150, 4.0),), 1.0)), "tight curve")
    assert remedy(curve) == (
        "Needs a relief hole of 8 mm or cuts into it from both sides: the plan says which."
    )


@pytest.mark.parametrize("radius", [2.5, 2.499, 2.48, 2.51])
@pytest.mark.parametrize("degrees", [30, 60, 90, 130])
@pytest.mark.parametrize("turn", [0.0, 0.3])
def test_a_tip_rounded_to_the_hole_s_own_radius_takes_the_hole(
    radius: float, degrees: float, turn: float
) -> None:
    """Rounded by the same discs that holes are tested with, with few points to the quarter."""
    half = math.radians(degrees / 2)
    wedge = Polygon(
        [
            (60, 150),
            (60 + 150 * math.cos(half), 150 + 150 * math.sin(half)),
            (60 + 150 * math.cos(half), 150 - 150 * math.sin(half)),
        ]
    )
    rounded = wedge.buffer(-radius, quad_segs=8, join_style="mitre", mitre_limit=50).buffer(
        radius, quad_segs=8
    )
    made = pattern(shapely.affinity.rotate(rounded, turn, (150, 150), use_radians=True))
    tips = sorted(found(made, "tight curve", "tight corner"), key=lambda f: f.at)
    assert tips
    assert all(remedy(f).startswith("Needs a relief hole of 5 mm") for f in tips)


def test_remedies_promise_nothing_the_plan_decides() -> None:
    shapes = [
        Polygon([(60, 60), (240, 60), (150, 216)]),
        Point(150, 150).buffer(4),
        wedge_in_a_slot(40, 6).waste,
    ]
    for shape in shapes:
        for keep in ("panel", "both"):
            for f in found(pattern(shape, keep), "tight corner", "tight curve"):
                assert not remedy(f).startswith(("Drill", "Saw"))
                assert ". " not in remedy(f)


def test_a_tiny_step_or_spike_of_the_line_is_no_corner() -> None:
    plain = box(60, 60, 240, 240)
    stepped = shapely.union(plain, box(100, 230, 150, 240.15))
    spiked = shapely.union(plain, Polygon([(199.9, 239), (200, 240.25), (200.1, 239)]))
    for shape in (plain, stepped, spiked):
        assert len(found(pattern(shape), "tight corner")) == 4


def test_where_panel_and_figure_both_survive_a_hole_shows() -> None:
    square = pattern(box(100, 100, 200, 200), "both")
    corners = found(square, "tight corner")
    assert len(corners) == 4
    assert all(f.severity == "care" and "it will show" in remedy(f) for f in corners)
    small = found(pattern(Point(150, 150).buffer(5, 64), "both"), "tight curve")
    assert [f.severity for f in small] == ["stop"]


def test_the_panel_s_own_corners_are_not_sawn() -> None:
    assert found(pattern(Point(150, 150).buffer(60, 128), "figure"), "tight corner", "tight curve") == []


# Narrow openings


def test_an_opening_no_hole_fits_into() -> None:
    (f,) = found(pattern(box(50, 100, 150, 104)), "narrow opening")
    assert f.severity == "stop"
    assert (f.size, f.limit) == (pytest.approx(4, abs=0.05), 5.0)
    assert f.opening == 1
    assert found(pattern(box(50, 100, 150, 105.5)), "narrow opening") == []


def test_an_opening_narrower_than_the_cut() -> None:
    (f,) = found(pattern(box(50, 100, 150, 101)), "narrow opening")
    assert "narrower than the saw cut of 1.3 mm" in text(f)


def test_a_neck_of_waste_is_measured_exactly() -> None:
    shape = shapely.union_all([box(50, 100, 100, 150), box(99, 124.6, 131, 125.5), box(130, 100, 180, 150)])
    (f,) = found(pattern(shape), "narrow opening")
    assert f.severity == "stop"
    assert f.size == pytest.approx(0.9, abs=1e-6)
    assert f.at == pytest.approx((115, 125.05), abs=4)
    fine = shapely.union_all([box(50, 100, 100, 150), box(99, 124.3, 131, 125.7), box(130, 100, 180, 150)])
    assert found(pattern(fine), "narrow opening") == []


def test_a_slit_stops_and_a_fine_tip_is_a_care() -> None:
    slit = shapely.union(box(50, 100, 100, 150), box(99, 124.5, 131, 125.5))
    (f,) = found(pattern(slit), "narrow opening")
    assert f.severity == "stop"
    assert "a slit" in text(f)
    tip = shapely.union(box(50, 100, 100, 150), Polygon([(99, 120), (99, 130), (200, 125)]))
    (g,) = found(pattern(tip), "narrow opening")
    assert g.severity == "care"
    assert "the tip of the opening" in text(g)


@pytest.mark.parametrize(("less", "stops"), [(0.02, 0), (0.1, 1)])
@pytest.mark.parametrize("kit", [KIT, FINE])
def test_a_slit_as_wide_as_the_cut_stops_the_blade_where_it_is_pinched(
    kit: Kit, less: float, stops: int
) -> None:
    """However little narrower than the rest of the slit: past a pinch that is more than a hair nothing is sawn."""
    necks = found(pattern(pinched_slit(kit.blade.kerf, less), kit=kit), "narrow opening", kit=kit)
    assert len(necks) == stops
    for neck in necks:
        assert neck.severity == "stop" and neck.size == pytest.approx(kit.blade.kerf - less, abs=0.01)
        assert 140 <= neck.at[0] <= 160


def test_a_figure_near_the_panel_s_edge_leaves_no_narrow_opening() -> None:
    assert found(pattern(box(0.5, 100, 150, 200), "figure"), "narrow opening") == []


def test_the_slot_between_two_survivors_is_no_narrow_opening() -> None:
    assert found(pattern(Point(150, 150).buffer(80, 128), "both"), "narrow opening") == []


def test_a_curve_as_wide_as_the_blade_needs_is_no_finding_and_a_tighter_one_says_what_is_needed() -> None:
    """No measure is printed as equal to its limit; inside a curve the line is wider than the blade's own way."""
    needed = KIT.blade.turning_radius + KIT.blade.kerf / 2
    said = [
        text(f)
        for r in (needed - 0.03, needed - 1.0)
        for f in found(pattern(Outline((circle(150, 150, r),), 1.0)), "tight curve")
    ]
    assert said == [
        f"Inside curve of {needed - 1:.1f} mm radius: the blade turns no tighter than 9.8 mm, "
        f"which makes {needed:.1f} mm on the line."
    ]
