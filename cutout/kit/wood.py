"""Woods and sheet goods."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from cutout.kit.data import choose, table


@dataclass(frozen=True, slots=True)
class Wood:
    """A wood or sheet good; strengths in MPa, `tangential` = C_T per 1 % of moisture; None where not listed.

    ring_porous: open-grained, with rows of large pores where fine parts break.
    """

    name: str
    title: str
    kind: Literal["softwood", "hardwood", "sheet"]
    source: str
    bending: float | None = None
    tension_across: float | None = None
    tangential: float | None = None
    ring_porous: bool = False

    @property
    def has_grain(self) -> bool:
        """Sheet goods count as having no grain direction."""
        return self.kind != "sheet"

    @property
    def across_ratio(self) -> float:
        """Strength across the grain over strength along it; 0.05 unless the species table says otherwise."""
        if not self.has_grain:
            return 1.0
        if self.bending and self.tension_across:
            return self.tension_across / self.bending
        return 0.05


def hankinson(angle: float, ratio: float = 0.05, n: float = 2.0) -> float:
    """Strength at `angle` radians to the grain over strength along it, Q/P = `ratio`.

    N = P Q / (P sin^n + Q cos^n). Source: Hankinson's formula (published); exponent 2 from memory.
    """
    s, c = abs(math.sin(angle)) ** n, abs(math.cos(angle)) ** n
    return float(ratio / (s + ratio * c))


def woods() -> dict[str, Wood]:
    """Every wood of the data file and of the user's own kit file, by name. Raises KitError."""
    return table("woods", "wood", Wood)


def wood(name: str) -> Wood:
    """The wood called `name`. Raises KitError."""
    return woods()[choose("wood", name, woods())]
