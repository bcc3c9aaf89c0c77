"""Checks: one module per kind of finding; they measure, never mend."""

from importlib import import_module

from cutout.check.finding import CHECKS, Finding, ordered
from cutout.check.hint import hint
from cutout.kit import Kit
from cutout.pattern import Pattern

__all__ = ["CHECKS", "Finding", "hint", "ordered", "run"]

for _module in (
    "tight_corner", "tight_curve", "narrow_opening", "thin_web", "short_grain", "glue_line", "loose_piece",
    "near_edge", "off_panel", "speck", "kit", "drawn_line",
):  # fmt: skip
    import_module(f"cutout.check.{_module}")


def run(pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """Everything the checks find on a pattern, in a fixed order: stops first."""
    return ordered(finding for check in CHECKS.values() for finding in check(pattern, kit))
