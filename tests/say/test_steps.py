"""What is said to the sawyer: where a step begins, by which move, what is drilled."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from cutout.geom.outline import Outline, from_region
from cutout.pattern import Panel, cut_pattern
from cutout.saw.model import CORNER, Hole, Leg, Place, Plan, StartBy
from cutout.saw.planner.hand import Prices
from cutout.saw.planner.legs import takes
from cutout.saw.planner.steps import steps_of
from cutout.say.steps import step_said
from tests.kits import KIT

PATTERN = cut_pattern(
    Outline(from_region(shapely.box(50, 50, 150, 150)), 1.0),
    Panel(200.0, 200.0, 18.0),
    "panel",
    KIT.blade.kerf,
)


def leg(order: int, starts: Place, start_by: StartBy, falls: float = 0.0) -> Leg:
    drops = shapely.MultiPolygon([shapely.box(60, 60, 60 + falls, 140)] if falls else [])
    return Leg(order, 1, np.array([[60.0, 60.0], [90.0, 60.0]]), starts, CORNER, drops, start_by)


def hole(number: int, diameter: float = 5.0) -> Hole:
    return Hole(number, (60.0 + 9 * number, 60.0), diameter, ("starter",), 1)


def told(holes: list[Hole], legs: list[Leg]) -> tuple[list[str], list[str]]:
    """Letters of the steps, and what each says."""
    taken = takes(legs, [0.0] * len(legs), holes, Prices.of(KIT.moves, 600.0))
    steps = steps_of(holes, legs, PATTERN, taken)
    plan = Plan(tuple(holes), tuple(legs), (), (), 0.0, 1, 1.0, steps)
    return [s.letter for s in steps], [step_said(s, plan, PATTERN, "mm", "mm").text for s in steps]


@pytest.mark.parametrize(
    ("start_by", "starts", "begins"),
    [
        ("back", Place("leg", 1), "Back out and saw at"),
        ("turn", Place("hole", 1), "Turn the blade in hole 1 and saw at"),
        ("turn", Place("leg", 1), "Turn the blade in fallen waste and saw at"),
        ("spin", Place("leg", 1), "Turn the blade in its kerf and saw at"),
        ("lift", Place("leg", 1), "Put the blade back into the kerf of cut 1 and saw at"),
        ("drop in", Place("leg", 1), "Let the blade into fallen waste and saw at"),
        ("drop in", Place("hole", 2), "From hole 2 saw at"),
        ("thread", Place("hole", 2), "Thread the blade through hole 2 and saw at"),
    ],
)
def test_a_step_says_by_which_move_it_begins(start_by: StartBy, starts: Place, begins: str) -> None:
    legs = [leg(1, Place("hole", 1), "drop in", falls=40.0), leg(2, starts, start_by)]
    letters, said = told([hole(1), hole(2)], legs)
    assert letters == ["A", "B", "C"]
    assert said[2].startswith(begins), said[2]
    assert "it falls" in said[1]


def test_holes_are_listed_by_size_and_only_longer_runs_are_shortened() -> None:
    holes = [hole(1), hole(2, 8.0), hole(3), hole(4), hole(6, 8.0), hole(7, 8.0), hole(8, 8.0)]
    _, (said,) = told(holes, [])
    assert said == "Drill holes 1, 3 and 4 with 5 mm; holes 2 and 6 to 8 with 8 mm."


def test_a_step_says_how_often_the_saw_is_put_in_and_what_it_takes() -> None:
    """By hand: cuts of 30 mm at 600 mm a minute are 3 s each, moves take what is said, drilling what `Prices` has."""
    legs = [
        leg(1, Place("hole", 1), "drop in"),
        leg(2, Place("leg", 1), "back"),
        leg(3, Place("hole", 2), "drop in"),
    ]
    prices = Prices.of(KIT.moves, 600.0)
    taken = takes(legs, [20.0, 7.0, 20.0], [hole(1), hole(2)], prices)
    steps = steps_of([hole(1), hole(2)], legs, PATTERN, taken)
    assert [(step.goes, step.legs) for step in steps] == [(0, ()), (1, (1, 2)), (1, (3,))]
    assert [60 * step.minutes for step in steps] == pytest.approx([2 * prices.moves.hole, 33.0, 23.0])
    assert sum(step.minutes for step in steps) == pytest.approx(taken.minutes)


def test_where_nothing_falls_a_step_is_called_by_where_it_is_sawn() -> None:
    holes, legs = [hole(1)], [leg(1, Place("hole", 1), "drop in"), leg(2, Place("hole", 1), "thread", 40.0)]
    taken = takes(legs, [0.0, 0.0], holes, Prices.of(KIT.moves, 600.0))
    steps = steps_of(holes, legs, PATTERN, taken)
    plan = Plan(tuple(holes), tuple(legs), (), (), 0.0, 1, 1.0, steps)
    names = [step_said(s, plan, PATTERN, "mm", "mm").name for s in steps]
    assert names == ["Drill 1 hole", "Along the lower left", "Piece at the left"]
    alone = Plan(tuple(holes), tuple(legs[:1]), (), (), 0.0, 1, 1.0, steps)
    assert step_said(steps[1], alone, PATTERN, "mm", "mm").name == "The whole of the opening"
