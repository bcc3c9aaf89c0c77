"""The plan on shapes whose right answer can be said beforehand, and the promises it makes on any shape."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Polygon, affinity

from cutout.geom.outline import Outline, as_multi, from_region
from cutout.job.schema import Job, LimitsPart
from cutout.job.set_up import limits_of
from cutout.kit import Kit, drills
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw import plan, prove
from cutout.saw.model import EDGE, Plan
from cutout.saw.planner import plan as plan_of_all
from cutout.saw.planner.plan import NoPlan
from tests.figures import SEEDS, blob, pinched_slit, star, stars
from tests.kits import kit_of
from tests.telling import text

MIDDLE, UP = 150 + 150j, math.pi / 2

SLOW = settings(max_examples=4, deadline=None)


def pattern_of(
    region: shapely.Geometry, kit: Kit, keep: str = "panel", panel: Panel | None = None
) -> Pattern:
    outline = Outline(from_region(as_multi(region)), 1.0)
    return cut_pattern(outline, panel or Panel(300.0, 300.0, 18.0), keep, kit.blade.kerf)  # type: ignore[arg-type]


def assert_proved(pattern: Pattern, kit: Kit, made: Plan) -> None:
    proof = prove(pattern, kit, made)
    assert proof.ok, [text(f) for f in proof.findings]
    assert not [f for f in made.findings if f.severity == "stop"]


@pytest.mark.parametrize("name", ["jigsaw", "jigsaw-narrow", "scroll-medium"])
def test_a_circle_takes_one_hole_and_one_leg(name: str) -> None:
    kit = kit_of(name)
    pattern = pattern_of(shapely.Point(150, 150).buffer(80, quad_segs=64), kit)
    made = plan(pattern, kit)
    assert (len(made.holes), len(made.legs)) == (1, 1)
    assert made.holes[0].roles == ("starter",)
    assert made.legs[0].drops.area > 0.9 * pattern.waste.area
    assert_proved(pattern, kit, made)


@pytest.mark.parametrize("name", ["jigsaw-narrow", "scroll-medium"])
@pytest.mark.parametrize("less", [0.02, 0.035])
def test_a_slit_a_hair_narrower_than_the_cut_is_sawn_to_its_end(name: str, less: float) -> None:
    kit = kit_of(name, "plywood")
    pattern = pattern_of(pinched_slit(kit.blade.kerf, less), kit)
    made = plan(pattern, kit)
    assert max(leg.path[:, 0].max() for leg in made.legs) > 199
    assert_proved(pattern, kit, made)


@pytest.mark.parametrize("name", ["jigsaw", "jigsaw-narrow", "scroll-medium"])
def test_a_square_takes_one_hole_and_both_edges_into_each_corner(name: str) -> None:
    kit = kit_of(name)
    pattern = pattern_of(shapely.box(80, 80, 220, 220), kit)
    made = plan(pattern, kit)
    assert len(made.holes) == 1
    assert made.left_over == (), "square kerf ends clear a square corner"
    assert_proved(pattern, kit, made)


@pytest.mark.parametrize("name", ["jigsaw", "scroll-medium"])
def test_a_star_is_sawn_from_one_hole_with_two_cuts_into_each_tip(name: str) -> None:
    kit = kit_of(name)
    pattern = pattern_of(star(5, 110.0, 49.5, MIDDLE, UP), kit)
    made = plan(pattern, kit)
    assert len(made.holes) == 1
    assert_proved(pattern, kit, made)
    ends = np.array([leg.path[-1] for leg in made.legs])
    corners = np.array(pattern.openings[0].region.exterior.coords)[:-1]
    tips = corners[np.hypot(*(corners - 150).T) > 100]
    near = np.hypot(*(tips[:, None] - ends[None, :]).transpose(2, 0, 1)) < 6
    assert (near.sum(axis=1) >= 2).all()


def test_a_thin_blade_sweeps_on_out_of_a_corner_it_has_been_in() -> None:
    """Eight tips of 100 degrees, two lines each: from most of them it sweeps on along the second, and goes on."""
    kit = kit_of("scroll-medium")
    pattern = pattern_of(star(8, 110.0, 66.0, MIDDLE, UP), kit)
    made = plan(pattern, kit)
    assert len(made.legs) <= 12
    assert sum(spot.area for spot in made.left_over) < 0.3
    assert_proved(pattern, kit, made)


def test_one_hole_is_enough_for_a_square_with_rounded_corners() -> None:
    kit = kit_of()
    pattern = pattern_of(shapely.box(84, 84, 216, 216).buffer(2.5, quad_segs=32), kit)
    made = plan(pattern, kit)
    # The corners are rounded to half a hole: none is drilled again, each is sawn from both sides.
    assert len(made.holes) == 1
    for hole in (h for h in made.holes if "relief" in h.roles):
        away = pattern.waste.boundary.distance(shapely.Point(hole.at))
        assert away == pytest.approx(hole.diameter / 2, abs=0.05)
    assert_proved(pattern, kit, made)


def test_keep_figure_starts_from_the_panel_edge_without_a_hole() -> None:
    kit = kit_of()
    pattern = pattern_of(shapely.Point(150, 150).buffer(100, quad_segs=64), kit, "figure")
    made = plan(pattern, kit)
    assert made.holes == ()
    assert made.legs[0].starts == EDGE
    assert_proved(pattern, kit, made)


def test_keep_both_drills_every_other_corner_and_says_that_it_shows() -> None:
    kit = kit_of("scroll-medium")
    pattern = pattern_of(star(5, 100.0, 50.0, MIDDLE, UP), kit, "both")
    made = plan(pattern, kit)
    assert len(made.holes) == 5
    assert len(made.legs) == 10
    assert [f.severity for f in made.findings] == ["care"]
    assert_proved(pattern, kit, made)


def test_small_openings_come_first() -> None:
    kit = kit_of()
    region = shapely.union_all([shapely.box(20, 20, 180, 180), shapely.box(220, 220, 260, 260)])
    made = plan(pattern_of(region, kit), kit)
    sizes = {o.id: o.region.area for o in pattern_of(region, kit).openings}
    order = [sizes[leg.opening] for leg in made.legs]
    assert order == sorted(order)


def test_without_a_drill_the_blade_fits_through_nothing_is_planned_and_it_says_so() -> None:
    kit = replace(kit_of("jigsaw"), drills=drills("3mm, 4mm"))
    made = plan(pattern_of(shapely.box(80, 80, 220, 220), kit), kit)
    assert made.legs == ()
    assert [f.severity for f in made.findings] == ["stop"]


def test_a_hole_placed_by_hand_is_where_the_saw_goes_in() -> None:
    kit = kit_of()
    pattern = pattern_of(shapely.box(80, 80, 220, 220), kit)
    made = plan(pattern, kit, (((140.0, 150.0), 8.0),))
    assert [(h.at, h.diameter) for h in made.holes] == [((140.0, 150.0), 8.0)]
    assert_proved(pattern, kit, made)


def test_a_hole_placed_by_hand_that_is_too_small_is_drilled_and_reported() -> None:
    kit = kit_of("jigsaw")
    made = plan(pattern_of(shapely.box(80, 80, 220, 220), kit), kit, (((150.0, 150.0), 3.0),))
    assert ((150.0, 150.0), 3.0) in [(h.at, h.diameter) for h in made.holes]
    assert any("too small" in text(f) for f in made.findings)


@SLOW
@given(seed=SEEDS, name=st.sampled_from(["jigsaw-narrow", "scroll-medium"]))
def test_blobs_are_planned_and_proved(seed: int, name: str) -> None:
    kit = kit_of(name)
    pattern = pattern_of(blob(seed, 80.0, MIDDLE), kit)
    assert_proved(pattern, kit, plan(pattern, kit))


@SLOW
@given(stars((4, 9), (0.4, 0.8), 90.0, MIDDLE))
def test_stars_are_planned_and_proved(figure: Polygon) -> None:
    kit = kit_of("jigsaw-narrow")
    pattern = pattern_of(figure, kit)
    assert_proved(pattern, kit, plan(pattern, kit))


@settings(max_examples=2, deadline=None)
@given(seed=SEEDS, dx=st.integers(-30, 30), dy=st.integers(-30, 30))
def test_moving_the_picture_moves_every_hole(seed: int, dx: int, dy: int) -> None:
    kit = kit_of()
    figure = shapely.set_precision(blob(seed, 60.0, MIDDLE), 2.0**-10)
    here = plan(pattern_of(figure, kit), kit)
    there = plan(pattern_of(affinity.translate(figure, dx, dy), kit), kit)
    moved = np.array([h.at for h in here.holes]) + np.array([dx, dy])
    assert np.abs(moved - np.array([h.at for h in there.holes])).max() < 0.1


@pytest.mark.parametrize("keep", ["panel", "figure", "both"])
def test_the_same_input_gives_the_same_plan(keep: str) -> None:
    kit = kit_of()
    pattern = pattern_of(star(6, 90.0, 54.0, MIDDLE, UP), kit, keep)
    one, two = plan(pattern, kit), plan(pattern, kit)
    assert one.holes == two.holes
    assert all(np.array_equal(a.path, b.path) for a, b in zip(one.legs, two.legs, strict=True))


def test_no_hole_reaches_into_keep_and_no_leg_cuts_air_only() -> None:
    kit = kit_of("jigsaw")
    pattern = pattern_of(blob(7, 100.0, MIDDLE), kit)
    made = plan(pattern, kit)
    for hole in made.holes:
        disc = shapely.Point(hole.at).buffer(hole.diameter / 2 - 0.05)
        assert pattern.waste.contains(disc)
    gone: shapely.Geometry = MultiPolygon()
    for leg in made.legs:
        kerf = shapely.LineString(leg.path).buffer(kit.blade.kerf / 2, cap_style="flat")
        assert shapely.difference(kerf, gone).area > 0.05
        gone = shapely.union_all([gone, kerf, leg.drops])
    rings = [
        shapely.get_coordinates(ring)
        for leg in made.legs
        for ring in shapely.get_rings(shapely.get_parts(leg.drops))
    ]
    paths = [np.asarray(leg.path) for leg in made.legs]
    shortest = [min(np.hypot(*np.diff(xy, axis=0).T).min() for xy in lines) for lines in (rings, paths)]
    assert min(shortest) > 0.009, "no hairs, neither in what falls nor in what is sawn"


def test_a_mouth_the_kerf_just_fits_through_is_sawn_through() -> None:
    """Two points of keep stand 1.31 mm apart for a kerf of 1.28; behind them the arm widens."""
    kit = kit_of()
    top = [(150, 130.655), (160, 130.655), (160.3, 130.755), (190, 131.0)]
    arm = Polygon([*top, *((x, 260 - y) for x, y in reversed(top))])
    pattern = pattern_of(shapely.union_all([shapely.box(100, 100, 160, 160), arm]), kit)
    made = plan(pattern, kit)
    assert_proved(pattern, kit, made)
    assert any(leg.path[:, 0].max() > 185 for leg in made.legs)
    assert not any("clearing" in hole.roles for hole in made.holes)


def test_planning_and_proving_tell_how_far_they_have_come() -> None:
    kit, told, proved = kit_of(), list[float](), list[float]()
    pattern = pattern_of(star(6, 83.0, 45.65, MIDDLE, UP), kit)
    made = plan(pattern, kit, (), told.append)
    assert prove(pattern, kit, made, proved.append).ok
    for shares in (told, proved):
        assert all(a < b for a, b in pairwise(shares)), "they rise"
        assert shares[0] > 0
        assert shares[-1] == 1.0
        assert sum(share < 0.9 for share in shares) > 5, "not only at the end of the only opening"
    assert [leg.path.tolist() for leg in made.legs] == [leg.path.tolist() for leg in plan(pattern, kit).legs]


def test_the_estimate_adds_up() -> None:
    kit = kit_of()
    made = plan(pattern_of(star(5, 100.0, 50.0, MIDDLE, UP), kit), kit)
    length = sum(float(np.hypot(*np.diff(leg.path, axis=0).T).sum()) for leg in made.legs)
    assert made.cut_length == pytest.approx(length)
    put_in = [leg for leg in made.legs if leg.start_by not in ("back", "turn")]
    assert made.entries == made.goes == len(put_in)
    assert made.minutes == pytest.approx(sum(made.minutes_by.values()))
    assert made.minutes == pytest.approx(sum(step.minutes for step in made.steps))
    assert made.goes == sum(step.goes for step in made.steps)
    assert made.minutes_by["saw"] == pytest.approx(length / kit.feed(18.0))
    assert made.minutes_by["drill"] == pytest.approx(len(made.holes) * kit.moves.hole / 60)


def test_what_is_no_plan_is_said_by_the_limits_of_the_job(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plan_of_all, "WORTH_A_WORD", 0.0)
    kit = kit_of()
    pattern = pattern_of(star(5, 100.0, 50.0, MIDDLE, UP), kit)
    made = plan(pattern, kit)
    assert not any(isinstance(f.facts, NoPlan) for f in made.findings)
    strict = LimitsPart(sawing=1.0, file_spots=0, hours=0.01)
    asked = replace(kit, limits=limits_of(Job(limits=strict)))
    findings = plan(pattern, asked).findings
    assert [f.severity for f in findings if isinstance(f.facts, NoPlan)] == ["stop"]
    (facts,) = (f.facts for f in findings if isinstance(f.facts, NoPlan))
    assert facts.sawn == pytest.approx((made.cut_length, pattern.openings[0].region.length))
    assert facts.spots == len(made.left_over) > 0
    assert facts.minutes == pytest.approx(made.minutes)


@settings(max_examples=12, deadline=None)
@given(st.floats(6.0, 60.0), st.floats(0.1, 0.6), st.floats(0.02, 0.6))
def test_a_wider_kerf_never_makes_a_turn_impossible(radius: float, clearance: float, more: float) -> None:
    """A disc sawn in one go stays so: R = W^2 / (8 c) - T / 2 falls with c faster than the centre line closes in."""
    narrow = kit_of("jigsaw-narrow")
    disc = shapely.Point(150, 150).buffer(radius, quad_segs=64)
    made = []
    for play in (clearance, clearance + more):
        saw = replace(narrow.blade, kerf=narrow.blade.body + play, radius=None)
        kit = replace(narrow, blade=saw)
        pattern = pattern_of(disc, kit)
        one = plan(pattern, kit)
        made.append(len(one.legs) == 1 and not one.left_over and prove(pattern, kit, one).ok)
    assert made[1] or not made[0]
