"""Webs narrower than the wood asks for."""

from __future__ import annotations

from collections.abc import Iterator

from cutout.check.web import finding_of, worth_saying
from cutout.finding import Finding
from cutout.kit import Kit
from cutout.measure.webs import webs
from cutout.pattern import Pattern


def thin_web(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Narrow places in keep, but for those that run across the grain (see `short grain`)."""
    return (
        finding_of("thin web", web, pattern, kit)
        for web in webs(pattern, kit)
        if not web.across and worth_saying(web)
    )
