"""Steps: what the sawyer is told at once, lettered; as many as one keeps in mind. `say.steps` words them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import shapely
from shapely import MultiPolygon

from cutout.geom.outline import polygons_of
from cutout.pattern import Opening, Pattern
from cutout.saw.model import HELD, SAME_GO, SHORT, Hole, Leg, Step
from cutout.saw.planner.legs import Takes

MOST = 15
"""More steps than this are no list to hang beside the saw: neighbours in one opening are joined."""
ENDS_A_STEP = 0.05
"""A step ends with a piece that is at least this share of its opening."""
IN_MIND = 5.0
"""Cuts that are easily kept in mind at once: taste, looked at on eight shop drawings."""
SHORT_CUT = 0.4
"""What a short cut counts beside another: several at one place are one thing to do. Taste, as above."""
TORN = 0.5
"""What it costs to part two cuts of one place, beside a step's own cost of 1. Taste, as above."""
ELSEWHERE = 60.0
"""Cuts that begin this far (mm) from where the last one ended are at another place. Taste, as above."""
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""I and O are left out: they read as 1 and 0."""


def steps_of(holes: Sequence[Hole], legs: Sequence[Leg], pattern: Pattern, taken: Takes) -> tuple[Step, ...]:
    """The steps of a plan: drilling first, then the cuts; each names its legs, what falls and what it takes."""
    openings = {o.id: o for o in pattern.openings}
    first = 1 if holes else 0
    parts = [part for run in _runs(legs, openings) for part in _parted(run)]
    sawing = [
        Step(
            letter(n),
            tuple(leg.order for leg in group),
            (),
            MultiPolygon(_falling(group)),
            sum(leg.start_by not in SAME_GO for leg in group),
            math.fsum(taken.by_leg[leg.order] for leg in group),
        )
        for n, group in enumerate(_joined(parts, MOST - first), start=first)
    ]
    if not holes:
        return tuple(sawing)
    drilled = tuple(h.id for h in holes)
    return (Step(letter(0), (), drilled, MultiPolygon(), minutes=taken.minutes_by["drill"]), *sawing)


def letter(n: int, letters: str = _LETTERS) -> str:
    """A, B, ... Z without I and O, then AA, AB, ...; or so by other letters."""
    first, last = divmod(n, len(letters))
    return (letters[first - 1] if first else "") + letters[last]


def _runs(legs: Sequence[Leg], openings: dict[int, Opening]) -> list[list[Leg]]:
    """Legs in runs: one ends where the saw is lifted, another opening begins, or a large piece falls."""
    groups: list[list[Leg]] = []
    for leg in legs:
        begins = not groups or leg.start_by not in SAME_GO or leg.opening != groups[-1][-1].opening
        if begins or _ends_a_step(groups[-1][-1], openings):
            groups.append([leg])
        else:
            groups[-1].append(leg)
    return groups


def _ends_a_step(leg: Leg, openings: dict[int, Opening]) -> bool:
    whole = openings[leg.opening].region.area if leg.opening in openings else math.inf
    return float(shapely.area(leg.drops)) > max(ENDS_A_STEP * whole, HELD)


def _parted(run: list[Leg]) -> list[list[Leg]]:
    """A run in as many steps as are easiest to follow: the cheapest partition by `_burden` and `_seam`.

    The shortest path over the places between legs (dynamic programming, as in breaking a paragraph into lines).
    """
    weights = np.array([SHORT_CUT if leg.length < SHORT else 1.0 for leg in run])
    before = np.concatenate([[0.0], np.cumsum(weights)])
    seams = np.array([0.0, *(_seam(a, b) for a, b in pairwise(run))])
    cheapest = np.zeros(len(run) + 1)
    begins = np.zeros(len(run) + 1, dtype=int)
    for end in range(1, len(run) + 1):
        costs = cheapest[:end] + seams[:end] + _burden(before[end] - before[:end])
        begins[end] = int(np.argmin(costs))
        cheapest[end] = costs[begins[end]]
    cuts, end = [], len(run)
    while end:
        cuts.append((begins[end], end))
        end = begins[end]
    return [run[a:b] for a, b in reversed(cuts)]


def _burden(cuts: np.ndarray) -> np.ndarray:
    """What a step costs the one who keeps it in mind: something in itself, and more with every further cut."""
    return 1.0 + (cuts / IN_MIND) ** 2


def _seam(last: Leg, leg: Leg) -> float:
    """What it costs to let a step begin with a leg: nothing where the blade is turned or goes on elsewhere."""
    if leg.start_by != "back":
        return 0.0
    apart = float(np.hypot(*(leg.path[0] - last.path[-1])))
    return TORN * max(1.0 - apart / ELSEWHERE, 0.0)


def _joined(groups: list[list[Leg]], most: int) -> list[list[Leg]]:
    """At most so many groups, as far as joining neighbours in one opening does it; those of the fewest cuts first."""
    groups = [list(g) for g in groups]
    while len(groups) > most:
        pairs = [
            (len(a) + len(b), math.fsum(leg.length for leg in (*a, *b)), n)
            for n, (a, b) in enumerate(pairwise(groups))
            if a[0].opening == b[0].opening
        ]
        if not pairs:
            break
        *_, n = min(pairs)
        groups[n : n + 2] = [groups[n] + groups[n + 1]]
    return groups


def _falling(legs: Sequence[Leg]) -> list[shapely.Polygon]:
    return [p for leg in legs for p in polygons_of(leg.drops)]
