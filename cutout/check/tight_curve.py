"""Curves tighter than the blade turns."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.check.tight import findings
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern


def tight_curve(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Rounded stretches tighter than the blade turns; size: radius of the line, limit: the radius needed."""
    return findings(pattern, kit, sharp=False)
