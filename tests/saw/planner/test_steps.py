"""What the sawyer is told at once: few cuts, at one place, and never past a lift."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import get_args

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shapely import MultiPolygon, box

from cutout.geom.outline import Outline, from_region
from cutout.pattern import Panel, Pattern, cut_pattern
from cutout.saw.model import CORNER, SAME_GO, Leg, Place, StartBy, Step
from cutout.saw.planner.legs import Takes
from cutout.saw.planner.steps import MOST, steps_of

WOOD = MultiPolygon([box(10, 10, 190, 390), box(210, 10, 390, 390)])
PATTERN: Pattern = cut_pattern(Outline(from_region(WOOD), 1.0), Panel(400.0, 400.0, 18.0), "panel", 1.0)


def leg(order: int, length: float, start_by: StartBy, at: float = 0.0, opening: int = 1) -> Leg:
    """A straight cut along x, begun at (at, 0)."""
    path = np.array([[at, 0.0], [at + length, 0.0]])
    return Leg(order, opening, path, Place("hole", 1), CORNER, start_by=start_by)


def told(legs: Sequence[Leg]) -> tuple[Step, ...]:
    return steps_of((), legs, PATTERN, Takes({}, 1, 0, dict.fromkeys(range(1, len(legs) + 1), 0.5)))


def cuts_of(legs: Sequence[Leg]) -> list[tuple[int, ...]]:
    return [step.legs for step in told(legs)]


def test_cuts_of_one_go_are_told_a_few_at_a_time() -> None:
    backed = [leg(n, 40.0, "back" if n > 1 else "drop in", at=n % 2) for n in range(1, 31)]
    steps = cuts_of(backed)
    assert [n for step in steps for n in step] == list(range(1, 31))
    assert max(map(len, steps)) <= 7


def test_short_cuts_at_one_place_are_one_step() -> None:
    nibbled = [leg(n, 3.0, "back" if n > 1 else "drop in") for n in range(1, 9)]
    assert cuts_of(nibbled) == [tuple(range(1, 9))]


def test_a_step_begins_where_the_blade_is_turned_or_goes_elsewhere() -> None:
    starts: list[StartBy] = ["drop in", *["back"] * 3, "turn", *["back"] * 3]
    assert cuts_of([leg(n, 40.0, start) for n, start in enumerate(starts, 1)]) == [(1, 2, 3, 4), (5, 6, 7, 8)]
    places = [0.0, 5, 0, 5, 250, 255, 250, 255]
    there = [leg(n, 40.0, "back" if n > 1 else "drop in", at) for n, at in enumerate(places, 1)]
    assert cuts_of(there) == [(1, 2, 3, 4), (5, 6, 7, 8)]


@given(
    st.lists(
        st.tuples(
            st.floats(1, 300), st.sampled_from(get_args(StartBy)), st.floats(0, 300), st.sampled_from([1, 2])
        ),
        min_size=1,
        max_size=60,
    )
)
def test_every_cut_once_in_order_and_none_past_another_opening(
    drawn: list[tuple[float, StartBy, float, int]],
) -> None:
    legs = [leg(n, *one) for n, one in enumerate(sorted(drawn, key=lambda d: d[3]), 1)]
    steps = told(legs)
    assert [n for step in steps for n in step.legs] == [one.order for one in legs]
    assert len(steps) <= MOST
    for step in steps:
        inside = legs[step.legs[0] - 1 : step.legs[-1]]
        assert len({one.opening for one in inside}) == 1
        if len(steps) < MOST:  # nothing had to be joined
            assert all(b.start_by in SAME_GO for _, b in pairwise(inside))
