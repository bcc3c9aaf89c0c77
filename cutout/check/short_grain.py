"""Webs that run across the grain, where wood splits."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.check.web import finding_of, worth_saying
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.measure.webs import webs
from cutout.pattern import Pattern


def short_grain(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Narrow places in keep whose length, greater than their width, runs across the grain."""
    return (
        finding_of("short grain", web, pattern, kit)
        for web in webs(pattern, kit)
        if web.across and worth_saying(web)
    )
