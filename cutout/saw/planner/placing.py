"""Where an opening is planned: moved to the origin, and of its four turns and their mirror images always the same.

Nothing in a plan knows left from right or up from down, so it must not depend on how the figure lies on the panel.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon

from cutout.geom.curve import ComplexArray, FloatArray, to_array, to_complex
from cutout.pattern import Opening

DIGITS = 6
"""Places behind the point (mm) an opening is rounded to: what moving it adds is less."""
_TOLD_APART = 2
"""The same for telling its turns and mirror images apart."""


@dataclass(frozen=True, slots=True)
class Placing:
    """How an opening comes from the panel to where it is planned: mirrored top to bottom or not, turned, moved.

    turn: a unit in one of the four directions. origin: where, after that, the planned one's zero lies; mm.
    """

    turn: complex = 1 + 0j
    mirrored: bool = False
    origin: complex = 0j

    def there(self, z: ComplexArray) -> ComplexArray:
        """From the panel to where it is planned."""
        return np.asarray((z.conj() if self.mirrored else z) * self.turn - self.origin)

    def back(self, z: ComplexArray) -> ComplexArray:
        """From where it is planned to the panel."""
        z = (z + self.origin) * self.turn.conjugate()
        return np.asarray(z.conj() if self.mirrored else z)

    def spot_there(self, at: tuple[float, float]) -> tuple[float, float]:
        """One place on the panel, where it is planned."""
        z = complex(self.there(np.array(complex(*at))))
        return z.real, z.imag

    def spot_back(self, at: tuple[float, float]) -> tuple[float, float]:
        """One place of the plan, on the panel; to a ten-thousandth of a millimetre."""
        z = complex(self.back(np.array(complex(*at))))
        return round(z.real, 4), round(z.imag, 4)

    def angle_back(self, turned: float) -> float:
        """An angle to the left, on the panel."""
        return -turned if self.mirrored else turned


def placed(opening: Opening) -> tuple[Opening, Placing]:
    """The opening as it is planned, and how it got there; one that reaches the panel's edge stays where it is."""
    if opening.at_edge:
        return opening, Placing()
    ways = [_way(opening.region, turn, mirrored) for mirrored in (False, True) for turn in (1, 1j, -1, -1j)]
    region, placing = min(ways, key=lambda way: _told_apart(way[0]))
    return replace(opening, region=region), placing


def _way(region: Polygon, turn: complex, mirrored: bool) -> tuple[Polygon, Placing]:
    turned = Placing(turn, mirrored)
    z = turned.there(to_complex(shapely.get_coordinates(region.exterior)))
    placing = replace(turned, origin=complex(z.real.min(), z.imag.min()))

    def move(xy: FloatArray) -> FloatArray:
        # Adding nothing makes a zero of every negative zero: equal shapes are equal byte by byte.
        return np.round(to_array(placing.there(to_complex(xy))), DIGITS) + 0.0

    return shapely.normalize(shapely.transform(region, move)), placing


def _told_apart(region: Polygon) -> bytes:
    """The same for the same shape; what else it says does not matter."""
    steps = np.round(shapely.get_coordinates(region), _TOLD_APART) * 10**_TOLD_APART
    return bytes(np.rint(steps).astype(">i8").tobytes())
