"""Webs: narrow places in what survives, measured against the grain; thin webs and short grain share them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely

from cutout.geom.curve import ComplexArray, FloatArray
from cutout.kit import Kit, hankinson
from cutout.measure.arms import FreeArm, free_arms
from cutout.measure.widths import Neck, middle_of_keep
from cutout.pattern import Pattern
from cutout.pattern.panel import TOUCHING

BREAKS_SHARE = 0.25
"""A web narrower than this share of its limit is taken to break while it is sawn; common practice, no source."""

BREAKS_WIDTH = 1.5
"""So is one narrower than this (mm), unless that is more than half the limit; common practice, no source."""

TUFT = 5.0
"""Where the lesser part a web holds is nowhere wider than this (mm), only a tip is at stake: never a stop."""

TUFT_SHARE = 60.0
"""... nor wider than the figure's longer side over this: in a small figure small parts matter as much."""

SPECK_SHARE = 150.0
"""A part narrower than a speck and than the figure's longer side over this is too small for a web to hold."""

SLENDER = 5.0
"""An arm held at one end is reported where it goes on for this many of its widths; common practice, no source."""

LEVER = 3.0
"""One so weak that it would break, where it goes on for this many; common practice, no source."""

ACROSS = math.radians(45)
"""From this angle between its length and the grain a web runs across the grain."""

ALONG = math.radians(15)
"""Up to this angle the grain runs far enough along an arm to hold it; common practice, no source."""

STRIP = 3.0
"""Wood between an opening and the panel's edge is a web from this many times its width in length on."""

_NO_SLACK = 1e-9
"""For lengths that were copied, not worked out (mm): rounding only."""

REACH = 1.25
"""The panel's edge matters this far from a figure, as a share of the widest web that is asked for: where there is
more wood nothing that is narrow ends at it, and every neck still has the wider part beside it that makes it one."""

EDGES, LEAST_REACH = 3.0, 30.0
"""And so many times what is to stay at an edge, and so far (mm), at least: easing may come between."""

SAME = 0.4
"""Webs nearer to each other than this many tufts are one place."""


@dataclass(frozen=True, slots=True)
class Web:
    """A narrow place and what it is held against; mm and radians.

    angle: between its length and the grain, 0 to a right angle; None where there is no grain.
    limit: least width such a web should have. held: at both ends, or, an arm, at one: then all this is of
    its weakest place, and length is that of the whole arm. breaks: whether it would while it is sawn.
    """

    at: complex
    width: float
    length: float
    along: complex
    angle: float | None
    limit: float
    held: bool
    breaks: bool

    @property
    def across(self) -> bool:
        """Short grain: it runs across the grain and is longer than wide."""
        return self.angle is not None and self.angle >= ACROSS and self.length > self.width

    @property
    def share(self) -> float:
        """Its width as a share of what it should be."""
        return self.width / self.limit


@dataclass(frozen=True, eq=False, slots=True)
class Places:
    """Narrow places of a pattern, whichever way the grain runs. tuft: what is at most at stake in a tip (mm)."""

    necks: tuple[Neck, ...]
    arms: tuple[FreeArm, ...]
    tuft: float


def breaking(limit: float) -> float:
    """Width (mm) below which a web whose limit is `limit` mm is taken to break while it is sawn."""
    return max(BREAKS_SHARE * limit, min(BREAKS_WIDTH, limit / 2))


def least_width(limit: float, angle: float | None, *, held: bool) -> float:
    """The same for a web `held` at both ends or, an arm, at one, at an angle to the grain.

    An arm along the grain, or in sheet goods, bends before it breaks: only a very thin one is lost.
    """
    runs_out = angle is not None and angle >= ALONG
    return breaking(limit) if held or runs_out else min(BREAKS_WIDTH, limit / 2)


def web_limit(thickness: float, kit: Kit, angle: float | None) -> float:
    """Least width (mm) of a web whose length lies at `angle` radians to the grain; None: no grain.

    It grows as the strength falls by Hankinson's formula, by the power of it that meets the limit across the
    grain: practice asks for much less there than strength alone would.
    """
    limits = kit.limits
    if angle is None or not kit.wood.has_grain:
        return limits.web_sheet * thickness
    return thickness * limits.web_along * float(hankinson(angle, kit.wood.across_ratio) ** -_power(kit))


