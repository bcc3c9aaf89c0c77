"""How wide wood must be left so that it holds: bridges and webs by their direction to the grain."""

from __future__ import annotations

import cmath
from dataclasses import dataclass

from cutout.amend.model import Mending
from cutout.kit import Kit
from cutout.measure.webs import angle_to_grain, breaking, web_limit
from cutout.pattern import Panel

MARGIN = 0.04
"""Share by which a width goes beyond its limit, so that rounding errors do not bring the finding back."""


@dataclass(frozen=True, slots=True)
class Strength:
    """Widths of bridges in one panel of one wood; a width the user sets wins over all of them."""

    panel: Panel
    kit: Kit
    asked: float | None = None

    @classmethod
    def of(cls, panel: Panel, kit: Kit, mending: Mending) -> Strength:
        """What the wood needs, or the width the user set for bridges."""
        return cls(panel, kit, mending.bridge_width)

    @property
    def grain(self) -> float:
        """Direction (radians) bridges line up with: the grain, or the x axis in sheet goods."""
        return self.panel.grain if self.panel.grain is not None and self.kit.wood.has_grain else 0.0

    def wanted(self, angle: float) -> float:
        """Width (mm) a bridge lying at `angle` radians needs: the web limit there times the bridge limit."""
        return self.kit.limits.bridge * self._limit(angle) if self.asked is None else self.asked

    def least(self, angle: float) -> float:
        """Width (mm) below which a bridge lying at `angle` radians would break while it is sawn."""
        least = breaking(self._limit(angle)) * (1 + MARGIN)
        return least if self.asked is None else min(least, self.asked)

    def _limit(self, angle: float) -> float:
        grain = self.panel.grain if self.kit.wood.has_grain else None
        return web_limit(self.panel.thickness, self.kit, angle_to_grain(cmath.rect(1.0, angle), grain))
