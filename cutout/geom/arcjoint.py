"""Where the runs of a fitted ring meet: each joint is laid, and each arc bent, so that the bit turns least there.

Within the tolerance a joint may lie at several vertices, and an arc may have any curvature of its interval. How near
the fit is hardly tells these apart: a long run beside a tight round is off by more than either end of the round. What
a machine feels is the turn at the joint, so that is what decides.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.geom.stretches import BoolArray, IntArray, Path, Stretches

_TURN = math.radians(3.0)
"""A turn at a joint this sharp weighs as much as all of the tolerance; beyond it runs are split to be rid of it."""
_EVEN = math.radians(1.0)
"""A joint that turns less than this stays where it is."""
_CORNER = math.radians(12.0)
"""Where the polyline itself turns more than this at a vertex there is a corner: rounds are drawn with less."""
_SHIFTS = ((0, -3, 3, -6, -9), (0, -1, 1, -2, 2))
"""How many vertices a joint may move at once, first far, then near. Walking by longest reach drags joints forth, so
more of the far ones lead back."""
_COLOURS = (1, 0, 2)  # no two neighbours in a ring share one of these; the last is for the odd one out
_ROUNDS = 12
"""How often the arcs are bent towards their neighbours; each round is a sweep of Gauss and Seidel's."""
_STAY = 0.02
"""Weight of an arc's own best curvature beside that of a turn at its end."""


def settled(path: Path, found: Stretches) -> Stretches:
    """Joints moved to vertices nearby where turn and misfit are least; runs split where that leaves a turn."""
    for shifts in _SHIFTS:
        found = _round(path, found, shifts)
    for sharper in (True, False):
        split = _beside_turns(path, found, sharper=sharper)
        if split.any():
            found = found.halved(split, path)
            for _ in range(2):
                found = _round(path, found, _SHIFTS[-1])
    return found


def bent(path: Path, found: Stretches, low: FloatArray, high: FloatArray, best: FloatArray) -> FloatArray:
    """A bulge for each stretch, within its interval from `low` to `high`, by which the turns at smooth joints are
    least in squares. best: the bulges in the middle of the intervals.

    An arc turns from its chord by half of its sweep at either end. What is a line stays one.
    """
    a, b = path.ends(found.start, found.steps)
    reach = np.abs(b - a) / 2
    least, most = np.arctan(low * reach), np.arctan(high * reach)
    own = 2 * np.arctan(best)
    before, after = found.before(), found.after()
    turn = np.angle((b - a) / (b - a)[before])
    smooth = (own_turn(path, found.start) < _CORNER).astype(float)
    weight = smooth + smooth[after] + _STAY
    groups = [np.intersect1d(found.every_second(c, least=1), np.flatnonzero(own != 0)) for c in _COLOURS]
    half = own.copy()
    for _ in range(_ROUNDS):
        for k in groups:
            i, j = before[k], after[k]
            towards = smooth[k] * (turn[k] - half[i]) + smooth[j] * (turn[j] - half[j]) + _STAY * own[k]
            half[k] = np.clip(towards / weight[k], least[k], most[k])
    return np.asarray(np.tan(half / 2))


def own_turn(path: Path, vertex: IntArray) -> FloatArray:
    """How far (radians) the polyline itself turns at each vertex."""
    back = path.vertex(vertex, path.size[vertex] - 1)
    turn: FloatArray = np.abs(np.angle(path.edges[path.again[vertex]] / path.edges[path.again[back]]))
    return turn


def _round(path: Path, found: Stretches, shifts: tuple[int, ...]) -> Stretches:
    """Every joint that turns, and is no corner, moved once."""
    bulge = path.bulges(found.start, found.steps)
    turns = (_turns(path, found, bulge) > _EVEN) & (own_turn(path, found.start) < _CORNER)
    for colour in _COLOURS:
        after = found.every_second(colour, least=3)
        found = _moved(path, found, after[turns[after]], shifts)
    return found


def _moved(path: Path, found: Stretches, after: IntArray, shifts: tuple[int, ...]) -> Stretches:
    """The joints before the stretches `after`, no two of them neighbours, moved to the best vertex `shifts` away."""
    if not len(after):
        return found
    before = found.before()[after]
    whole = (found.steps[before] + found.steps[after])[:, None]
    first = np.clip(found.steps[before][:, None] + np.array(shifts), 1, whole - 1)
    start, size = np.broadcast_to(found.start[before][:, None], first.shape).ravel(), first.ravel()
    cost = _cost(path, start, size, (whole - first).ravel())
    best = np.argmin(np.round(cost.reshape(first.shape), 3), axis=1)
    taken = first[np.arange(len(after)), best]
    starts, steps = found.start.copy(), found.steps.copy()
    starts[after] = path.vertex(found.start[before], taken)
    steps[before], steps[after] = taken, whole[:, 0] - taken
    return replace(found, start=starts, steps=steps)


def _cost(path: Path, start: IntArray, size: IntArray, rest: IntArray) -> FloatArray:
    """Of a joint `size` edges from `start`, the next one `rest` further: misfit as a share of the tolerance and turn
    as a share of _TURN; infinite where no arc will do."""
    off, bulge = path.fitted(start, size)
    maybe = np.flatnonzero(np.isfinite(off))
    joint = path.vertex(start, size)
    off_after, bulge_after = path.fitted(joint[maybe], rest[maybe])
    cost = np.full(len(start), np.inf)
    a, b = path.ends(start[maybe], size[maybe])
    c = path.z[path.vertex(joint[maybe], rest[maybe])]
    turn = _turn(b - a, c - b, bulge[maybe], bulge_after)
    cost[maybe] = np.maximum(off[maybe], off_after) / path.tol + turn / _TURN
    return cost


def _turn(chord: ComplexArray, then: ComplexArray, bulge: FloatArray, bulge_then: FloatArray) -> FloatArray:
    """Angle (radians) between the end of one arc and the start of the next."""
    return np.abs(np.angle(then / chord * np.exp(-2j * (np.arctan(bulge) + np.arctan(bulge_then)))))


def _turns(path: Path, found: Stretches, bulge: FloatArray) -> FloatArray:
    """Turn (radians) at the joint before each stretch."""
    a, b = path.ends(found.start, found.steps)
    before = found.before()
    return _turn((b - a)[before], b - a, bulge[before], bulge)


def _beside_turns(path: Path, found: Stretches, *, sharper: bool) -> BoolArray:
    """Of the two stretches at each joint that turns more than the polyline there, the one curved more, or less.

    Either may be what holds the joint: a round turns half a circle at most, a long run has no play left.
    """
    a, b = path.ends(found.start, found.steps)
    bulge, own, before = path.bulges(found.start, found.steps), own_turn(path, found.start), found.before()
    curved = np.abs(np.arctan(bulge)) / np.abs(b - a)
    at = np.flatnonzero((_turns(path, found, bulge) > np.maximum(_TURN, own)) & (own < _CORNER))
    split = np.zeros(len(own), dtype=bool)
    split[np.where((curved[before[at]] > curved[at]) == sharper, before[at], at)] = True
    return split & (found.steps > 1)
