"""What a leg leaves beside its run, and what is left to the file before a short one is sawn."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import box

from cutout.kit import Kit, bit, blade, drills, wood
from cutout.pattern import Opening, Panel
from cutout.saw.model import Place
from cutout.saw.planner.area import area_of
from cutout.saw.planner.choose import Way, crumbs
from cutout.saw.planner.state import Covers, State

KIT = Kit(blade("jigsaw-narrow"), drills("metric"), bit("6mm"), wood("white-pine"))
PANEL = Panel(300, 300, 18.0)
OPENING = Opening(1, box(50, 50, 250, 250), at_edge=False)


def fresh() -> State:
    return State(area_of(OPENING, PANEL, KIT.blade, KIT.allow), KIT.blade, 1, 1)


def left_by(state: State, begins: float, ends: float, rest: int = 0) -> int:
    """Bits beside a run along the first edge of the square."""
    line = state.area.stretches[0]
    lead = line.part(begins, ends)
    way = Way(lead, ends - begins, Covers(0, begins, ends), ends - begins, rest)
    return crumbs(state, way, state.passed(state.pushed(lead)))


def test_bits_of_outline_beside_a_run_are_counted() -> None:
    state = fresh()
    length = state.area.stretches[0].length
    assert left_by(state, 2.2, length) == 1
    assert left_by(state, 2.2, length - 2.2) == 2
    assert left_by(state, 2.2, length, rest=1) == 0, "what is left on purpose is paid for already"
    state.done[(state.area.where == 0) & (state.along < 3.0)] = True
    assert left_by(state, 2.2, length) == 0, "nor is what was sawn before"


def test_a_crumb_that_only_a_hair_joins_to_more_wood_is_left_to_the_file() -> None:
    state = fresh()
    crumb, hair, block = box(60, 50, 61, 51), box(61, 50, 70, 50.04), box(70, 50, 120, 90)
    stands = shapely.union_all([crumb, hair, block])
    state._remove(shapely.difference(OPENING.region, stands), Place("hole", 1))
    assert len(state.standing) == 1

    def near(x: float) -> np.ndarray:
        return np.flatnonzero(np.hypot(state.points[:, 0] - x, state.points[:, 1] - 50) < 0.5)

    assert not state.leave_to_the_file(near(95.0)), "a block is sawn free"
    assert not state.done[near(95.0)].any()
    assert state.leave_to_the_file(near(60.5))
    assert state.done[near(60.5)].all()
    assert not state.leave_to_the_file(near(60.5)), "nothing new"
