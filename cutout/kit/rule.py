"""How wide webs must be by what is made: furniture, fretwork, a sign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from cutout.kit.data import choose, load
from cutout.kit.wood import Wood


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of the data file: widths as shares of the thickness, or in mm at given thicknesses; its source.

    stop: webs narrower than this (mm) are never sawn. open_grain: factor for ring-porous woods.
    """

    name: str
    title: str
    source: str
    times: Mapping[str, float] | None = None
    at: Mapping[str, Any] | None = None
    stop: float = 0.0
    open_grain: float = 1.0

    def widths(self, thickness: float, wood: Wood) -> tuple[float, float, float]:
        """Least width along the grain, across it, and in sheet goods, in thicknesses of the panel.

        Outside the thicknesses listed the nearest width holds, and more in proportion for a thicker panel.
        """
        sheet = "sheet" if wood.name == "plywood" else "board"
        factor = self.open_grain if wood.ring_porous else 1.0
        along, across, flat = (self._share(way, thickness) for way in ("along", "across", sheet))
        return along * factor, across * factor, flat

    def _share(self, way: str, thickness: float) -> float:
        if self.at is None:
            assert self.times is not None
            return float(self.times[way])
        import numpy as np  # here: the command line asks for names only

        listed = self.at["thickness"]
        thickest = max(thickness / float(listed[-1]), 1.0)
        return float(np.interp(thickness, listed, self.at[way])) * thickest / thickness


@cache
def rules() -> dict[str, Rule]:
    """Every rule by name."""
    return {entry["name"]: Rule(**entry) for entry in load("rules")["rule"]}


def rule(name: str) -> Rule:
    """The rule for what is made. Raises KitError."""
    return rules()[choose("rule", name, rules())]
