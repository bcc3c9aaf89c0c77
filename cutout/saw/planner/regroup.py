"""The cuts of a walk in another order: what lies round a hole is sawn while the blade is there.

A walk sees one cut ahead, and may come back to a hole it has left. Once all cuts are known, those that begin in a
hole can be sawn as soon as the blade comes by: holes are open from the start, and what else they branch from goes
with them. Nothing is taken on trust: the cuts are sawn again in the new order, every move is found anew, and the new
order is kept only where it takes less.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from cutout.saw.model import SAME_GO, Place
from cutout.saw.planner.hand import Hand, Prices
from cutout.saw.planner.state import Cut, KerfPath, Move, State


class _StuckError(Exception):
    """A cut can't be begun in this order."""


def regrouped(state: State, fresh: Callable[[], State], prices: Prices) -> list[State]:
    """The same cuts in other orders, each of which puts the blade in less often than the one before; none at times.

    fresh: makes a state in which nothing is done yet.
    """
    found: list[State] = []
    last = state
    for parted in (_goes, _visits):
        again = _in_fewer_goes(last, fresh, prices, parted)
        if again is not None:
            last = again
            found.append(again)
    return found


def _in_fewer_goes(
    state: State,
    fresh: Callable[[], State],
    prices: Prices,
    parted: Callable[[Sequence[Cut]], list[list[int]]],
) -> State | None:
    """The same cuts in another order, parted into runs that stay together; None where that takes as many goes."""
    runs = parted(state.cuts)
    if state.goes > 1 and len(runs) > 2:
        try:
            again = _sawn_again(state, fresh(), prices, runs)
        except _StuckError:
            return None
        if again.goes < state.goes:
            return again
    return None


def _goes(cuts: Sequence[Cut]) -> list[list[int]]:
    """Numbers of the cuts of every go."""
    return _split(cuts, lambda cut: cut.start_by not in SAME_GO)


def _visits(cuts: Sequence[Cut]) -> list[list[int]]:
    """Numbers of the cuts from one place where the blade is put in or turned to the next such place."""
    return _split(cuts, lambda cut: cut.start_by not in SAME_GO or cut.start_by == "turn")


def _split(cuts: Sequence[Cut], begins: Callable[[Cut], bool]) -> list[list[int]]:
    runs: list[list[int]] = []
    for k, cut in enumerate(cuts):
        if begins(cut) or not runs:
            runs.append([])
        runs[-1].append(k)
    return runs


def _sawn_again(old: State, state: State, prices: Prices, runs: list[list[int]]) -> State:
    """What a walk sawed, sawn in a new order: after each run the next one, unless that takes a lift and one that
    begins in a hole can be gone on to without."""
    for hole in old.holes:
        state.drill(hole.at, hole.diameter, hole.clears)
    hand, number = Hand.of(state, prices), dict[int, int]()
    pending = list(runs)
    while pending:
        n = _next(old, hand, pending, number) if number else 0
        for k in pending.pop(n):
            cut = old.cuts[k]
            place, move = _start(old, hand, cut, number)
            number[k] = len(state.cuts)
            state.saw(cut.led, place, cut.along, move, cut.turned)
    return state


def _next(old: State, hand: Hand, pending: list[list[int]], number: dict[int, int]) -> int:
    """Which of the pending runs comes next: the first, or the one that is quickest got at of those without a lift."""
    if _move(old, hand, old.cuts[pending[0][0]], number).start_by in SAME_GO:
        return 0
    ways: list[tuple[float, int]] = []
    for n, run in enumerate(pending[1:], 1):
        if _hangs_on_nothing_else(old.cuts, run):
            move = _move(old, hand, old.cuts[run[0]], number)
            if move.start_by in SAME_GO and move.seconds < hand.prices.moves.drop_in:
                ways.append((move.seconds, n))
    return min(ways)[1] if ways else 0


def _hangs_on_nothing_else(cuts: Sequence[Cut], run: list[int]) -> bool:
    """Whether all cuts of a run begin in holes, or in kerfs of the same run: it can be sawn at any time."""
    return all(
        cuts[k].starts.kind == "hole" if (parent := cuts[k].parent) is None else parent[0] in run for k in run
    )


def _start(old: State, hand: Hand, cut: Cut, number: dict[int, int]) -> tuple[Place, Move]:
    """What a cut starts from in the new order, and how the blade gets there."""
    move = _move(old, hand, cut, number)
    if cut.parent is not None:
        return Place("leg", hand.state.first_leg + number[cut.parent[0]]), move
    place = cut.starts
    if place.kind == "leg":
        # Waste falls with the last cut round it, which may be another one now.
        at = hand.state.open_at(complex(cut.led[0]))
        if at is None or hand.rooms.at(complex(cut.led[0])) is None:
            raise _StuckError
        place = at
    return place, move


def _move(old: State, hand: Hand, cut: Cut, number: dict[int, int]) -> Move:
    """How the blade gets to where a cut begins."""
    if cut.parent is None:
        return hand.to_place(complex(cut.led[0]), cut.starts)
    k, along = number[cut.parent[0]], cut.parent[1]
    if cut.start_by == "on":
        return Move("on", 0.0, (k, along))
    path, s = _kerf(old.cuts[cut.parent[0]], k, cut, along)
    move = hand.to_spin(path, s) if cut.start_by == "spin" else hand.to_kerf(path, s)
    if move is None:
        raise _StuckError
    return move


def _kerf(parent: Cut, k: int, cut: Cut, along: float) -> tuple[KerfPath, float]:
    """The way through a kerf in which a cut begins, and how far along that."""
    forward = KerfPath.of(parent.z, k, True)
    if cut.start_by != "lift":
        return forward, along
    i = min(max(int(forward.s.searchsorted(along)), 1), len(parent.z) - 1)
    ahead, begins = parent.z[i] - parent.z[i - 1], cut.led[1] - cut.led[0]
    if (begins * ahead.conjugate()).real > 0:
        return forward, along
    return KerfPath.of(parent.z[::-1], k, False), parent.length - along
