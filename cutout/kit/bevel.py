"""Inlay of two woods sawn together with the table tilted: the angle at which the plug fits.

Two layers lie one on the other and are sawn in one pass, the blade tilted by a from upright. The plug, cut from one
layer, moves by the thickness t of the other into its place, where its sides come nearer by t tan a; the slot there is
K / cos a wide, K being the kerf. They meet when sin a = K / t. (Horner, More Woodworkers' Essential Facts, Formulas &
Shortcuts, 2006, p. 132, is cited for it; the derivation is ours.)
"""

from __future__ import annotations

import math

from cutout.errors import KitError, Length


def bevel(kerf: float, thickness: float) -> float:
    """Tilt (radians) from upright at which a plug cut together with its hole fits without a gap.

    kerf: of the blade, mm. thickness: of the layer the plug moves through, mm. Raises KitError where no tilt does it.
    """
    if not (kerf > 0 and thickness > 0):
        raise KitError("kerf and thickness must be more than zero.")
    if kerf >= thickness * math.sin(STEEPEST):
        raise KitError(
            "a kerf of ",
            Length(kerf),
            " needs a steeper tilt than a table gives in wood of ",
            Length(thickness),
            ": take a finer blade or thicker wood.",
        )
    return math.asin(kerf / thickness)


STEEPEST = math.radians(45)
"""Scroll-saw tables tilt by no more than this: common practice, no source."""


def fit(tilt: float, kerf: float, thickness: float) -> float:
    """Gap (mm, square to the cut's line) left between plug and hole; below 0 the plug stops short, proud.

    kerf / cos a - t tan a, 0 at the tilt of `bevel`.
    """
    return kerf / math.cos(tilt) - thickness * math.tan(tilt)
