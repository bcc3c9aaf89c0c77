"""Ends of openings at bridges, rounded so that the blade sweeps them in one go: the full radius, or none.

A square end stops the blade at both of its corners. A fillet of the tightest curve the blade's kerf follows on its
outer side, R + K/2, is passed without a stop; a smaller one stops it all the same and only blurs the corner.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from cutout import check
from cutout.amend.curves import keep_curves
from cutout.amend.model import Bridge
from cutout.amend.round import tips
from cutout.geom.outline import as_multi
from cutout.kit import Kit
from cutout.kit.blade import TURNS
from cutout.pattern import Pattern, with_waste
from cutout.pattern.placing import stepped

DEEPEST = 0.75
"""A fillet reaches this many of its radii into a corner at most: up to about 110 degrees of turn."""
NEAR = 0.5
"""A corner counts as the bridge's own within this distance (mm)."""


def with_fillets(pattern: Pattern, bridges: Sequence[Bridge], kit: Kit) -> Pattern:
    """The pattern with wood added in the corners beside its bridges, where the opening has room for the full radius.

    Unchanged where the checks then find more stops than before.
    """
    if pattern.keep_mode == "both":
        return pattern
    radius = TURNS * kit.blade.turning_radius + kit.blade.kerf / 2
    waste = as_multi(pattern.waste)
    corners = [part for part, _ in tips(waste, radius, DEEPEST * radius)]
    if not corners:
        return pattern
    strips = shapely.union_all([b.area for b in bridges])
    # A tip that holds the corner itself, not one that merely ends near it.
    near = np.asarray(shapely.distance(np.array(corners, dtype=object), strips)) < NEAR
    chosen = [part for part, take in zip(corners, near.tolist(), strict=True) if take]
    if not chosen:
        return pattern
    rounded = stepped(as_multi(shapely.difference(waste, shapely.union_all(chosen))))
    filled = keep_curves(pattern, with_waste(pattern, rounded))
    stops = _stops(filled, kit)
    return filled if stops == 0 or stops <= _stops(pattern, kit) else pattern


def _stops(pattern: Pattern, kit: Kit) -> int:
    return sum(f.severity == "stop" for f in check.run(pattern, kit))
