"""Corners the blade can't turn."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.check.tight import findings
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.pattern import Pattern


def tight_corner(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Sharp corners of the line that leave more than a touch of sandpaper; size 0, limit: the radius needed."""
    return findings(pattern, kit, sharp=True)
