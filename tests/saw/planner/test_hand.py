"""Where the blade gets to without being lifted, and whether a cut makes room to turn it in."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from cutout.pattern import Opening, Panel
from cutout.saw.model import Place
from cutout.saw.planner.area import area_of
from cutout.saw.planner.choose import Known, _cheapest_first, gaps, priced, ways
from cutout.saw.planner.hand import Hand, Prices
from cutout.saw.planner.state import Move, State
from tests.kits import KIT, kit_of

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


@pytest.mark.parametrize("blade", ["jigsaw-narrow", "scroll-medium"])
@pytest.mark.parametrize(("room", "reluctance"), [(0.0, 1.0), (8.0, 3.0)])
def test_ways_come_in_the_order_of_their_prices_without_all_being_priced(
    blade: str, room: float, reluctance: float
) -> None:
    kit = kit_of(blade)
    state = State(area_of(OPENING, PANEL, kit.blade, kit.allow), kit.blade, 1, 1, spins=kit.moves.spins)
    state.drill(NEAR, 8.0)
    state.drill(FAR, 8.0)
    prices = Prices.of(kit.moves, 300.0)
    hand = Hand.of(state, replace(prices, room=room, reluctance=reluctance))
    for _ in range(3):
        found = ways(state, gaps(state), Known())
        every = [chosen for way in found if (chosen := priced(hand, way)) is not None]
        ends = state.near_open(np.array([chosen.way.end for chosen in every])) & (room > 0)
        worth = [chosen.price - room * closes for chosen, closes in zip(every, ends, strict=True)]
        order = np.argsort(np.array(worth), kind="stable").tolist()
        seen = list(_cheapest_first(hand, found))
        assert [chosen.way for chosen in seen] == [every[n].way for n in order]
        assert [chosen.closes for chosen in seen] == [bool(ends[n]) for n in order]
        first = seen[0]
        starts = first.way.place[1] if first.way.place is not None else Place("leg", len(state.cuts))
        state.saw(first.way.z, starts, first.way.along, first.move, first.way.turned or 0.0)


def test_a_piece_is_no_deeper_than_its_depth(state: State) -> None:
    sawn(state, line(NEAR, 140 + 100j, 140 + 140j), Move("drop in", 8.0))
    for piece in (box(100, 101, 130, 108), box(141, 100, 150, 130), box(60, 60, 64, 70)):
        depth = state.depth(piece)[0]
        assert state._is_no_deeper(piece, depth + 1e-6)
        assert not state._is_no_deeper(piece, depth - 1e-3)
