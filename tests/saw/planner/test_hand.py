"""Where the blade gets to without being lifted, and whether a cut makes room to turn it in."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import box

from cutout.pattern import Opening, Panel
from cutout.saw.model import Place
from cutout.saw.planner.area import area_of
from cutout.saw.planner.hand import Hand, Prices
from cutout.saw.planner.state import Move, State
from tests.kits import KIT

PANEL = Panel(300, 300, 18.0)
OPENING = Opening(1, box(50, 50, 250, 250), at_edge=False)
NEAR, FAR = 100 + 100j, 200 + 150j


@pytest.fixture
def state() -> State:
    """A square opening; a hole, a kerf up from it, and a second up from another hole, which is not sawn yet."""
    made = State(area_of(OPENING, PANEL, KIT.blade, KIT.allow), KIT.blade, 1, 1)
    made.drill(NEAR, 6.0)
    made.drill(FAR, 6.0)
    return made


def line(*corners: complex) -> np.ndarray:
    return np.array(corners, dtype=complex)


def sawn(state: State, z: np.ndarray, move: Move, hole: int = 1) -> None:
    state.saw(z, Place("hole", hole), None, move)


def test_a_cut_that_closes_a_ring_frees_a_piece_to_turn_in_and_half_of_it_does_not(state: State) -> None:
    half = line(NEAR, 140 + 100j, 140 + 140j)
    assert not state.frees(half)
    sawn(state, half, Move("drop in", 20.0))
    assert state.frees(line(140 + 140j, 100 + 140j, NEAR))
    assert not state.frees(line(140 + 140j, 100 + 140j, 100 + 125j))
    near = state.near_open(np.array([NEAR, 139 + 120j, 160 + 160j]))
    assert near.tolist() == [True, True, False]


def test_a_blade_turns_where_any_kerf_of_its_go_comes_by(state: State) -> None:
    sawn(state, line(NEAR, 150 + 100j), Move("drop in", 20.0))
    sawn(state, line(150 + 100j, FAR, 230 + 180j), Move("on", 0.0, (0, 50.0)))
    sawn(state, line(120 + 100j, 120 + 130j), Move("back", 5.0, (0, 20.0)))
    prices = Prices.of(KIT.moves, 400.0)
    move = Hand.of(state, prices).to_place(FAR, Place("hole", 2))
    assert move.start_by == "turn"
    way = 30 + 30 + abs(FAR - (150 + 100j))
    assert move.seconds == pytest.approx(prices.moves.turn + prices.back * way, abs=prices.back * 6)


def test_a_blade_let_in_elsewhere_turns_there_no_more(state: State) -> None:
    sawn(state, line(NEAR, 140 + 100j, 140 + 140j), Move("drop in", 20.0))
    sawn(state, line(FAR, 220 + 150j), Move("drop in", 20.0), hole=2)
    hand = Hand.of(state, Prices.of(KIT.moves, 400.0))
    assert hand.to_place(NEAR, Place("hole", 1)).start_by == "drop in"
    assert hand.to_place(FAR, Place("hole", 2)).start_by == "turn"
