"""Narrow places in what survives."""

from __future__ import annotations

from collections.abc import Iterator

import shapely

from cutout.check.finding import Finding, Severity, check
from cutout.kit import Kit
from cutout.pattern import Pattern
from cutout.units import format_length


@check("thin web")
def thin_web(pattern: Pattern, kit: Kit) -> Iterator[Finding]:
    """Webs between two openings narrower than the limit."""
    limits = kit.limits
    limit = pattern.panel.thickness * (limits.web_along if kit.wood.has_grain else limits.web_sheet)
    parts = [o.region for o in pattern.openings]
    if pattern.keep_mode != "panel" or len(parts) < 2:
        return
    tree = shapely.STRtree(parts)
    for i, j in tree.query(parts, predicate="dwithin", distance=limit).T.tolist():
        if i < j:
            line = shapely.shortest_line(parts[i], parts[j])
            at = line.interpolate(0.5, normalized=True)
            size = float(line.length)
            text = f"Web {format_length(size, kit.units)} wide, less than {format_length(limit, kit.units)}."
            severity: Severity = "stop" if size < limit / 4 else "care"
            yield Finding("thin web", severity, (at.x, at.y), size, limit, None, text, "Make it wider.")
