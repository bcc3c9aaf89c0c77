"""Webs: narrow places in what survives, measured against the grain; thin webs and short grain share them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from cutout.check.finding import Finding, Kind, Severity
from cutout.check.widths import Arm, Neck, middle_of_keep
from cutout.kit import Kit, hankinson
from cutout.pattern import Pattern
from cutout.units import format_length

BREAKS_SHARE = 0.25
"""A web narrower than this share of its limit is taken to break while it is sawn; common practice, no source."""

BREAKS_WIDTH = 1.5
"""So is one narrower than this (mm), unless that is more than half the limit; common practice, no source."""

TUFT = 5.0
"""Where the lesser part a web holds is nowhere wider than this (mm), only a tip is at stake: never a stop."""

SLENDER = 5.0
"""An arm held at one end is reported from this many times its width half way; common practice, no source."""

ACROSS = math.radians(45)
"""From this angle between its length and the grain a web runs across the grain."""

STRIP = 3.0
"""Wood between an opening and the panel's edge is a web from this many times its width in length on."""

_TOUCHING = 1e-3


@dataclass(frozen=True, slots=True)
class Web:
    """A narrow place and what it is held against; mm and radians.

    angle: between its length and the grain, 0 to a right angle; None where there is no grain.
    limit: least width such a web should have. held: at both ends, or, an arm, at one.
    """

    at: complex
    width: float
    length: float
    along: complex
    angle: float | None
    limit: float
    part: float
    held: bool

    @property
    def across(self) -> bool:
        """Short grain: it runs across the grain and is longer than wide."""
        return self.angle is not None and self.angle >= ACROSS and self.length > self.width

    @property
    def breaks(self) -> bool:
        """Whether it would break while it is sawn."""
        breaking = max(BREAKS_SHARE * self.limit, min(BREAKS_WIDTH, self.limit / 2))
        return self.held and self.part > TUFT and self.width < breaking


def web_limit(thickness: float, kit: Kit, angle: float | None) -> float:
    """Least width (mm) of a web whose length lies at `angle` radians to the grain; None: no grain.

    It grows as the strength falls by Hankinson's formula, by the power of it that meets the limit across the
    grain: practice asks for much less there than strength alone would.
    """
    limits = kit.limits
    if angle is None or not kit.wood.has_grain:
        return limits.web_sheet * thickness
    ratio = kit.wood.across_ratio
    power = math.log(limits.web_across / limits.web_along) / math.log(1 / ratio)
    return thickness * limits.web_along * float(hankinson(angle, ratio) ** -power)


def angle_to_grain(along: complex, grain: float | None) -> float | None:
    """Angle between a direction and the grain, 0 to a right angle; None where there is no grain."""
    if grain is None:
        return None
    return math.asin(min(1.0, abs((along * complex(math.cos(grain), -math.sin(grain))).imag)))


@lru_cache(maxsize=8)
def webs(pattern: Pattern, kit: Kit) -> tuple[Web, ...]:
    """Every narrow place in keep that is narrower than its limit, the weakest for its limit first."""
    grain = pattern.panel.grain if kit.wood.has_grain else None
    thickness = pattern.panel.thickness
    most = max(web_limit(thickness, kit, a) for a in ((0.0, math.pi / 2) if grain is not None else (None,)))
    middle = middle_of_keep(pattern)
    found = [_web(neck, pattern, kit) for neck in _inner(middle.necks(most), pattern, kit)]
    arms = [_web(arm, pattern, kit) for arm in middle.arms(most, SLENDER * most / 2)]
    found += [a for a in arms if not any(abs(a.at - w.at) < max(a.length / 2, w.length) for w in found)]
    weak = [web for web in found if web.width < web.limit]
    return tuple(sorted(weak, key=lambda w: (w.width / w.limit, w.at.real, w.at.imag)))


def _web(place: Neck | Arm, pattern: Pattern, kit: Kit) -> Web:
    angle = angle_to_grain(place.along, pattern.panel.grain if kit.wood.has_grain else None)
    limit = web_limit(pattern.panel.thickness, kit, angle)
    held = isinstance(place, Neck)
    part = place.part if isinstance(place, Neck) else math.inf
    return Web(place.at, place.width, place.length, place.along, angle, limit, part, held)


def _inner(necks: tuple[Neck, ...], pattern: Pattern, kit: Kit) -> list[Neck]:
    """Necks between openings, and strips along the panel's edge; specks and near misses of the edge left out."""
    if not necks:
        return []
    edge = shapely.boundary(pattern.panel.polygon)
    feet = np.array([n.feet for n in necks])
    to_edge = np.asarray(shapely.distance(shapely.points(feet.real, feet.imag), edge))
    rims: list[bool] = np.any(to_edge < _TOUCHING, axis=1).tolist()
    speck, least = kit.limits.speck, kit.limits.edge
    kept = [(n, rim) for n, rim in zip(necks, rims, strict=True) if n.part >= speck]
    return [n for n, rim in kept if not rim or (n.width >= least and n.length >= STRIP * n.width)]


def finding_of(kind: Kind, web: Web, kit: Kit) -> Finding:
    """The finding a web makes, in the user's units."""
    severity: Severity = "stop" if web.breaks else "care"
    at = (web.at.real, web.at.imag)
    return Finding(kind, severity, at, web.width, web.limit, None, _text(web, kit), _remedy(web, kit))


def _text(web: Web, kit: Kit) -> str:
    width, length, limit = (format_length(x, kit.units) for x in (web.width, web.length, web.limit))
    what = "A web" if web.held else "An arm held at one end"
    how = "" if web.angle is None else f" at {math.degrees(web.angle):.0f} degrees to the grain"
    if web.across:
        how = ", across the grain"
    end = "it would break while it is sawn" if web.breaks else f"{limit} would be sound"
    long = f" and {length} long" if web.length >= web.width else ""
    return f"{what} {width} wide{long}{how}: {end}."


def _remedy(web: Web, kit: Kit) -> str:
    wider = f"Widen it to {format_length(web.limit, kit.units)}"
    if not web.held:
        return f"{wider}, shorten it, or saw it last and gently, well supported."
    if web.across:
        return f"{wider}, or turn the pattern or the boards so that the grain runs along it."
    return f"{wider}, or saw it last and gently, with the wood supported on both sides."
