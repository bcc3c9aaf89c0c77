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
from cutout.saw.model import Step as PlanStep

HOLES = (
    Hole(1, (10.0, 10.0), 3.0, ("starter",), 1),
    Hole(2, (20.0, 10.0), 6.0, ("starter", "relief"), 1),
)
LEGS = (
    Leg(1, 1, np.array([[10.0, 10.0], [10.0, 110.0]]), "hole 1", "corner"),
    Leg(2, 1, np.array([[10.0, 10.0], [20.0, 10.0]]), "leg 1", "hole 2", MultiPolygon([box(0, 0, 80, 40)])),
)
SAID = (
    "Drill holes 1 and 2 with 6 mm.",
    "From hole 1 saw at the left. Back out once. Hold the piece at the left, 12.8 x 40.5 mm: it falls.",
    "Go on.",
)
STEPS = (
    PlanStep("A", SAID[0], (), (1, 2), MultiPolygon()),
    PlanStep("B", SAID[1], (1, 2), (), MultiPolygon([box(0, 0, 80, 40)])),
    PlanStep("C", SAID[2], (2,), (), MultiPolygon()),
)
PLAN = Plan(HOLES, LEGS, (), (), 110.0, 1, 1.0, STEPS)


def test_steps_are_the_plans_own_with_its_letters() -> None:
    walk = steps(PLAN)
    assert [(step.letter, step.title) for step in walk] == [
        ("A", "Drill 2 holes"),
        ("B", "Cuts 1 to 2"),
        ("C", "Cut 2"),
    ]
    assert [step.holes for step in walk] == [(1, 2), (), ()]
    assert [step.at for step in walk] == [(10.0, 10.0), (10.0, 10.0), (10.0, 10.0)]
    assert walk[1].drops.area == 3200


def test_what_to_hold_stands_apart_and_no_word_is_lost() -> None:
    walk = steps(PLAN)
    assert walk[1].say == "From hole 1 saw at the left. Back out once."
    assert walk[1].hold == "Hold the piece at the left, 12.8 x 40.5 mm: it falls."
    assert [step.hold for step in (walk[0], walk[2])] == [None, None]
    for step, said in zip(walk, SAID, strict=True):
        assert " ".join(filter(None, (step.say, step.hold))) == said


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
