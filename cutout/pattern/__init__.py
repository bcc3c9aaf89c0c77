"""The pattern on the panel: what is waste, what is keep, where."""

from cutout.choices import Keep
from cutout.pattern.layout import Placement, combine, cut_pattern, place, turning, with_figure, with_waste
from cutout.pattern.panel import Panel, Zone
from cutout.pattern.pattern import Opening, Pattern

__all__ = [
    "Keep",
    "Opening",
    "Panel",
    "Pattern",
    "Placement",
    "Zone",
    "combine",
    "cut_pattern",
    "place",
    "turning",
    "with_figure",
    "with_waste",
]
