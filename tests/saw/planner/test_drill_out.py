"""Waste no blade gets at is drilled away, in holes a drill can make, or reported."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, affinity

from cutout.pattern import Pattern
from cutout.saw import plan, prove
from cutout.saw.model import Hole, Plan
from tests.kits import kit_of
from tests.saw.planner.test_plan import assert_proved, pattern_of
from tests.telling import text


def clearing(made: Plan) -> list[Hole]:
    return [h for h in made.holes if h.roles == ("clearing",)]


def assert_drillable(pattern: Pattern, holes: list[Hole]) -> None:
    """Each hole in waste, and wood between any two of them."""
    for hole in holes:
        assert pattern.waste.boundary.distance(Point(hole.at)) >= hole.diameter / 2 - 0.05
    for a, b in combinations(holes, 2):
        assert math.dist(a.at, b.at) >= (a.diameter + b.diameter) / 2 + 0.25


def test_an_opening_smaller_than_the_blade_is_drilled_away() -> None:
    kit = kit_of("jigsaw")
    lens = affinity.scale(Point(150, 150).buffer(1.0, quad_segs=64), 4.0, 14.0)
    pattern = pattern_of(lens, kit)
    made = plan(pattern, kit)
    assert made.legs == ()
    assert 1 <= len(clearing(made)) == len(made.holes)
    assert sum(math.pi * h.diameter**2 / 4 for h in made.holes) > 0.5 * lens.area
    assert_drillable(pattern, clearing(made))
    assert_proved(pattern, kit, made)
    (word,) = [f for f in made.findings if f.severity == "care"]
    assert "that the blade can't get at" in text(word)


def test_a_foot_behind_a_bend_the_blade_cannot_follow_is_drilled_away() -> None:
    kit = kit_of("jigsaw-narrow")
    passage = LineString([(150, 150), (150, 106), (157, 99), (161, 92)]).buffer(2.2, join_style="mitre")
    shape = shapely.union(shapely.box(120, 140, 180, 200), passage)
    pattern = pattern_of(shape, kit)
    made = plan(pattern, kit)
    assert_drillable(pattern, clearing(made))
    assert_proved(pattern, kit, made)


def test_a_long_slit_is_reported_and_not_drilled_full_of_holes() -> None:
    kit = kit_of("jigsaw")
    slit = LineString([(100, 150), (200, 150)]).buffer(1.0, cap_style="flat")
    pattern = pattern_of(slit, kit)
    made = plan(pattern, kit)
    assert clearing(made) == []
    assert [f.severity for f in made.findings] == ["stop"]
    assert not prove(pattern, kit, made).ok


@settings(max_examples=15, deadline=None)
@given(
    st.floats(3.0, 9.0),
    st.floats(1.0, 3.0),
    st.floats(0.0, 3.1),
    st.sampled_from(["jigsaw", "jigsaw-narrow", "scroll-medium"]),
)
def test_small_openings_are_planned_or_reported_never_both(
    width: float, ratio: float, turn: float, name: str
) -> None:
    kit = kit_of(name)
    lens = affinity.scale(Point(150, 150).buffer(1.0, quad_segs=32), width / 2, width * ratio / 2)
    pattern = pattern_of(affinity.rotate(lens, turn, use_radians=True), kit)
    made = plan(pattern, kit)
    assert_drillable(pattern, clearing(made))
    stops = [f for f in made.findings if f.severity == "stop"]
    assert prove(pattern, kit, made).ok == (not stops)


@pytest.mark.parametrize("name", ["jigsaw", "scroll-medium"])
def test_nothing_is_drilled_away_where_the_saw_does_it_all(name: str) -> None:
    kit = kit_of(name)
    assert clearing(plan(pattern_of(shapely.box(80, 80, 220, 220), kit), kit)) == []
