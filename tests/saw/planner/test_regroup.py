"""The cuts of a walk in another order, where that puts the blade in less often."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import box

from cutout.pattern import Opening, Panel
from cutout.saw.model import Place
from cutout.saw.planner.area import area_of
from cutout.saw.planner.hand import Prices
from cutout.saw.planner.regroup import regrouped
from cutout.saw.planner.state import Move, State
from tests.kits import KIT

PANEL = Panel(300, 300, 18.0)
OPENING = Opening(1, box(50, 50, 250, 250), at_edge=False)
HOLES = (100 + 100j, 200 + 150j)
PRICES = Prices.of(KIT.moves, 400.0)
DROP_IN, BACK = Move("drop in", KIT.moves.drop_in), 5.0


def fresh() -> State:
    return State(area_of(OPENING, PANEL, KIT.blade, KIT.allow), KIT.blade, 1, 1)


def drilled() -> State:
    state = fresh()
    for at in HOLES:
        state.drill(at, 6.0)
    return state


def sawn(state: State, hole: int, *corners: complex) -> None:
    z = np.array([HOLES[hole - 1], *corners])
    state.saw(z, Place("hole", hole), None, DROP_IN)


def test_what_begins_in_a_hole_is_sawn_while_the_blade_is_there() -> None:
    state = drilled()
    for hole, end in ((1, 100 + 140j), (2, 200 + 190j), (1, 140 + 100j), (2, 240 + 150j)):
        sawn(state, hole, end)
    again = regrouped(state, fresh, PRICES)[-1]
    assert [cut.starts.number for cut in again.cuts] == [1, 1, 2, 2]
    assert [cut.start_by for cut in again.cuts] == ["drop in", "turn", "drop in", "turn"]
    assert {cut.z.tobytes() for cut in again.cuts} == {cut.z.tobytes() for cut in state.cuts}
    opened = [shapely.union_all([shape for shape, _ in s.open]) for s in (state, again)]
    assert opened[0].symmetric_difference(opened[1]).area < 1e-9


def test_a_cut_that_branches_off_goes_with_the_kerf_it_branches_from() -> None:
    state = drilled()
    sawn(state, 1, 100 + 140j)
    sawn(state, 2, 200 + 190j)
    sawn(state, 1, 140 + 100j)
    state.saw(np.array([120 + 100j, 120 + 70j]), Place("leg", 3), None, Move("back", BACK, (2, 20.0)))
    sawn(state, 2, 240 + 150j)
    again = regrouped(state, fresh, PRICES)[-1]
    assert [cut.start_by for cut in again.cuts] == ["drop in", "turn", "back", "drop in", "turn"]
    branch = again.cuts[2]
    assert branch.parent == (1, 20.0)
    assert branch.starts == Place("leg", 2)


def test_one_that_needs_the_kerf_of_another_go_stays_behind_it() -> None:
    state = drilled()
    sawn(state, 1, 100 + 140j)
    sawn(state, 2, 200 + 190j)
    sawn(state, 1, 140 + 100j)
    state.saw(
        np.array([200 + 165j, 200 + 170j, 230 + 180j]), Place("leg", 2), None, Move("lift", 45.0, (1, 20.0))
    )
    again = regrouped(state, fresh, PRICES)[-1]
    assert [cut.start_by for cut in again.cuts] == ["drop in", "turn", "drop in", "back"]
    assert again.cuts[3].parent == (2, 20.0)


@pytest.mark.parametrize("order", [(1, 2), (1, 1, 2, 2)])
def test_nothing_is_found_where_every_hole_is_come_to_once(order: tuple[int, ...]) -> None:
    state = drilled()
    for n, hole in enumerate(order):
        z = np.array([HOLES[hole - 1], HOLES[hole - 1] + 30 * 1j**n])
        first = n == 0 or order[n - 1] != hole
        state.saw(z, Place("hole", hole), None, DROP_IN if first else Move("turn", 5.0))
    assert regrouped(state, fresh, PRICES) == []


def test_waste_that_fell_is_known_again_by_the_cut_it_fell_with() -> None:
    """A square falls between two visits to the first hole; the cut that starts in it is sawn from it all the same."""
    state = drilled()
    ring = np.array([200 + 150j, 200 + 190j, 240 + 190j, 240 + 150j, 200 + 150j])
    sawn(state, 1, 100 + 140j)
    state.saw(ring, Place("hole", 2), None, DROP_IN)
    assert state.cuts[-1].drops.area > 1000
    sawn(state, 1, 140 + 100j)
    state.saw(np.array([220 + 170j, 220 + 230j]), Place("leg", 2), None, DROP_IN)
    again = regrouped(state, fresh, PRICES)[-1]
    assert [cut.start_by for cut in again.cuts] == ["drop in", "turn", "drop in", "turn"]
    assert again.cuts[-1].starts == Place("leg", 3)
