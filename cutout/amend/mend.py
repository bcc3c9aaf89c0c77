"""Bridge, ease, check again: what was found, what was cleared, what is left."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

from cutout import check
from cutout.amend.bridge import bridge
from cutout.amend.model import Bridge, Mended, Mending
from cutout.check.finding import Finding, ordered
from cutout.kit import Kit
from cutout.pattern import Pattern

_SAME_PLACE = 5.0
"""A finding within this distance (mm) of one of the same kind before mending is taken to be the same one."""


def mend(pattern: Pattern, kit: Kit, mending: Mending) -> Mended:
    """The pattern with what `mending` allows put right; findings are those left and those cleared."""
    before = check.run(pattern, kit)
    after_bridging, bridges = pattern, tuple[Bridge, ...]()
    if mending.bridge:
        done = bridge(pattern, kit, mending)
        after_bridging, bridges = done.pattern, done.bridges
    left = check.run(after_bridging, kit)
    return Mended(after_bridging, bridges, None, ordered((*left, *_cleared(before, left))))


def _cleared(before: Iterable[Finding], left: Iterable[Finding]) -> list[Finding]:
    still = list(left)
    gone = []
    for finding in before:
        match = next((f for f in still if _same(f, finding)), None)
        if match is None:
            gone.append(replace(finding, cleared=True))
        else:
            still.remove(match)
    return gone


def _same(a: Finding, b: Finding) -> bool:
    return a.kind == b.kind and math.dist(a.at, b.at) <= _SAME_PLACE
