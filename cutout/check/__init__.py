"""Checks: one function per kind of finding; they measure, never mend."""

from collections.abc import Callable, Iterable
from functools import lru_cache
from typing import TypeAlias

from cutout.check.drawn_line import drawn_line
from cutout.check.glue_line import glue_line
from cutout.check.hint import hint
from cutout.check.kit import kit
from cutout.check.loose_piece import loose_piece
from cutout.check.narrow_opening import narrow_opening
from cutout.check.near_edge import near_edge
from cutout.check.off_panel import off_panel
from cutout.check.short_grain import short_grain
from cutout.check.speck import speck
from cutout.check.thin_web import thin_web
from cutout.check.tight_corner import tight_corner
from cutout.check.tight_curve import tight_curve
from cutout.finding import Finding, ordered
from cutout.kit import Kit
from cutout.pattern import Pattern

__all__ = [
    "CHECKS",
    "Check",
    "Finding",
    "drawn_line",
    "glue_line",
    "hint",
    "kit",
    "loose_piece",
    "narrow_opening",
    "near_edge",
    "off_panel",
    "ordered",
    "run",
    "short_grain",
    "speck",
    "thin_web",
    "tight_corner",
    "tight_curve",
]

Check: TypeAlias = Callable[[Pattern, Kit], Iterable[Finding]]
"""What a check is: the pattern and what the user owns in, findings out."""

CHECKS: tuple[Check, ...] = (
    tight_corner,
    tight_curve,
    narrow_opening,
    thin_web,
    short_grain,
    glue_line,
    loose_piece,
    near_edge,
    off_panel,
    speck,
    kit,
    drawn_line,
)
"""Every check, in the order they are run."""


@lru_cache(maxsize=4)
def run(pattern: Pattern, kit: Kit) -> tuple[Finding, ...]:
    """Everything the checks find on a pattern, in a fixed order: stops first.

    Remembered for the last few: mending asks about the same pattern again at each of its stages.
    """
    return ordered(finding for check in CHECKS for finding in check(pattern, kit))