def _power(kit: Kit) -> float:
    """The power of the strength by which the limit along the grain becomes the one across it."""
    limits = kit.limits
    return math.log(limits.web_across / limits.web_along) / math.log(1 / kit.wood.across_ratio)


def angle_to_grain(along: complex, grain: float | None) -> float | None:
    """Angle between a direction and the grain, 0 to a right angle; None where there is no grain."""
    if grain is None:
        return None
    return math.asin(min(1.0, abs((along * complex(math.cos(grain), -math.sin(grain))).imag)))


@lru_cache(maxsize=8)
def webs(pattern: Pattern, kit: Kit) -> tuple[Web, ...]:
    """Every narrow place in keep that is narrower than its limit, the weakest for its limit first."""
    return tuple(web for web in webs_along(pattern, kit, pattern.panel.grain) if web.width < web.limit)


def webs_along(pattern: Pattern, kit: Kit, grain: float | None) -> tuple[Web, ...]:
    """The narrow places, and how each holds with the grain in a direction (radians); sound ones too.

    An arm held at one end and a neck in it are one: the neck only counts where the arm is not as weak.
    """
    places = _places(pattern, kit)
    grain = grain if kit.wood.has_grain else None
    necks = [_of_neck(neck, places.tuft, pattern, kit, grain) for neck in places.necks]
    found: list[Web] = []
    for arm in places.arms:
        web = _of_arm(arm, places.tuft, pattern, kit, grain)
        if web is None:
            continue
        inside = [n for n in necks if _in_arm(n, arm, web)]
        if any(n.breaks and not web.breaks for n in inside):
            continue
        necks = [n for n in necks if n not in inside]
        weakest = min([web, *inside], key=lambda w: w.share)
        found.append(replace(weakest, length=web.length, held=False, breaks=web.breaks))
    weakest_first = sorted([*necks, *found], key=lambda w: (w.share, w.at.real, w.at.imag))
    return _apart(weakest_first, SAME * places.tuft)


def _apart(found: list[Web], same: float) -> tuple[Web, ...]:
    """Webs, weakest first, without those within `same` mm of a weaker one, and arms that begin at one."""
    kept: list[Web] = []
    for web in found:
        near = same if web.held else max(same, web.width)
        if not any(abs(k.at - web.at) < near and k.breaks >= web.breaks for k in kept):
            kept.append(web)
    return tuple(kept)


@lru_cache(maxsize=8)
def _places(pattern: Pattern, kit: Kit) -> Places:
    middle = middle_of_keep(pattern)
    most = widest_web(pattern, kit)
    x0, y0, x1, y1 = pattern.figure.bounds if not pattern.figure.is_empty else (0.0, 0.0, 0.0, 0.0)
    longer = max(x1 - x0, y1 - y0)
    tuft = min(TUFT, longer / TUFT_SHARE)
    speck = min(kit.limits.speck, longer / SPECK_SHARE)
    necks = _inner(middle.necks(most), pattern, kit, speck)
    return Places(tuple(necks), free_arms(middle, 2 * tuft), tuft)


def edge_matters(pattern: Pattern, kit: Kit) -> float:
    """How far (mm) from the figure the panel's edge matters; where the figure alone survives, all the waste does."""
    if pattern.keep_mode == "figure":
        return math.inf
    return max(REACH * widest_web(pattern, kit), EDGES * kit.limits.edge, LEAST_REACH)


def widest_web(pattern: Pattern, kit: Kit) -> float:
    """The greatest width (mm) any web could be asked to have, whichever way it runs."""
    if kit.wood.has_grain and pattern.panel.grain is not None:
        return max(web_limit(pattern.panel.thickness, kit, angle) for angle in (0.0, math.pi / 2))
    return kit.limits.web_sheet * pattern.panel.thickness


