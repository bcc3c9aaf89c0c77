"""The plan in words, and what the page is sent to draw."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon, Point, box

from cutout.draw.signs import DRILLS
from cutout.page.steps import Step, steps
from cutout.page.view import MOST_POINTS, path_data, plan_view, whole_length
from cutout.saw.model import CORNER, Hole, Leg, Place, Plan
from cutout.saw.model import Step as PlanStep
from cutout.write.work import Work

HOLES = (
    Hole(1, (10.0, 10.0), 3.0, ("starter",), 1),
    Hole(2, (20.0, 10.0), 6.0, ("starter", "relief"), 1),
)
LEGS = (
    Leg(1, 1, np.array([[10.0, 10.0], [10.0, 110.0]]), Place("hole", 1), CORNER),
    Leg(
        2,
        1,
        np.array([[10.0, 10.0], [20.0, 10.0]]),
        Place("leg", 1),
        Place("hole", 2),
        MultiPolygon([box(0, 0, 80, 40)]),
        "back",
    ),
)
DROP = MultiPolygon([box(0, 0, 80, 40)])
STEPS = (
    PlanStep("A", (), (1, 2), MultiPolygon()),
    PlanStep("B", (1, 2), (), DROP),
    PlanStep("C", (2,), (), MultiPolygon()),
)


@pytest.fixture(scope="module")
def walk(make_work: Callable[..., Work]) -> tuple[Step, ...]:
    return steps(make_work(plan=Plan(HOLES, LEGS, (), (), 110.0, 1, 1.0, STEPS)))


def test_steps_are_the_plans_own_with_its_letters(walk: tuple[Step, ...]) -> None:
    assert [(step.letter, step.title) for step in walk] == [
        ("A", "Drill 2 holes"),
        ("B", "The whole of opening 1"),
        ("C", "Main piece at the lower left"),
    ]
    assert [step.holes for step in walk] == [(1, 2), (), ()]
    assert [step.at for step in walk] == [(10.0, 10.0), (10.0, 10.0), (10.0, 10.0)]
    assert walk[1].drops.area == 3200


def test_what_to_hold_stands_apart(walk: tuple[Step, ...]) -> None:
    """Words of the two legs by hand: 100 and 10 mm long, the second backed into, a piece of 80 x 40 mm falls."""
    assert walk[0].say == "Drill hole 1 with 3 mm; hole 2 with 6 mm."
    assert walk[1].say.endswith(": cuts 1 to 2. Back out once.")
    assert [step.length for step in walk] == [0.0, 110.0, 10.0]
    assert walk[1].hold is not None and walk[1].hold.endswith(", 80 x 40 mm: it falls.")
    assert [step.hold for step in (walk[0], walk[2])] == [
        None,
        walk[1].hold,
    ]


def test_holes_have_the_sign_of_their_drill_as_on_paper(make_work: Callable[..., Work]) -> None:
    shown = plan_view(make_work(plan=Plan(HOLES, LEGS, (), (), 110.0, 1, 1.0, STEPS)))
    assert [(drill["label"], drill["holes"]) for drill in shown["drills"]] == [("3 mm", [1]), ("6 mm", [2])]
    for kind, (hole, drill) in enumerate(zip(shown["holes"], shown["drills"], strict=True)):
        assert hole["sign"] == drill["sign"] == kind
    many = tuple(Hole(n, (20.0 * n, 10.0), float(n), ("starter",), 1) for n in range(1, DRILLS + 2))
    signs = [hole["sign"] for hole in plan_view(make_work(plan=Plan(many, (), (), (), 0.0, 1, 1.0)))["holes"]]
    assert signs == [*range(DRILLS), DRILLS - 1]


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


def test_sums_of_length_are_said_as_people_say_them() -> None:
    assert [whole_length(mm, "in") for mm in (121.03 * 25.4, 3.0)] == ["121 in", "1 in"]
    assert [whole_length(mm, "mm") for mm in (3074.2, 3.0)] == ["3070 mm", "10 mm"]


def test_holes_and_lines_are_drawn_too() -> None:
    ring = Point(0, 0).buffer(10).difference(Point(0, 0).buffer(5))
    assert path_data(ring).count("M") == 2
    assert path_data(ring).count("Z") == 2
    assert path_data(shapely.LineString([(0, 0), (1, 2.5)])) == "M0 0L1 2.5"
    assert path_data(MultiPolygon()) == ""
