"""Which way to turn the pattern, or lay the boards, so that the weakest web gains most."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace

import numpy as np
import shapely

from cutout.check.webs import Web, angle_to_grain, web_limit, webs
from cutout.kit import Kit
from cutout.pattern import Pattern

_WORTH = 1.1
"""A gain below this factor is not worth a word."""

_TURNS = tuple(range(5, 91, 5))


def hint(pattern: Pattern, kit: Kit) -> str | None:
    """A sentence on what would strengthen the weakest web most, or None when nothing gains a tenth.

    Tried: the boards laid the other way, and the pattern turned by up to a right angle either way as far as
    it stays on the panel. A web counts by its width over its limit; the weakest one decides.
    """
    grain = pattern.panel.grain
    found = webs(pattern, kit)
    if grain is None or not kit.wood.has_grain or not found:
        return None
    now = min(w.width / w.limit for w in found)
    choices = [(_weakest(found, grain + math.pi / 2, pattern, kit), "Lay the boards the other way")]
    for turn in (t * sign for t in _TURNS for sign in (1, -1)):
        if _stays_on(pattern, math.radians(turn)):
            side = "left" if turn > 0 else "right"
            text = f"Turn the pattern {abs(turn)} degrees to the {side}"
            choices.append((_weakest(found, grain - math.radians(turn), pattern, kit), text))
    best, what = max(choices, key=lambda c: round(c[0], 6))
    if best < _WORTH * now:
        return None
    return f"{what}: the weakest web then has {best:.0%} of the width it should have, instead of {now:.0%}."


def _weakest(found: tuple[Web, ...], grain: float, pattern: Pattern, kit: Kit) -> float:
    """Least width over limit of the webs if the grain ran in another direction."""
    thickness = pattern.panel.thickness
    turned = (replace(w, limit=web_limit(thickness, kit, angle_to_grain(w.along, grain))) for w in found)
    return min(w.width / w.limit for w in turned)


def _stays_on(pattern: Pattern, turn: float) -> bool:
    """Whether the figure, turned about the middle of its bounding box, stays on the panel."""
    xy = shapely.get_coordinates(shapely.convex_hull(pattern.figure))
    x0, y0, x1, y1 = pattern.figure.bounds
    middle = complex(x0 + x1, y0 + y1) / 2
    z = middle + (xy[:, 0] + 1j * xy[:, 1] - middle) * cmath.exp(1j * turn)
    inside = (
        (z.real >= 0) & (z.real <= pattern.panel.width) & (z.imag >= 0) & (z.imag <= pattern.panel.height)
    )
    return bool(np.all(inside))