def _of_neck(neck: Neck, tuft: float, pattern: Pattern, kit: Kit, grain: float | None) -> Web:
    angle = angle_to_grain(neck.along, grain)
    limit = web_limit(pattern.panel.thickness, kit, angle)
    breaks = neck.part > tuft and neck.width < breaking(limit)
    return Web(neck.at, neck.width, neck.length, neck.along, angle, limit, True, breaks)


def _of_arm(arm: FreeArm, tuft: float, pattern: Pattern, kit: Kit, grain: float | None) -> Web | None:
    """An arm judged by its weakest place; None where it is no arm, or wide enough all along.

    Only places count that something worth the name hangs on: two tufts of wood, and so many widths.
    """
    lever = (arm.beyond >= LEVER * arm.width) & (arm.beyond >= 2 * tuft)
    lever &= arm.width < widest_web(pattern, kit)
    if not lever.any():
        return None
    ways = arm.along
    limit, least = _asked_of_arm(ways, pattern.panel.thickness, kit, grain)
    weak = lever & (arm.width < least)
    breaks = bool(weak.any())
    if not breaks:
        weak = lever & (arm.width < limit) & (arm.beyond >= SLENDER * arm.width)
        if not weak.any():
            return None
    k = int(np.argmin(np.where(weak, arm.width / np.where(weak, limit, 1.0), math.inf)))
    root = int(np.flatnonzero(lever & (arm.width < (limit / 2 if breaks else limit)))[0])
    z, way = complex(arm.z[k]), complex(ways[k])
    angle = angle_to_grain(way, grain)
    asked = web_limit(pattern.panel.thickness, kit, angle)
    return Web(z, float(arm.width[k]), float(arm.beyond[root]), way, angle, asked, False, breaks)


def _asked_of_arm(
    along: ComplexArray, thickness: float, kit: Kit, grain: float | None
) -> tuple[FloatArray, FloatArray]:
    """`web_limit` and `least_width` at every place of an arm with these directions; both (n,)."""
    if grain is None:
        limit = web_limit(thickness, kit, None)
        return np.full(len(along), limit), np.full(len(along), least_width(limit, None, held=False))
    across = np.minimum(np.abs(along.imag * math.cos(grain) - along.real * math.sin(grain)), 1.0)
    ratio, power = kit.wood.across_ratio, _power(kit)
    strength = ratio / (across**2 + ratio * (1 - across**2))
    limits = thickness * kit.limits.web_along * strength**-power
    bends = np.minimum(BREAKS_WIDTH, limits / 2)
    runs_out = across >= math.sin(ALONG)
    return limits, np.where(runs_out, np.maximum(BREAKS_SHARE * limits, bends), bends)


def _in_arm(web: Web, arm: FreeArm, whole: Web) -> bool:
    """Whether a neck lies in an arm: on its middle line, beyond its root."""
    on = arm.beyond <= whole.length + _NO_SLACK
    return bool((np.abs(arm.z[on] - web.at) <= np.maximum(arm.width[on] / 2, 0.5)).any())


def _inner(necks: tuple[Neck, ...], pattern: Pattern, kit: Kit, speck: float) -> list[Neck]:
    """Necks between openings, and strips along the panel's edge; specks and near misses of the edge left out."""
    if not necks:
        return []
    edge = shapely.boundary(pattern.panel.polygon)
    feet = np.array([n.feet for n in necks])
    to_edge = np.asarray(shapely.distance(shapely.points(feet.real, feet.imag), edge))
    rims: list[bool] = np.any(to_edge < TOUCHING, axis=1).tolist()
    least = kit.limits.edge
    kept = [(n, rim) for n, rim in zip(necks, rims, strict=True) if n.part >= speck]
    return [n for n, rim in kept if not rim or (n.width >= least and n.length >= STRIP * n.width)]


@lru_cache(maxsize=16)
def breaking_webs(pattern: Pattern, kit: Kit, grain: float) -> int:
    """How many webs would break while they are sawn, if the grain ran in a direction (radians)."""
    return sum(w.breaks for w in webs_along(pattern, kit, grain))
