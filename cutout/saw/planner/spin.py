"""A thin blade turned on the spot in its own kerf, as scroll sawyers do at corners.

Stop, let the blade catch up, back up a little, turn the work round the back edge of the blade, teeth to the waste
(Creative Woodworks & Crafts, January 2005, p. 22; scrollsawworkshop.blogspot.com, 12 May 2018). In the plan the
blade turns about the middle of its back edge. Its front sweeps a sector as wide as the blade and its teeth; behind,
the steel stays inside the kerf.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from cutout.geom.curve import to_array
from cutout.kit import Blade

MOST_TURNED = math.radians(165.0)
"""The blade is turned by no more than this: further round, the work comes about by a hole or a loop."""
SHY = 0.05
"""So much more (mm) than it sweeps is asked for: no hand holds the back edge still. Common practice, no source."""
_STEP = 0.1
"""Between two places of the blade on its way round (radians); the arc is drawn so much larger that it holds all."""


def swept(start: complex, ahead: complex, turned: float, blade: Blade, more: float = 0.0) -> shapely.Geometry:
    """What the blade takes off while it is turned by an angle (radians) until it points `ahead`.

    start: the middle of the blade once it is turned (mm); more: how far (mm) beyond its front it is to be free.
    """
    return shapely.union_all(swept_parts(start, ahead, turned, blade, more))


def swept_parts(
    start: complex, ahead: complex, turned: float, blade: Blade, more: float = 0.0
) -> list[shapely.Polygon]:
    """The sector and the two bars that `swept` is put together from."""
    w = ahead / abs(ahead)
    pivot = start - w * blade.width / 2
    reach = math.hypot(blade.width, blade.kerf / 2) + more
    wide = math.atan2(blade.kerf / 2, blade.width)
    low, high = sorted((0.0, -turned))
    count = max(2, math.ceil((high - low + 2 * wide) / _STEP) + 1)
    # Chords cut the arc short: it is drawn as much too far out.
    arc = reach / math.cos(_STEP / 2) * w * np.exp(1j * np.linspace(low - wide, high + wide, count))
    sector = shapely.Polygon(to_array(np.concatenate([[pivot], pivot + arc])))
    side = 0.5j * blade.kerf
    bars = [
        shapely.Polygon(to_array(pivot + d * np.array([-side, blade.width - side, blade.width + side, side])))
        for d in (w, w * np.exp(-1j * turned))
    ]
    return [sector, *bars]
