"""Which way to turn the pattern, or lay the boards, so that the weakest web gains most."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from cutout.kit import Kit
from cutout.measure.webs import edge_matters, webs, webs_along
from cutout.pattern import Pattern
from cutout.pattern.placing import placed_pattern

_WORTH = 1.1
"""A gain below this factor is not worth a word."""

_LEAST = 0.02
"""... nor is one of less than this share of the width it should have."""

_TURNS = tuple(range(5, 91, 5))
"""Turns that are tried, to either side (degrees): nobody lays a pattern to less than five. Taste."""


@dataclass(frozen=True, slots=True)
class Way:
    """What strengthens the weakest web most: the pattern turned by `turn` degrees to the left, or, where that is
    None, the boards laid the other way. text: the same as a sentence, with what is gained."""

    turn: int | None
    text: str


def hint(pattern: Pattern, kit: Kit) -> str | None:
    """A sentence on what would strengthen the weakest web most, or None when nothing gains a tenth."""
    way = best_way(pattern, kit)
    return None if way is None else way.text


@lru_cache(maxsize=4)
def best_way(pattern: Pattern, kit: Kit) -> Way | None:
    """What would strengthen the weakest web most, or None when nothing gains a tenth.

    Tried: the boards laid the other way, and the pattern turned by up to a right angle either way as far as
    it stays on the panel. A web counts by its width over its limit; the weakest one decides.
    """
    grain = pattern.panel.grain
    if grain is None or not kit.wood.has_grain:
        return None
    by = kit.to_saw_by
    # Where mending lays it, what is known of its webs is known again.
    there, placing = placed_pattern(pattern, edge_matters(pattern, by))
    if not webs(there, by):
        return None

    def weakest(grain: float) -> float:
        return _weakest(placing.angle_there(grain), there, by)

    now = weakest(grain)
    turns = (t * sign for t in _TURNS for sign in (1, -1))
    tried = [(t, grain - math.radians(t)) for t in turns if _stays_on(pattern, math.radians(t))]
    ways: list[tuple[int | None, float]] = [(None, grain + math.pi / 2), *tried]
    best, turn = max(((weakest(g), t) for t, g in ways), key=lambda c: round(c[0], 6))
    if best < _WORTH * now or best < now + _LEAST:
        return None
    gain = "the weakest web is sound then, instead of having"
    if best < 1:
        gain = f"the weakest web then has {best:.0%} of the width it should have, instead of"
    return Way(turn, f"{_what(turn)}: {gain} {now:.0%}{' of the width it should have' if best >= 1 else ''}.")


def _what(turn: int | None) -> str:
    if turn is None:
        return "Lay the boards the other way"
    return f"Turn the pattern {abs(turn)} degrees to the {'left' if turn > 0 else 'right'}"


def _weakest(grain: float, pattern: Pattern, kit: Kit) -> float:
    """Least width over limit of any web if the grain ran in a direction; 1 where all are sound."""
    return min((w.share for w in webs_along(pattern, kit, grain)), default=1.0)


def _stays_on(pattern: Pattern, turn: float) -> bool:
    """Whether the figure, turned about the middle of its bounding box, stays on the panel."""
    xy = shapely.get_coordinates(shapely.convex_hull(pattern.figure))
    x0, y0, x1, y1 = pattern.figure.bounds
    middle = complex(x0 + x1, y0 + y1) / 2
    z = middle + (xy[:, 0] + 1j * xy[:, 1] - middle) * cmath.exp(1j * turn)
    x0, y0, x1, y1 = pattern.panel.polygon.bounds
    return bool(np.all((z.real >= x0) & (z.real <= x1) & (z.imag >= y0) & (z.imag <= y1)))
