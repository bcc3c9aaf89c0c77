"""The plan in words, and what the page is sent to draw."""

from __future__ import annotations

import math
import re

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from cutout.page.steps import steps
from cutout.page.view import MOST_POINTS, path_data
from cutout.saw.model import Hole, Leg, Plan

HOLES = (
    Hole(1, (10.0, 10.0), 3.0, ("starter",), 1),
    Hole(2, (20.0, 10.0), 6.0, ("starter", "relief"), 1),
    Hole(3, (30.0, 10.0), 3.0, ("relief",), 1),
)
LEGS = (
    Leg(1, 1, np.array([[10.0, 10.0], [10.0, 110.0]]), "hole 1", "corner"),
    Leg(2, 1, np.array([[10.0, 10.0], [20.0, 10.0]]), "leg 1", "hole 2", MultiPolygon([box(0, 0, 80, 40)])),
)
PLAN = Plan(HOLES, LEGS, (), (), 110.0, 1, 1.0)


def test_holes_come_first_one_drill_at_a_time_then_every_leg_in_order() -> None:
    walk = steps(PLAN, "mm")
    assert [step.title for step in walk] == [
        "Drill 1 hole of 6 mm",
        "Drill 2 holes of 3 mm",
        "Leg 1, opening 1",
        "Leg 2, opening 1",
    ]
    assert [step.holes for step in walk] == [(2,), (1, 3), (), ()]
    assert [step.legs for step in walk] == [(), (), (1,), (2,)]
    assert [step.letter for step in walk] == ["1", "2", "3", "4"]
    assert [step.at for step in walk] == [(20.0, 10.0), (10.0, 10.0), (10.0, 10.0), (10.0, 10.0)]


def test_every_hole_is_drilled_once() -> None:
    drilled = [number for step in steps(PLAN, "mm") for number in step.holes]
    assert sorted(drilled) == [1, 2, 3]


def test_a_leg_says_where_it_starts_how_far_it_goes_and_what_drops() -> None:
    first, last = steps(PLAN, "mm")[2:]
    assert (
        first.say
        == "Put the blade through hole 1 and saw 100 mm into the corner, then back out the way you came."
    )
    assert first.hold is None
    assert "open kerf of leg 1" in last.say
    assert last.hold is not None
    assert "80 x 40 mm" in last.hold
    assert last.drops.area == 3200


def test_lengths_are_in_the_users_units() -> None:
    assert steps(PLAN, "in")[0].title == "Drill 1 hole of 15/64 in"


def points_of(data: str) -> list[tuple[float, float]]:
    pairs = re.findall(r"(-?[\d.e+-]+) (-?[\d.e+-]+)", data)
    return [(float(x), float(y)) for x, y in pairs]


@given(st.integers(3, 9000), st.floats(5, 400))
@settings(max_examples=15, deadline=None)
def test_what_is_drawn_is_thin_enough_and_near_enough(count: int, radius: float) -> None:
    turn = np.linspace(0, 2 * math.pi, count, endpoint=False)
    wavy = radius * (1 + 0.01 * np.sin(40 * turn))
    shape = shapely.Polygon(np.column_stack([wavy * np.cos(turn), wavy * np.sin(turn)]))
    drawn = points_of(path_data(shape))
    assert 3 <= len(drawn) <= MOST_POINTS
    if count > 200:
        assert shapely.hausdorff_distance(shape, shapely.Polygon(drawn)) < 0.002 * radius + 0.1


def test_holes_and_lines_are_drawn_too() -> None:
    ring = Point(0, 0).buffer(10).difference(Point(0, 0).buffer(5))
    assert path_data(ring).count("M") == 2
    assert path_data(ring).count("Z") == 2
    assert path_data(shapely.LineString([(0, 0), (1, 2.5)])) == "M0 0L1 2.5"
    assert path_data(MultiPolygon()) == ""
