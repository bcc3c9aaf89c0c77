"""Bridge, ease, check again: what was found, what was cleared, what is left."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import shapely
from shapely import Polygon

from cutout import check
from cutout.amend.bridge import bridge
from cutout.amend.ease import ease
from cutout.amend.fillet import with_fillets
from cutout.amend.lie import lying_alike
from cutout.amend.model import GaveUp, Mended, Mending, Tell, untold
from cutout.amend.stencil import bridged_letters
from cutout.errors import LayoutError
from cutout.finding import Facts, Finding, ordered
from cutout.kit import Kit
from cutout.pattern import Pattern

_SAME_PLACE = 5.0
"""A finding within this distance (mm) of one of the same kind before mending is taken to be the same one."""

MOST_LOST = 0.5
"""Less than this share of the figure's area left by mending is no longer the drawing (our own choice)."""


@dataclass(frozen=True, slots=True)
class MostLost(Facts):
    """Mending left out, filled in or opened most of the figure; share: of its area that is left."""

    share: float


def mend(pattern: Pattern, kit: Kit, mending: Mending, tell: Tell = untold) -> Mended:
    """The pattern with what `mending` allows put right: first bridges, then easing, checked after each.

    tell: called while bridges are looked for, half of the work, and while it is eased, which may take many tries.

    findings: those left on the mended pattern, and those that were on `pattern` and are not any more, marked
    as cleared. Pieces and openings too small to be made at all are left out, and their findings say so.
    Raises LayoutError where nothing is left that way.
    """
    by = kit.to_saw_by
    return lying_alike(lambda there, asked: _mended(there, by, asked, tell), pattern, by, mending)


def _mended(pattern: Pattern, kit: Kit, mending: Mending, tell: Tell) -> Mended:
    # Bridges first: where there are too many pieces for them, that is said before the checks take their time.
    lettered = bridged_letters(pattern, kit, mending)
    bridged = bridge(lettered.pattern, kit, mending, _told_of(tell, 0.0, 0.5))
    before = check.run(pattern, kit)
    bridges = lettered.after(bridged.bridges)
    if bridges:
        bridged = replace(bridged, pattern=with_fillets(bridged.pattern, bridges, kit))
    mended, eased, left_out = bridged.pattern, None, bridged.left_out
    left = before if mended is pattern else check.run(mended, kit)
    if mending.ease:
        done = ease(mended, kit, left, mending.corners, _told_of(tell, 0.5, 1.0))
        mended, eased, left = done.pattern, done.eased, done.findings
        left_out = (*left_out, *done.left_out)
        if done.gave_up:
            left = (*left, _gave_up(mended))
    left = (*left, *_lost(pattern, mended))
    # A changed pattern ends at the panel's edge: what stuck out over it is cut off all the same.
    stays = tuple(f for f in before if f.kind == "off the panel" and f not in left)
    left = (*left, *stays)
    cleared = _said(_cleared(before, left), left_out)
    return Mended(mended, bridges, eased, ordered((*left, *bridged.findings, *cleared)))


def _told_of(tell: Tell, begins: float, ends: float) -> Tell:
    """What is told of a part of mending, as a share of the whole in which that part lies."""
    return lambda trying, tries, share: tell(trying, tries, begins + (ends - begins) * share)


def _lost(before: Pattern, after: Pattern) -> list[Finding]:
    """A stop where little of the figure came through."""
    if before.figure.is_empty or not before.openings:
        return []
    if after.figure.is_empty or not after.openings:
        raise LayoutError(
            "nothing of the figure is left to saw: all of it is finer than this blade cuts at this size; "
            "make it larger, take a finer blade or a bolder drawing, or leave it as drawn with ease = false."
        )
    share = after.figure.area / before.figure.area
    if share >= MOST_LOST:
        return []
    x, y = before.figure.representative_point().coords[0]
    return [Finding(kind="source", severity="stop", at=(x, y), facts=MostLost(share))]


def _gave_up(pattern: Pattern) -> Finding:
    """A word where the drawing holds so much detail that not all of it was tried."""
    return Finding(kind="source", severity="care", at=pattern.panel.middle, facts=GaveUp())


def _cleared(before: Iterable[Finding], left: Iterable[Finding]) -> list[Finding]:
    """The findings that have no match of the same kind and nearly the same place among those left."""
    still: dict[str, list[Finding]] = {}
    for finding in left:
        still.setdefault(finding.kind, []).append(finding)
    gone = []
    for finding in before:
        match = _nearest(finding, still.get(finding.kind, []))
        if match is None:
            gone.append(replace(finding, cleared=True))
        else:
            still[finding.kind].remove(match)
    return gone


def _nearest(finding: Finding, among: Sequence[Finding]) -> Finding | None:
    near = [f for f in among if math.dist(f.at, finding.at) <= _SAME_PLACE]
    return min(near, key=lambda f: (math.dist(f.at, finding.at), f.at), default=None)


def _said(cleared: Iterable[Finding], left_out: Sequence[Polygon]) -> list[Finding]:
    """Cleared findings, marked where the piece or opening they are about was left out altogether."""
    gone = tuple(cleared)
    if not gone or not left_out:
        return list(gone)
    places = shapely.points([f.at for f in gone])
    on_one = {int(k) for k in shapely.STRtree(left_out).query(places, predicate="dwithin", distance=1e-3)[0]}
    return [replace(f, left_out=True) if k in on_one else f for k, f in enumerate(gone)]
