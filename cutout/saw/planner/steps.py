"""Steps: what the sawyer is told at once, lettered; as many as one keeps in mind. `say.steps` words them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely
from shapely import MultiPolygon

from cutout.geom.outline import polygons_of
from cutout.pattern import Opening, Pattern
from cutout.saw.model import HELD, SAME_GO, Hole, Leg, Step

MOST = 15
"""More steps than this are no list to hang beside the saw: neighbours in one opening are joined."""
ENDS_A_STEP = 0.05
"""A step ends with a piece that is at least this share of its opening."""
_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""I and O are left out: they read as 1 and 0."""


def steps_of(holes: Sequence[Hole], legs: Sequence[Leg], pattern: Pattern) -> tuple[Step, ...]:
    """The steps of a plan: drilling first, then the cuts; each names its legs and what falls."""
    openings = {o.id: o for o in pattern.openings}
    drilling = [((), tuple(h.id for h in holes), MultiPolygon())] if holes else []
    groups = _joined(_split(legs, openings), MOST - len(drilling))
    sawing = [(tuple(leg.order for leg in g), (), MultiPolygon(_falling(g))) for g in groups]
    return tuple(
        Step(letter(n), numbers, drilled, drops)
        for n, (numbers, drilled, drops) in enumerate([*drilling, *sawing])
    )


def letter(n: int, letters: str = _LETTERS) -> str:
    """A, B, ... Z without I and O, then AA, AB, ...; or so by other letters."""
    first, last = divmod(n, len(letters))
    return (letters[first - 1] if first else "") + letters[last]


def _split(legs: Sequence[Leg], openings: dict[int, Opening]) -> list[list[Leg]]:
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


def _joined(groups: list[list[Leg]], most: int) -> list[list[Leg]]:
    """At most so many groups, as far as joining neighbours in one opening does it; the shortest first."""
    groups = [list(g) for g in groups]
    while len(groups) > most:
        lengths = [math.fsum(leg.length for leg in g) for g in groups]
        pairs = [
            (lengths[n] + lengths[n + 1], n)
            for n in range(len(groups) - 1)
            if groups[n][0].opening == groups[n + 1][0].opening
        ]
        if not pairs:
            break
        _, n = min(pairs)
        groups[n : n + 2] = [groups[n] + groups[n + 1]]
    return groups


def _falling(legs: Sequence[Leg]) -> list[shapely.Polygon]:
    return [p for leg in legs for p in polygons_of(leg.drops)]
